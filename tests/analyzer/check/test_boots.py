"""How boots were dated: their times follow by sums from what the receiver said at the start."""

from types import SimpleNamespace

import pytest

from analyzer.check.boots import boots, forget_date
from logger.errors import StoreError
from logger.reading import Group, Quantum, Row, UtcFix
from logger.store import Store

S = 1_000_000
DAY_S, YEARS_S = 86_400, 10 * 365 * 86_400
BEGAN_S = 1_790_000_000
GROUP = Group("test/all", ("pack_voltage_v",), (Quantum(),))


@pytest.fixture
def log(tmp_path):
    """An hour a day on four days, from a minute after each boot; of the second the receiver says
    a date ten years ahead."""
    with Store.open(tmp_path / "log.sqlite", write=True) as store:
        for day, wrong_s in enumerate((0, YEARS_S, 0, 0)):
            with store.writer(f"boot {day}") as writer:
                said_us = (BEGAN_S + day * DAY_S + wrong_s) * S
                writer.add(UtcFix(0, said_us, "gnss", 0.25))
                writer.add(Row(GROUP, 60 * S, (52.0,)))
                writer.add(Row(GROUP, 3660 * S, (52.0,)))
        yield SimpleNamespace(store=store)


def test_readings_are_dated_from_the_boot_s_clock_and_the_fix(log):
    first, wrong, third, last = boots(log)
    for row, day in ((first, 0), (third, 2), (last, 3)):
        assert row.believed
        assert (row.dated_by, row.uncertainty_s) == ("gnss", 0.25)
        assert row.first_utc_s == BEGAN_S + day * DAY_S + 60
        assert row.last_utc_s == BEGAN_S + day * DAY_S + 3660
    assert not wrong.believed
    assert first.last_utc_s < wrong.first_utc_s < wrong.last_utc_s < third.first_utc_s
    assert wrong.last_utc_s - wrong.first_utc_s == 3600


def test_a_boot_without_a_reading_has_no_times(log):
    with log.store.writer("boot 4") as writer:
        writer.add(UtcFix(0, (BEGAN_S + 4 * DAY_S) * S, "gnss", 0.25))
    row = boots(log)[-1]
    assert (row.first_utc_s, row.last_utc_s) == (None, None)


def test_only_a_boot_that_is_there_loses_its_date(log):
    number = boots(log)[1].number
    forget_date(log, number)
    assert [row.dated_by for row in boots(log)] == ["gnss", None, "gnss", "gnss"]
    with pytest.raises(StoreError, match="no boot 9"):
        forget_date(log, 9)
