"""A log that was looked through is not looked through again until something has changed."""

from contextlib import nullcontext

import pytest

from analyzer.answers import Log
from analyzer.flags import monitor
from analyzer.learned import stamp
from analyzer.series.log import OpenLog
from logger import boat as boats
from tests.analyzer.learned.test_charge_history import TRIP, log, put
from tests.support.small_boat import BOAT_TEXT

__all__ = ["log"]


def look(opened):
    """As a command looks, at a log held open."""
    asked = Log(opened.store.path)
    asked.opened = lambda write=False: nullcontext(opened)
    asked.refresh()


@pytest.fixture
def looks(log, monkeypatch):
    """How often the watch has walked; a short trip looked through once."""
    count = []
    walked = monitor.run
    monkeypatch.setattr(monitor, "run", lambda *given: count.append(1) or walked(*given))
    put(log, [(0.2, *TRIP[0][1:])])
    look(log)
    assert count == [1]
    return count


def test_nothing_new_is_not_looked_at_again(log, looks):
    kept = log.store.trips(), log.store.flags(), log.store.learned("charge")
    look(log)
    assert looks == [1]
    assert kept == (log.store.trips(), log.store.flags(), log.store.learned("charge"))


def test_new_readings_are(log, looks):
    put(log, [(0.1, *TRIP[0][1:])])
    look(log)
    assert looks == [1, 1]


def test_readings_put_in_between_are(log, looks):
    # an import of an earlier day leaves the log's ends where they were
    put(log, [(0.01, *TRIP[0][1:])], after_h=0.5)
    look(log)
    put(log, [(0.01, *TRIP[0][1:])], after_h=-0.3)
    look(log)
    assert looks == [1, 1, 1]


def test_with_another_boat_file_it_is(log, looks):
    other = boats.parse(BOAT_TEXT.replace("rated_capacity_ah = 200", "rated_capacity_ah = 190"), "")
    assert other != log.boat
    look(OpenLog(log.store, other))
    assert looks == [1, 1]


def test_after_an_update_of_the_program_it_is(log, looks, monkeypatch):
    monkeypatch.setattr(stamp, "program", lambda: (("pack/soc/filter.py", 1, 2),))
    look(log)
    assert looks == [1, 1]


def test_the_program_s_stamp_is_of_what_answers_rest_on():
    names = [name for name, _, _ in stamp.program()]
    assert "answers/refresh.py" in names
    assert "units.py" in names
    assert not [name for name in names if name.startswith("faces/")]
