"""By keyboard alone: whatever a hand can press is reached by Tab, in order, and seen to be."""

import pytest

pytestmark = pytest.mark.browser

PAGES = ["/", "/trips", "/trip/2", "/log", "/plan", "/health", "/set-up", "/compare?a=2&b=2"]

# Gives every element that can be pressed and is seen a number, and says how many there are.
_NUMBERED = """
() => {
  const all = 'a[href], button, input:not([type=hidden]), select, textarea, summary, ' +
    '[tabindex="0"]';
  const seen = [...document.querySelectorAll(all)].filter(
    (e) => e.checkVisibility() && !e.disabled && e.getClientRects().length);
  window.presses = new Map(seen.map((e, k) => [e, k]));
  return seen.length;
}
"""
_FOCUSED = """
() => {
  const e = document.activeElement;
  const style = getComputedStyle(e);
  const box = e.getBoundingClientRect();
  return {
    press: window.presses.get(e) ?? null,
    what: e.outerHTML.slice(0, 80),
    ring: style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2,
    onScreen: box.bottom > 0 && box.top < innerHeight,
  };
}
"""


@pytest.mark.parametrize("path", PAGES)
def test_everything_is_reached_by_tab_and_has_a_ring(page, site, path):
    page.goto(site + path)
    if path in ("/trip/2", "/log", "/compare?a=2&b=2"):
        page.wait_for_selector(".chart[data-drawn]", timeout=60_000)
    if path == "/plan":
        page.wait_for_selector("#sea:not([hidden])")
    wanted = page.evaluate(_NUMBERED)
    assert wanted >= 8
    met, ringless, away = [], [], []
    for _ in range(3 * wanted + 40):
        page.keyboard.press("Tab")
        at = page.evaluate(_FOCUSED)
        if at["press"] is None:
            continue
        if met and int(at["press"]) == met[0] and len(set(met)) == wanted:
            break
        met.append(int(at["press"]))
        if not at["ring"]:
            ringless.append(at["what"])
        if not at["onScreen"]:
            away.append(at["what"])
    assert set(met) == set(range(wanted))
    assert ringless == []
    assert away == []


def test_a_passage_is_drawn_and_worked_out_by_keyboard(page, site):
    page.goto(site + "/plan")
    page.wait_for_selector("#sea:not([hidden])")
    page.locator("#chart").focus()
    page.keyboard.press("Enter")
    for _ in range(4):
        page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    page.keyboard.press("ArrowUp")
    page.keyboard.press("Enter")
    assert len(page.locator("#places").input_value().splitlines()) == 3
    page.keyboard.press("Backspace")
    assert len(page.locator("#places").input_value().splitlines()) == 2
    said = page.locator("#legs").inner_text()
    assert "090°" in said
    if not page.locator("#p-speed_kn").is_visible():  # folded on a phone
        page.locator("#wishes summary").focus()
        page.keyboard.press("Enter")
    page.locator("#p-speed_kn").focus()
    page.keyboard.type("4")
    page.keyboard.press("Enter")
    page.wait_for_selector("#verdict")
    assert page.locator("#verdict").inner_text().startswith("Yes: 97\u00a0% sure")
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    assert len(page.locator("#places").input_value().splitlines()) == 2  # kept for another try


def test_places_are_drawn_dragged_and_taken_back_by_hand(page, site):
    page.goto(site + "/plan")
    page.wait_for_selector("#sea:not([hidden])")
    page.locator("#chart").scroll_into_view_if_needed()
    box = page.locator("#chart").bounding_box()

    def on(x, y):
        return box["x"] + box["width"] * x, box["y"] + box["height"] * y

    page.mouse.click(*on(0.3, 0.5))
    page.mouse.click(*on(0.7, 0.5))
    field = page.locator("#places")
    first = field.input_value()
    assert len(first.splitlines()) == 2
    page.mouse.move(*on(0.7, 0.5))
    page.mouse.down()
    page.mouse.move(*on(0.7, 0.3), steps=4)
    page.mouse.up()
    assert field.input_value().splitlines()[0] == first.splitlines()[0]
    assert field.input_value() != first
    assert "nautical miles:" in page.locator("#legs").inner_text()
    page.mouse.move(*on(0.5, 0.8))  # the water itself is dragged, and no place is added
    page.mouse.down()
    page.mouse.move(*on(0.4, 0.7), steps=4)
    page.mouse.up()
    assert len(field.input_value().splitlines()) == 2
    page.locator("#undo").click()
    assert field.input_value() == first.splitlines()[0]
