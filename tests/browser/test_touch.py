"""By thumb: a swipe over any chart scrolls the page; two fingers and buttons are the chart's."""

import pytest

from tests.support.browser import UNFOLD

pytestmark = pytest.mark.browser


@pytest.fixture
def hand(chromium):
    """A phone with a touch screen, and its fingers."""
    context = chromium.new_context(viewport={"width": 390, "height": 844}, has_touch=True)
    page = context.new_page()
    devtools = context.new_cdp_session(page)

    def fingers(kind, *points):
        touches = [{"x": x, "y": y, "id": k} for k, (x, y) in enumerate(points)]
        devtools.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": touches})

    yield page, fingers
    context.close()


def swipe(page, fingers, box):
    x, y = box["x"] + box["width"] * 0.5, box["y"] + box["height"] * 0.5
    fingers("touchStart", (x, y))
    for k in range(1, 11):
        fingers("touchMove", (x, y - 16 * k))
    fingers("touchEnd")
    page.wait_for_timeout(250)


def middle_of(page, selector):
    place = page.locator(selector)
    place.evaluate("e => e.scrollIntoView({block: 'center'})")
    page.wait_for_timeout(150)
    return place.bounding_box()


@pytest.mark.parametrize(
    ("path", "charts"),
    [
        ("/", ["#curve"]),
        ("/trip/2", ["#chart-way", "#chart-pack", "#chart-track"]),
        ("/log", ["#chart-log"]),
        ("/plan", ["#chart"]),
    ],
)
def test_a_swipe_over_any_chart_scrolls_the_page(hand, site, path, charts):
    page, fingers = hand
    page.goto(site + path)
    page.evaluate(UNFOLD)
    for chart in charts:
        if chart.startswith("#chart-"):
            page.locator(chart).scroll_into_view_if_needed()
            page.wait_for_selector(f"{chart}[data-drawn]", timeout=60_000)
        box = middle_of(page, chart)
        before = page.evaluate("scrollY")
        swipe(page, fingers, box)
        assert abs(page.evaluate("scrollY") - before) > 80, chart


SEEN = """() => { const [r] = Object.values(Bokeh.documents)
  .map((d) => d.get_model_by_name("times")).filter(Boolean); return [r.start, r.end]; }"""


def test_two_fingers_stretch_a_chart_and_buttons_do_the_same(hand, site):
    page, fingers = hand
    page.goto(site + "/trip/2")
    page.wait_for_selector("#chart-way[data-drawn]", timeout=60_000)
    box = middle_of(page, "#chart-way")
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    start, end = page.evaluate(SEEN)
    fingers("touchStart", (x - 30, y), (x + 30, y))
    for k in range(1, 7):
        fingers("touchMove", (x - 30 - 5 * k, y), (x + 30 + 5 * k, y))
    fingers("touchEnd")
    left, right = page.evaluate(SEEN)
    assert (right - left) / (end - start) == pytest.approx(0.5, abs=0.05)  # 60 px became 120
    buttons = page.locator(".chart-acts").first.locator("button")
    for button in buttons.all():
        size = button.bounding_box()
        assert size["width"] >= 44
        assert size["height"] >= 44
    buttons.nth(2).click()
    closer = page.evaluate(SEEN)
    assert closer[1] - closer[0] == pytest.approx(0.6 * (right - left), rel=0.01)
    buttons.nth(4).click()
    assert page.evaluate(SEEN) == [start, end]
    assert page.locator(".bk-Toolbar").count() == 0


def test_a_passage_across_the_date_line_is_short(hand, site):
    page, _ = hand
    page.goto(site + "/plan")
    page.wait_for_selector("#sea:not([hidden])")
    page.locator("#places").fill("10 0 N, 179 54 E\n10 0 N, 179 54 W")
    # 12 minutes of arc along the parallel of 10 degrees: 12 x cos 10 = 11.8 nmi
    assert "11.8 nautical miles: 090°" in page.locator("#legs").inner_text()
