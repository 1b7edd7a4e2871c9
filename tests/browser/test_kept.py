"""What a phone keeps of the pages, what of them jumps, and what they are on paper."""

import io
import json

import numpy as np
import pytest
from PIL import Image

pytestmark = pytest.mark.browser

SHIFTS = """
window.shifts = 0;
new PerformanceObserver((l) => l.getEntries().forEach((e) => {
  if (!e.hadRecentInput) window.shifts += e.value;
})).observe({type: 'layout-shift', buffered: true});
"""


def test_a_second_visit_fetches_no_script_and_no_style_again(phone, site):
    devtools = phone.context.new_cdp_session(phone)
    devtools.send("Network.enable")
    urls, weights = {}, {}
    devtools.on("Network.responseReceived",
                lambda e: urls.setdefault(e["requestId"], e["response"]["url"]))  # fmt: skip
    devtools.on("Network.loadingFinished",
                lambda e: weights.setdefault(e["requestId"], e["encodedDataLength"]))  # fmt: skip

    def visit():
        weights.clear()
        phone.goto(f"{site}/trip/2")
        phone.wait_for_selector("#chart-way[data-drawn]", timeout=60_000)
        held = ("/static/", "/assets/")
        return sum(w for k, w in weights.items() if any(part in urls[k] for part in held))

    first, second = visit(), visit()
    print(f"\nscripts and styles: {first / 1e3:.0f} kB, then {second / 1e3:.1f} kB")
    assert first > 200_000
    assert second < 5_000  # that nothing has changed


def test_every_page_names_its_home_screen_form(phone, site):
    phone.goto(site)
    manifest = phone.locator('link[rel="manifest"]').get_attribute("href")
    told = json.loads(phone.request.get(site + manifest).text())
    assert told["start_url"] == "/"
    for icon in told["icons"]:
        answer = phone.request.get(f"{site}/static/{icon['src']}")
        assert answer.ok
        if icon["type"] == "image/png":
            size = Image.open(io.BytesIO(answer.body())).size
            assert f"{size[0]}x{size[1]}" == icon["sizes"]


@pytest.mark.parametrize("path", ["/", "/trip/2", "/log", "/health", "/plan"])
def test_nothing_jumps_while_a_page_is_loaded(phone, site, path):
    phone.add_init_script(SHIFTS)
    phone.goto(site + path)
    if phone.locator(".chart:visible").count():
        phone.wait_for_selector(".chart[data-drawn]", timeout=60_000)
    phone.wait_for_timeout(1500)
    assert phone.evaluate("window.shifts") <= 0.05


@pytest.mark.parametrize("look", ["night", "contrast"])
def test_paper_is_white_whatever_the_look(phone, site, look):
    phone.goto(f"{site}/look/{look}?back=/trip/2")
    phone.wait_for_selector("#chart-way[data-drawn]", timeout=60_000)
    phone.emulate_media(media="print")
    image = np.asarray(Image.open(io.BytesIO(phone.screenshot(full_page=True))).convert("L"))
    assert np.median(image) > 250
    assert (image < 90).mean() > 0.01  # ink
    assert phone.locator("nav").is_hidden()


def test_paper_has_every_chart_also_those_that_were_folded(phone, site, until):
    phone.goto(site + "/trip/2")
    phone.wait_for_selector("#chart-way[data-drawn]", timeout=60_000)
    assert phone.locator(".chart[data-drawn]").count() == 1
    phone.evaluate("() => { window.print = () => { window.printed = true; }; }")
    phone.keyboard.press("Control+p")
    until(lambda: phone.evaluate("window.printed !== undefined"))
    charts = phone.locator(".chart")
    assert charts.count() == 3
    assert all(chart.locator("canvas").count() for chart in charts.all())
    assert phone.locator("main details:not([open])").count() == 0
