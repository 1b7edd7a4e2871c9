"""The tone for flags, in a real browser whose oscillators are counted."""

import dataclasses
import time

import pytest

pytestmark = pytest.mark.browser

COUNT = """
window.beeps = [];
const make = AudioContext.prototype.createOscillator;
AudioContext.prototype.createOscillator = function () {
  const tone = make.call(this);
  const start = tone.start.bind(tone);
  tone.start = (at) => { window.beeps.push(tone.frequency.value); start(at); };
  return tone;
};
"""


@pytest.fixture
def log(invented_answers):
    """The invented log with flags that the test sets."""

    class Flagged(invented_answers.InventedLog):
        def set(self, flags):
            self.answer = dataclasses.replace(invented_answers.RANGE, flags=tuple(flags))

        def flag_seen(self, number):
            self.set(
                dataclasses.replace(f, seen_utc_s=f.raised_utc_s + 60) if f.number == number else f
                for f in self.answer.flags
            )

    flagged = Flagged()
    flagged.set([])
    return flagged


@pytest.fixture
def served(serve, log):
    from analyzer.faces.web.app import create_app

    with serve(create_app(log)) as served:
        yield served


@pytest.fixture
def page(served, phone):
    phone.add_init_script(COUNT)
    phone.goto(served.url)
    return phone


def beeps(page):
    return page.evaluate("window.beeps")


def until(condition, limit_s=15.0):
    end = time.monotonic() + limit_s
    while not condition():
        assert time.monotonic() < end, "it did not become true in time"
        time.sleep(0.1)


def test_nothing_sounds_before_somebody_asks_for_it(page, log, invented_answers):
    log.set([invented_answers.flag(1, "act now")])
    until(lambda: page.locator("#flag-1").count() == 1)
    page.wait_for_timeout(1500)
    assert beeps(page) == []


def test_a_warning_sounds_once_and_act_now_until_it_is_seen(page, log, invented_answers):
    page.locator("#sound").click()
    assert page.locator("#sound").get_attribute("aria-pressed") == "true"
    until(lambda: beeps(page) == [660])  # how loud it is
    log.set([invented_answers.flag(1, "warning")])
    until(lambda: len(beeps(page)) == 3)
    page.wait_for_timeout(2500)
    assert len(beeps(page)) == 3
    log.set([invented_answers.flag(1, "act now")])
    until(lambda: len(beeps(page)) == 9)
    until(lambda: len(beeps(page)) == 15)  # again, since nobody has seen it
    page.locator("#alarms > .seen button").click()
    until(lambda: "Seen at" in page.locator("#flag-1").text_content())
    assert page.locator("#flag-1[data-unseen]").count() == 0
    # Loaded anew, the page waits for a touch, and what was seen does not sound.
    page.reload()
    until(lambda: "touch" in page.locator("#sound").inner_text())
    page.locator("h2").first.click()
    until(lambda: beeps(page) == [660])
    page.wait_for_timeout(2000)
    assert beeps(page) == [660]


def test_a_notice_is_silent_and_the_choice_can_be_taken_back(page, log, invented_answers):
    page.locator("#sound").click()
    log.set([invented_answers.flag(1, "notice")])
    until(lambda: page.locator("#flag-1").count() == 1)
    page.wait_for_timeout(1500)
    assert beeps(page) == [660]
    page.locator("#sound").click()
    log.set([invented_answers.flag(2, "act now")])
    until(lambda: page.locator("#flag-2").count() == 1)
    page.wait_for_timeout(1500)
    assert beeps(page) == [660]
