"""The network goes and comes back: what is shown stays, is said to be old, and lives again."""

import dataclasses

import pytest

pytestmark = pytest.mark.browser


@pytest.fixture
def changing(serve, invented_answers):
    """A site whose answers the test changes."""
    from analyzer.faces.web.app import create_app

    log = invented_answers.InventedLog(dataclasses.replace(invented_answers.RANGE, data_age_s=1.0))
    with serve(create_app(log)) as served:
        yield served.url, log


@pytest.fixture
def device(chromium):
    """A phone whose network the test cuts; the browser's own complaints of that are no faults."""
    context = chromium.new_context(viewport={"width": 390, "height": 844})
    yield context, context.new_page()
    context.close()


def test_set_up_shows_what_arrives_after_the_network_was_gone(
    changing, device, invented_answers, until
):
    url, log = changing
    context, page = device
    page.clock.install()
    page.goto(url + "/set-up")
    assert "1 channel" in page.locator("#arrives").inner_text()
    context.set_offline(True)
    page.clock.run_for(11_000)
    assert "1 channel" in page.locator("#arrives").inner_text()
    row = invented_answers.CHECK.channels[0]
    two = (row, dataclasses.replace(row, name="pack_current_a", text="pack current", unit="A"))
    log.check = lambda there=(): dataclasses.replace(invented_answers.CHECK, channels=two)
    context.set_offline(False)
    page.clock.run_for(11_000)
    until(lambda: "2 channels" in page.locator("#arrives").inner_text())


def test_charts_keep_what_they_show_and_fetch_finer_figures_later(changing, device):
    url, log = changing
    context, page = device
    page.goto(url + "/trip/2")
    page.wait_for_selector("#chart-way[data-drawn]", timeout=60_000)
    zoom = """(by) => {
      const [r] = Object.values(Bokeh.documents).map((d) => d.get_model_by_name('times'));
      const middle = (r.start + r.end) / 2, half = ((r.end - r.start) / 2) * by;
      r.setv({ start: middle - half, end: middle + half });
    }"""
    context.set_offline(True)
    page.evaluate(zoom, 0.3)
    page.wait_for_timeout(600)
    assert page.locator("#chart-way").get_attribute("data-filled") is None
    assert page.locator("#chart-way canvas").count() >= 2
    context.set_offline(False)
    page.evaluate(zoom, 0.9)
    page.wait_for_selector("#chart-way[data-filled]", timeout=15_000)
    stretches = [asked[1] for asked in log.asked if asked[0] == "trip_plot"]
    assert any(s and s[1] - s[0] < 10_800 for s in stretches)


def test_under_way_is_dragged_without_a_network_and_says_so(changing, device, until):
    url, _ = changing
    context, page = device
    page.goto(url)
    until(page.locator("#stale").is_hidden)
    page.route("**/live", lambda route: route.abort())
    context.set_offline(True)
    page.evaluate("dispatchEvent(new Event('pagehide'))")  # the stream is closed, as in sleep
    page.locator("#speed").focus()
    page.keyboard.press("ArrowLeft")
    assert page.locator("#bought").inner_text().startswith("At 4.0 kn")
    until(page.locator("#stale").is_visible)
    assert "Not live" in page.locator("#stale").inner_text()
    context.set_offline(False)
    page.unroute("**/live")
    page.evaluate("dispatchEvent(new Event('online'))")
    until(page.locator("#stale").is_hidden)
