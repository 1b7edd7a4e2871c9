"""Boots and their dates: early, late, wrong or none."""

import numpy as np
import pytest

from logger.errors import StoreError
from logger.reading import (
    Row,
    UtcFix,
)
from logger.store import Boot
from tests.support.stored import (
    ALL,
    PACK,
    S,
    rows,
)

NOON_US = 1_790_000_000 * S


def test_a_late_fix_dates_the_whole_boot(store):
    with store.writer("boot-a") as writer:
        for row in rows(10):
            writer.add(row)
        writer.flush()
        assert store.span() == (0, 9 * S)
        writer.add(UtcFix(9 * S, NOON_US + 9 * S, "gnss", 0.1))
        writer.flush()
        assert store.span() == (NOON_US, NOON_US + 9 * S)
    assert store.boots()[0].utc_source == "gnss"
    assert store.last("pack_voltage_v") == (NOON_US + 9 * S, 50.09)


def test_a_wall_clock_that_jumps_changes_nothing_once_the_boot_is_dated(store):
    with store.writer("boot-a") as writer:
        writer.add(UtcFix(0, NOON_US, "gnss", 0.1))
        writer.add(Row(PACK, 0, [50.0, 1.0]))
        ten_years_us = 10 * 365 * 86400 * S
        writer.add(UtcFix(S, NOON_US - ten_years_us, "ntp", 0.001))
        writer.add(Row(PACK, S, [50.0, 2.0]))
    assert store.span() == (NOON_US, NOON_US + S)


def test_a_rolled_over_receiver_is_corrected_and_said(store):
    with store.writer("boot-a") as writer:
        writer.add(UtcFix(0, NOON_US - 7168 * 86400 * S, "gnss", 0.1))
        writer.add(Row(PACK, 0, [50.0, 1.0]))
    boot = store.boots()[0]
    assert boot.utc_offset_us == NOON_US
    assert "1024 weeks" in boot.remark


def test_undated_boots_follow_the_one_before_without_overlap(store):
    with store.writer("boot-a") as writer:
        writer.add(UtcFix(0, NOON_US, "gnss", 0.1))
        for row in rows(10):
            writer.add(row)
    with store.writer("boot-b") as writer:
        for row in rows(10):
            writer.add(row)
    a, b = store.boots()
    assert b.utc_offset_us is None
    assert b.first_us + b.timeline_offset_us > a.last_us + a.timeline_offset_us
    t_us, _ = store.read("pack_voltage_v", *ALL)
    assert len(t_us) == 20
    assert np.all(np.diff(t_us) > 0)


def test_the_same_boot_goes_on_after_a_restart_of_the_recorder(store):
    for start in (0, 10):
        with store.writer("boot-a") as writer:
            for row in rows(10, start):
                writer.add(row)
    assert len(store.boots()) == 1
    assert store.read("pack_voltage_v", *ALL)[0].tolist() == [i * S for i in range(20)]


def test_a_boot_of_another_log_is_taken_in_once_and_its_readings_follow(store):
    other = Boot(1, "boot-x", NOON_US, "gnss", 0.1, None, None, remark="said", recorded=True)
    store.add_boot(other)
    with store.writer("boot-x") as writer:
        for row in rows(10):
            writer.add(row)
    (boot,) = store.boots()
    assert (boot.uid, boot.utc_source, boot.remark) == ("boot-x", "gnss", "said")
    assert boot.recorded
    assert store.span() == (NOON_US, NOON_US + 9 * S)
    volts = store.channels()["pack_voltage_v"]
    assert (volts.first_us, volts.last_us, volts.count) == (NOON_US, NOON_US + 9 * S, 10)
    with pytest.raises(StoreError, match="holds the boot boot-x already"):
        store.add_boot(other)


def test_the_next_reading_is_found_over_a_silence_in_one_boot_and_between_two(store):
    day_us = 86400 * S
    silences = ((0, 10), (day_us, 3), (40 * day_us, 700))  # 700 s: a sealed chunk and a tail
    with store.writer("boot-a") as writer:
        writer.add(UtcFix(0, NOON_US, "gnss", 0.1))
        for begin_us, count in silences:
            for k in range(count):
                writer.add(Row(PACK, begin_us + k * S, [50.0, 1.0]))
    with store.writer("boot-b") as writer:
        writer.add(UtcFix(0, NOON_US + 90 * day_us, "gnss", 0.1))
        for k in range(5):
            writer.add(Row(PACK, k * S, [50.0, 1.0]))
    begins_us = [NOON_US + us for us in (0, day_us, 40 * day_us, 90 * day_us)]
    ends_us = [us + count * S for us, count in zip(begins_us, (10, 3, 700, 5), strict=True)]
    assert store.next_filled_us(NOON_US - day_us) == begins_us[0]
    for end_us, next_us in zip(ends_us, [*begins_us[1:], None], strict=True):
        assert store.next_filled_us(end_us - S) == end_us - S  # on a reading: that one
        assert store.next_filled_us(end_us) == next_us
    # against all readings, at many times
    t_us, _ = store.read("pack_current_a", *ALL)
    for at_us in np.random.default_rng(3).integers(NOON_US, NOON_US + 91 * day_us, 200).tolist():
        later = t_us[t_us >= at_us]
        assert store.next_filled_us(at_us) == (int(later[0]) if len(later) else None)
