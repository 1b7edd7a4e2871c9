"""What a sailor wants to know, found on a phone: how many taps it takes, how long by machine."""

import time

import pytest

from tests.support.browser import WIDTHS

pytestmark = pytest.mark.browser


class Hand:
    """Taps what it sees, and counts."""

    def __init__(self, page):
        self.page, self.taps, self.began = page, 0, time.monotonic()

    def tap(self, selector):
        place = self.page.locator(selector).first
        place.scroll_into_view_if_needed()
        place.tap()
        self.taps += 1

    def sees(self, selector):
        """The text of something that is on the screen as it stands, not below it."""
        place = self.page.locator(selector).first
        place.wait_for(timeout=60_000)
        box = place.bounding_box()
        assert box is not None
        assert box["y"] + box["height"] <= WIDTHS["phone"][1]
        return place.inner_text().replace("\u00a0", " ")

    def took(self, what):
        print(f"\n{what}: {self.taps} taps, {time.monotonic() - self.began:.1f} s")
        return self.taps


@pytest.fixture
def hand(chromium, site):
    across, up = WIDTHS["phone"]
    context = chromium.new_context(viewport={"width": across, "height": up}, has_touch=True)
    page = context.new_page()
    page.goto(site)
    yield Hand(page)
    context.close()


def test_how_far_and_when_to_turn_are_seen_without_a_tap(hand):
    assert hand.sees(".number") == "13"
    assert "Between 11 and 15" in hand.sees(".range")
    assert "Turn within 2.4 nmi" in hand.sees(".home")
    assert hand.took("how far, when to turn") == 0


def test_what_a_warning_is_takes_one_tap_and_its_reason_two(hand):
    hand.tap("#alarm summary")
    assert "slow down" in hand.sees("#alarm li .first").lower()
    hand.tap("#alarm li a")
    hand.page.wait_for_timeout(300)
    assert "link bolted too loosely" in hand.page.locator("#flag-1").inner_text()
    assert hand.took("what is this warning, and why") == 2


def test_why_it_sagged_takes_two_taps(hand):
    hand.tap('nav a[href="/trips"]')
    hand.tap(".trips a")
    hand.page.wait_for_selector("#sag-title")
    assert "the cells' own resistance" in hand.page.locator(".sag p").first.inner_text()
    assert hand.took("why did it sag") == 2
