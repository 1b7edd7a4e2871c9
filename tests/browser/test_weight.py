"""What the pages weigh, and how soon they answer on a phone of a quarter of this speed.

Weights are the same everywhere and are held always; times depend on the machine: they are printed,
and held only where KEELWATT_FULL=1 says that the machine has nothing else to do.
"""

import os

import pytest

pytestmark = pytest.mark.browser

FULL = bool(os.environ.get("KEELWATT_FULL"))
SLOWDOWN = 4
MOST_BYTES = 150_000
FIRST_ANSWER_S, INTERACTIVE_S = 1.0, 2.5
QUIET_MS = 1000.0  # without a task longer than 50 ms: then a page answers the hand

_WATCH = """
window.tasks = [];
new PerformanceObserver((l) => window.tasks.push(...l.getEntries().map(
  (e) => [e.startTime, e.startTime + e.duration]))).observe({type: 'longtask', buffered: true});
new PerformanceObserver((l) => { window.painted = l.getEntries().at(-1).startTime; }).observe(
  {type: 'largest-contentful-paint', buffered: true});
"""


@pytest.fixture(scope="module")
def demo_site(serve, tmp_path_factory):
    """The pages over the demo's log: an outing of three hours."""
    from analyzer.faces.api import create_app
    from analyzer.faces.recordings import play_into, shipped_demo

    log = tmp_path_factory.mktemp("demo") / "log.sqlite"
    boat, files = shipped_demo()
    play_into(log, files, boat)
    with serve(create_app(log, None)) as served:
        yield served.url


@pytest.fixture
def slow(chromium):
    """A phone at a quarter of this machine's speed, that has nothing in its cache."""
    context = chromium.new_context(viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.add_init_script(_WATCH)
    devtools = context.new_cdp_session(page)
    devtools.send("Emulation.setCPUThrottlingRate", {"rate": SLOWDOWN})
    devtools.send("Network.enable")
    weights = {}
    urls = {}
    devtools.on("Network.responseReceived",
                lambda e: urls.setdefault(e["requestId"], e["response"]["url"]))  # fmt: skip
    devtools.on("Network.loadingFinished",
                lambda e: weights.setdefault(e["requestId"], e["encodedDataLength"]))  # fmt: skip
    yield page, lambda: {urls[k]: size for k, size in weights.items() if k in urls}
    context.close()


def interactive_s(page, until):
    """When the last long task ended that a quiet second came after."""
    last = "Math.max(0, ...window.tasks.map((t) => t[1]))"
    until(lambda: page.evaluate(f"performance.now() - {last} > {QUIET_MS}"), 60)
    return page.evaluate(last) / 1e3


def test_under_way_page_is_light_and_answers_at_once(slow, demo_site):
    page, weights = slow
    page.goto(demo_site)  # once, so that what the server needs is loaded
    page.wait_for_selector(".number")
    page.wait_for_timeout(4000)
    page.goto(demo_site)
    page.wait_for_selector(".number")
    page.wait_for_timeout(1500)
    painted_s = page.evaluate("window.painted") / 1e3
    sizes = {url: size for url, size in weights().items() if not url.endswith("/live")}
    print(f"\nunder way: {sum(sizes.values()) / 1e3:.0f} kB, painted after {painted_s:.2f} s")
    assert len(sizes) >= 5  # the page, its style and its scripts
    assert sum(sizes.values()) <= MOST_BYTES
    assert not any("bokeh" in url for url in sizes)
    assert not FULL or painted_s <= FIRST_ANSWER_S


def test_review_of_three_hours_is_soon_in_the_hand(slow, demo_site, until):
    page, weights = slow
    page.goto(f"{demo_site}/trip/1")
    page.wait_for_selector("#chart-way[data-drawn]", timeout=120_000)
    interactive_s(page, until)
    page.goto(f"{demo_site}/trip/1")
    page.wait_for_selector("#chart-way[data-drawn]", timeout=120_000)
    drawn_s = page.evaluate("performance.now()") / 1e3
    ready_s = interactive_s(page, until)
    charts = sum(size for url, size in weights().items() if "charts/way" in url)
    bokeh = sum(size for url, size in weights().items() if "bokeh" in url)
    print(
        f"\nreview: first charts drawn after {drawn_s:.2f} s, interactive after {ready_s:.2f} s; "
        f"bokeh {bokeh / 1e3:.0f} kB, first charts {charts / 1e3:.0f} kB"
    )
    assert charts <= 2 * MOST_BYTES
    assert not FULL or ready_s <= INTERACTIVE_S
