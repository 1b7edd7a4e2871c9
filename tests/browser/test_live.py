"""The live stream in a real browser: new figures, stale data, the board gone and back."""

import dataclasses
import socket
import time

import pytest

pytestmark = pytest.mark.browser


@pytest.fixture
def log(invented_answers):
    """The invented log, whose distance the test sets."""

    class Changing(invented_answers.InventedLog):
        def change(self, **fields):
            self.answer = dataclasses.replace(self.answer, **fields)

        def far(self, low, mid, high):
            nmi = 1852.0
            distance = invented_answers.estimate(mid * nmi, low * nmi, high * nmi, "m")
            self.change(distance=distance)

    return Changing(dataclasses.replace(invented_answers.RANGE, data_age_s=1.0))


@pytest.fixture
def live(serve, log):
    from analyzer.faces.web.app import create_app

    with serve(create_app(log)) as served:
        yield served


def expect(condition, timeout_s=15.0):
    """Waits for something to become true."""
    until = time.monotonic() + timeout_s
    while not condition():
        assert time.monotonic() < until, "it did not become true in time"
        time.sleep(0.1)


def test_new_figures_come_by_themselves_and_the_hand_keeps_its_speed(live, phone, log):
    phone.goto(live.url)
    assert phone.locator("#stale").is_hidden()
    phone.locator("#speed").focus()
    phone.keyboard.press("ArrowLeft")
    assert phone.locator("#bought").inner_text().startswith("At 4.0 kn")
    log.far(8.0, 9.0, 10.0)
    expect(lambda: phone.locator(".number").inner_text() == "9.0")
    assert phone.locator("#bought").inner_text().startswith("At 4.0 kn")
    assert "further than at 4.5 kn" in phone.locator("#bought").inner_text()
    assert phone.evaluate("document.activeElement.id") == "speed"


def test_data_that_stop_are_said_to_be_old_and_drawn_hollow(live, phone, log):
    phone.goto(live.url)
    log.change(data_age_s=40.0)
    expect(lambda: phone.locator("#stale").is_visible())
    assert phone.locator("#stale").inner_text().startswith("Not now: the data end")
    assert "not-now" in phone.locator("body").get_attribute("class")
    log.change(data_age_s=1.0)
    expect(lambda: phone.locator("#stale").is_hidden())
    assert "not-now" not in phone.locator("body").get_attribute("class")


def test_an_unfolded_flag_stays_unfolded(live, phone, log, invented_answers):
    phone.goto(live.url)
    notice = phone.locator("#flag-2")
    assert notice.get_attribute("open") is None
    notice.locator("summary").click()
    log.far(8.0, 9.0, 10.0)
    log.change(flags=(invented_answers.flag(3, "act now"), *invented_answers.RANGE.flags))
    expect(lambda: phone.locator("#flag-3").count() == 1)
    assert notice.get_attribute("open") is not None
    assert phone.locator("#alarm summary").inner_text().startswith("Act now")


def test_trouble_with_the_log_is_said(live, phone, log):
    from logger.errors import StoreError

    phone.goto(live.url)
    expect(lambda: phone.locator("#stale").is_hidden())

    def broken(*_):
        raise StoreError("the log is locked by another program")

    log.range_left = broken
    expect(lambda: "The log is locked" in phone.locator("#stale").inner_text())
    del log.range_left
    expect(lambda: phone.locator("#stale").is_hidden())


def test_a_board_that_goes_and_comes_back(chromium, serve, log):
    """As when the board loses power: the page says so, and lives again by itself."""
    from analyzer.faces.web.app import create_app

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    context = chromium.new_context(viewport={"width": 390, "height": 844})
    page = context.new_page()
    with serve(create_app(log), port) as served:
        page.goto(served.url)
        expect(lambda: page.locator("#stale").is_hidden())
    expect(lambda: "nothing heard from the board" in page.locator("#stale").inner_text())
    assert page.locator(".number").inner_text() == "13"
    assert "not-now" in page.locator("body").get_attribute("class")
    log.far(8.0, 9.0, 10.0)
    with serve(create_app(log), port):
        expect(lambda: page.locator(".number").inner_text() == "9.0", 40)
        expect(lambda: page.locator("#stale").is_hidden())
    context.close()
