"""How old the newest reading is, on boards whose calendar may be wrong."""

import pytest

from logger.reading import UtcFix
from tests.support.stored import S, rows

NOON_US = 1_790_000_000 * S

AGE_CASES = {  # boot, its date, the clock's date, what the age is
    "this boot, dated, clock years behind": ("now", NOON_US, NOON_US / 1e6 - 9e7, 40.0),
    "this boot, no date": ("now", None, NOON_US / 1e6, 40.0),
    "another boot, dated": ("before", NOON_US, NOON_US / 1e6 + 100.0, 91.0),
    "another boot, no date": ("before", None, NOON_US / 1e6, None),
}


def test_age_is_that_of_the_newest_reading_not_of_the_newest_boot(store, monkeypatch):
    """Recording a runs from noon to 2 min past; b from noon + 60 s to noon + 65 s."""
    monkeypatch.setattr("logger.boot_clock.boot_uid", lambda: "now")
    monkeypatch.setattr("time.time", lambda: NOON_US / 1e6 + 200.0)
    for uid, first_s, count in (("a", 0, 121), ("b", 60, 6)):
        with store.writer(uid) as writer:
            writer.add(UtcFix(0, NOON_US + first_s * S, "file", 0.1))
            for row in rows(count):
                writer.add(row)
    assert store.age_s() == pytest.approx(80.0)


@pytest.mark.parametrize("case", AGE_CASES)
def test_age_goes_by_the_boot_s_own_clock_where_it_can(store, case, monkeypatch):
    boot, date_us, clock_s, age_s = AGE_CASES[case]
    monkeypatch.setattr("logger.boot_clock.boot_uid", lambda: "now")
    monkeypatch.setattr("logger.boot_clock.mono_us", lambda: 49 * S)
    monkeypatch.setattr("time.time", lambda: clock_s)
    assert store.age_s() == 0.0  # empty yet
    with store.writer(boot) as writer:
        if date_us is not None:
            writer.add(UtcFix(0, date_us, "gnss", 0.1))
        for row in rows(10):
            writer.add(row)
    assert store.age_s() == (age_s if age_s is None else pytest.approx(age_s))
