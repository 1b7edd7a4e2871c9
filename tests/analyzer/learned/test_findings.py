"""One fault, one figure: a flag keeps what was found, and the log what it has become."""

from dataclasses import replace

import numpy as np
import pytest

from analyzer.answers import flags, range_left
from analyzer.answers.flags import OVER_SHOWN_US, over_unseen
from analyzer.estimation.detection import Detection
from analyzer.estimation.estimate import Estimate
from analyzer.flags import monitor
from analyzer.flags.flag import KEEP_US, FlagBook, record
from analyzer.learned import findings
from analyzer.series.log import OpenLog
from logger.boat import Boat
from logger.reading import EXACT, Block, Group
from logger.store import Store
from tests.support.hull_boat import boat

S = 1_000_000
SIZE = Estimate(1e-3, 0.5e-3, 2e-3, "ohm", used=("probe_a_temp_c",))
FOUND = Detection(
    "lug", "lug_heating", "Some 12 K.", 0.99, SIZE, "cure", key="joint/a",
    channels=("probe_a_temp_c",),
)  # fmt: skip


@pytest.fixture
def log(tmp_path):
    """A log of one reading a second, an hour long, and its boat."""
    group = Group("t", ("pack_voltage_v",), (EXACT,))
    with Store.open(tmp_path / "log.sqlite", write=True) as store:
        writer = store.writer("boot")
        writer.add(Block(group, np.arange(3600, dtype=np.int64) * S, np.full((3600, 1), 53.0)))
        writer.close()
        yield OpenLog(store, boat())


def test_what_is_kept_comes_back_as_it_was(log):
    flag = record(FOUND, 5 * S)
    findings.keep(log.store, flag, FOUND, 9 * S)
    assert findings.kept(log.store, flag) == (9 * S, FOUND)


def test_what_another_flag_of_the_cause_left_is_not_taken(log):
    findings.keep(log.store, record(FOUND, 5 * S), FOUND, 9 * S)
    assert findings.kept(log.store, record(FOUND, 6 * S)) is None


def test_what_another_version_kept_is_passed_over(log):
    flag = record(FOUND, 5 * S)
    log.store.put_learned(findings.KEY + flag.key, {"text": "?"}, 5 * S, 9 * S)
    assert findings.kept(log.store, flag) is None


def told(log, found, since_us=0):
    return findings.beside_flags(log.store, found, since_us, ("lug_",))


def test_an_answer_takes_the_flag_s_figures(log):
    """Some 23 K by the answer's own look, 15 K as the watch last had it: 15 K is said by both."""
    number = log.store.add_flag(record(FOUND, 5 * S))
    flag = replace(record(FOUND, 5 * S), number=number)
    now = replace(FOUND, text="Some 15 K.")
    findings.keep(log.store, flag, now, 900 * S)
    own = replace(FOUND, text="Some 23 K.")
    other = replace(own, subject="another lug")
    assert told(log, [own, other]) == [replace(now, since_us=5 * S), other]
    assert told(log, [own], 901 * S) == [own], "kept before the trip asked of"
    log.store.update_flag(number, cleared_us=950 * S)
    assert told(log, [own]) == [own], "no flag stands"


@pytest.mark.parametrize("own", ["cell_charge", "cell_capacity", "cell_behind"])
def test_a_cell_behind_the_others_is_one_cause_whichever_it_is(log, own):
    flag = replace(FOUND, kind="cell_charge", subject="cell 7", key="cell/cell 7")
    log.store.add_flag(record(flag, 5 * S))
    findings.keep(log.store, record(flag, 5 * S), flag, 5 * S)
    seen = replace(flag, kind=own, text="By its own look.")
    found = findings.beside_flags(log.store, [seen], 0, ("cell_",))
    assert [one.text for one in found] == [flag.text]
    sags = replace(seen, kind="cell_resistance")
    found = findings.beside_flags(log.store, [sags], 0, ("cell_",))
    assert [one.kind for one in found] == ["cell_resistance", "cell_charge"], "two causes"


def test_what_stands_as_a_flag_is_told_though_the_answer_does_not_see_it(log):
    flag = record(FOUND, 5 * S)
    cell = record(replace(FOUND, kind="cell_low", subject="cell 7", key="cell/cell 7"), 5 * S)
    for one in (flag, cell):
        log.store.add_flag(one)
        findings.keep(log.store, one, FOUND, 5 * S)
    assert told(log, []) == [FOUND], "and no other kind"


def test_a_flag_shows_what_was_found_and_what_is_now(log):
    flag = record(FOUND, 5 * S)
    log.store.add_flag(flag)
    findings.keep(log.store, flag, replace(FOUND, text="Some 15 K."), 900 * S)
    (view,) = flags.flags(log)
    assert (view.evidence, view.now, view.now_utc_s) == ("Some 12 K.", "Some 15 K.", 900.0)


def test_a_flag_tells_its_age(log):
    log.store.add_flag(record(FOUND, 600 * S))
    (view,) = flags.flags(log)
    assert log.store.age_s() is None
    assert view.age_s is None, "without a date nobody knows how old it is"


def test_what_is_over_is_shown_until_it_is_seen_and_for_a_day(log):
    number = log.store.add_flag(record(FOUND, 600 * S))
    assert over_unseen(log, 3600 * S) == ()
    log.store.update_flag(number, cleared_us=1200 * S)
    (over,) = range_left.range_left(log).flags_over
    assert (over.raised_utc_s, over.cleared_utc_s) == (600.0, 1200.0)
    assert over_unseen(log, 1200 * S + OVER_SHOWN_US - 1)
    assert not over_unseen(log, 1200 * S + OVER_SHOWN_US)
    log.store.update_flag(number, seen_us=1300 * S)
    assert range_left.range_left(log).flags_over == ()


def texts(book: FlagBook, at_us: int) -> list[str]:
    return [now.text for _, now in book.changed(at_us)]


def test_changed_figures_are_kept_a_minute_apart():
    book = FlagBook()
    book.see(0, [FOUND])
    assert texts(book, 10 * KEEP_US) == [], "as when it was raised"
    book.see(S, [replace(FOUND, text="Some 13 K.")])
    assert texts(book, KEEP_US - 1) == []
    assert texts(book, KEEP_US) == ["Some 13 K."]
    assert texts(book, 2 * KEEP_US) == [], "kept already"
    book.see(KEEP_US + S, [replace(FOUND, text="Some 14 K.")])
    assert texts(book, 2 * KEEP_US - 1) == []
    assert texts(book, 2 * KEEP_US) == ["Some 14 K."]


def test_a_restart_keeps_nothing_that_was_not_found_again():
    book = FlagBook()
    book.adopt(record(FOUND, 0))
    assert texts(book, 10 * KEEP_US) == []
    book.see(10 * KEEP_US, [replace(FOUND, text="Some 14 K.")])
    assert texts(book, 11 * KEEP_US) == ["Some 14 K."]


def test_the_watch_keeps_what_a_pack_s_low_voltage_has_become(tmp_path):
    afloat = Boat.model_validate(boat().model_dump() | {"cable": []})
    names = ("pack_voltage_v", "pack_current_a")
    volts = np.concatenate([np.full(600, 52.0), np.linspace(42.0, 38.0, 600)])
    rows = np.column_stack([volts, np.full(1200, 20.0)])
    with Store.open(tmp_path / "log.sqlite", write=True) as store:
        writer = store.writer("boot")
        group = Group("t", names, (EXACT, EXACT))
        writer.add(Block(group, np.arange(1200, dtype=np.int64) * S, rows))
        writer.close()
        monitor.run(store, afloat)
        (view,) = (f for f in flags.flags(OpenLog(store, afloat)) if f.kind == "pack_low")
    assert "at 38.00 V" in view.now
    assert "at 38.00 V" not in view.evidence
