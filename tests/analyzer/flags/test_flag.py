"""A flag's life in the book: raised once, worse once, over once; and what every kind says."""

from dataclasses import replace

import pytest

from analyzer.estimation.detection import Detection
from analyzer.flags.flag import CLEAR_S, Evidence, FlagBook, record
from analyzer.flags.words import WORDS


def hot(
    level: str = "warning", kind: str = "motor_hot", channel: str = "motor_temp_c"
) -> Detection:
    return Detection("motor", kind, "hot", level=level, key="motor/hot", channels=(channel,))


def test_the_book_raises_once_worsens_once_and_clears_once():
    book, seen = FlagBook(), []
    for k in range(100):
        now = [hot()] if k < 20 else [hot("act now")] if k < 40 else []
        seen += book.see(k * 10_000_000, now)
    assert [e.action for e in seen] == ["raised", "worse", "cleared"]
    assert seen[1].flag.level == "act now"
    assert seen[2].t_us - 39 * 10_000_000 > CLEAR_S * 1e6


def test_a_short_absence_does_not_clear():
    book = FlagBook()
    seen = []
    for k in range(60):
        seen += book.see(k * 10_000_000, [hot()] if k % 5 == 0 else [])
    assert [e.action for e in seen] == ["raised"]


@pytest.mark.parametrize("kind", WORDS)
def test_every_kind_says_cause_caution_and_first_action(kind):
    words = WORDS[kind]
    for text in (words.title, words.cause, words.caution, words.first_action):
        assert len(text) > 15
    for text in (words.cause, words.caution, words.first_action):
        assert text[0].isupper()
        assert text.endswith(".")


def adopted(kind: str, channel: str) -> FlagBook:
    """A book that takes over a flag which an earlier run raised an hour ago."""
    book = FlagBook()
    book.adopt(replace(record(hot(kind=kind, channel=channel), 0), number=7))
    return book


def piece(*read: str, loaded: bool = False) -> Evidence:
    return Evidence(10_000_000, frozenset(read), loaded)


def cleared_after(book: FlagBook, evidence: Evidence, pieces: int) -> int | None:
    """Number of the piece of ten seconds after which the flag is over."""
    for k in range(pieces):
        if book.see(3_600_000_000 + (k + 1) * 10_000_000, [], evidence):
            return k + 1
    return None


def test_a_restart_does_not_clear_a_flag_and_readings_do():
    assert cleared_after(adopted("motor_hot", "motor_temp_c"), piece("motor_temp_c"), 100) == 13


def test_silence_clears_no_flag():
    book = adopted("motor_hot", "motor_temp_c")
    assert cleared_after(book, piece("pack_voltage_v"), 1000) is None
    assert cleared_after(book, piece("motor_temp_c"), 100) == 13


def test_what_only_load_can_show_is_cleared_by_an_hour_of_load_alone():
    book = adopted("lug_heating", "probe_a_temp_c")
    assert cleared_after(book, piece("probe_a_temp_c"), 2000) is None
    assert cleared_after(book, piece("probe_a_temp_c", loaded=True), 500) == 361


def test_a_flag_seen_again_after_a_restart_clears_as_any_other():
    book = adopted("lug_heating", "probe_a_temp_c")
    again = hot(kind="lug_heating", channel="probe_a_temp_c")
    assert book.see(3_600_000_000, [again], piece("probe_a_temp_c")) == []
    assert cleared_after(book, piece("probe_a_temp_c"), 100) == 13


def test_a_flag_keeps_the_words_of_its_detection_before_those_of_its_kind():
    own = replace(hot(), title="Too warm", cause="Sun.", first_action="Shade it.", caution="Hot.")
    flag, usual = record(own, 5), WORDS["motor_hot"]
    assert (flag.title, flag.cause, flag.first_action) == ("Too warm", "Sun.", "Shade it.")
    assert flag.caution == usual.caution, "the usual one, whoever found it"
    plain = record(hot(), 5)
    assert (plain.title, plain.cause, plain.first_action) == (
        usual.title.format(subject="Motor"), usual.cause, usual.first_action)  # fmt: skip
    assert (plain.raised_us, plain.key, plain.channels) == (5, "motor/hot", ("motor_temp_c",))


def test_the_most_urgent_of_two_for_one_cause_is_the_flag():
    (event,) = FlagBook().see(0, [hot("notice"), hot("act now"), hot("warning")])
    assert event.flag.level == "act now"


def test_less_urgent_is_no_news():
    book = FlagBook()
    book.see(0, [hot("act now")])
    assert book.see(10_000_000, [hot("notice")]) == []
    assert [flag.level for flag in book.flags] == ["act now"]


def test_what_is_worse_keeps_its_number_and_when_it_was_raised():
    book = FlagBook()
    book.see(7, [hot()])
    book.number("motor/hot", 3)
    (event,) = book.see(10_000_000, [hot("act now")])
    assert (event.flag.number, event.flag.raised_us) == (3, 7)


def test_what_was_before_a_flag_was_raised_does_not_clear_it():
    """As when the live watch warms up on readings that were watched already."""
    book = FlagBook()
    flag = record(hot(kind="motor_hot", channel="motor_temp_c"), 3_600_000_000 + 600_000_000)
    book.adopt(replace(flag, number=7))
    # Sixty pieces of ten seconds end with the flag; from then on it takes as long as any.
    assert cleared_after(book, piece("motor_temp_c"), 100) == 60 + 13
