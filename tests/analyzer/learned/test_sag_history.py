"""Trips side by side, and what is kept of them. Figures invented."""

from dataclasses import replace

import numpy as np
import pytest

from analyzer.answers import refresh, review
from analyzer.learned import kept_trips, sag_history
from analyzer.learned.sag_history import Circuit, compared
from analyzer.series.log import OpenLog
from logger.reading import (
    EXACT,
    Block,
    Group,
    UtcFix,
)
from logger.store import Store
from tests.support.motor_boat import motor_boat

BEFORE = Circuit(
    8e-3, 0.2e-3, 10e-3, 0.6e-3, 20.0, (0.55e-3, 0.3e-3, 0.4e-3), (0.02, 0.05, 0.1), 3e-3
)
BOAT = motor_boat()


def test_a_pack_that_has_not_changed_is_said_to_be_as_before():
    text = compared(BEFORE, [BEFORE, BEFORE], 60.0)
    assert "about as much as on the 2 trips before" in text
    assert "resistance 0.48 V against 0.48" in text
    assert "cables and contactor 0.18 V against 0.18" in text


def test_a_clear_rise_is_said_and_a_doubtful_one_is_not():
    more = replace(BEFORE, ohmic_ohm=12e-3)
    assert "lose more than on the trip before" in compared(more, [BEFORE], 60.0)
    doubtful = replace(more, ohmic_sd=4e-3)
    assert "about as much as" in compared(doubtful, [BEFORE], 60.0)
    less = replace(BEFORE, ohmic_ohm=5e-3)
    assert "lose less than" in compared(less, [BEFORE], 60.0)


def test_nothing_before_or_no_load_is_no_comparison():
    assert compared(BEFORE, [], 60.0) == ""
    assert compared(BEFORE, [BEFORE], 0.0) == ""


def fill(store: Store, days: int) -> None:
    """An outing of half an hour each day; the pack's resistance half as much again on the last."""
    names = ("pack_voltage_v", "pack_current_a", "pack_temp_c", "speed_ground_mps")
    group = Group("t/pack", names, (EXACT,) * len(names))
    rng = np.random.default_rng(2)
    writer = store.writer("boot")
    writer.add(UtcFix(0, 1_782_887_400_000_000, "file", 1.0))
    for day in range(days):
        amps = np.repeat(
            [0.0, 60.0, 30.0, 70.0, 0.0, 50.0, 0.0], [400, 500, 400, 500, 300, 500, 60]
        )
        amps = amps * (1 + 0.03 * rng.standard_normal(len(amps)))
        ohm = 16 * (0.9e-3 if day == days - 1 else 0.6e-3)
        volts = 52.8 - ohm * amps + rng.normal(0, 0.01, len(amps))
        table = np.column_stack([volts, amps, np.full(len(amps), 25.0), 0.04 * np.abs(amps)])
        t_us = (day * 86400 + np.arange(len(amps), dtype=np.int64)) * 1_000_000
        writer.add(Block(group, t_us, table))
    writer.close()


@pytest.fixture
def log(tmp_path):
    with Store.open(tmp_path / "log.sqlite", write=True) as store:
        fill(store, 3)
        yield OpenLog(store, BOAT)


def test_trips_are_kept_and_the_review_tells_what_changed(log):
    refresh.refresh(log)
    assert len(kept_trips.trips(log)) == 3
    kept = log.store.learned(sag_history.KEY)
    assert len(kept) == 2  # the last may still be going on
    last = kept_trips.trips(log)[-1].number
    first = kept_trips.trips(log)[0].number
    assert any(
        "lose more than on the 2 trips before" in r for r in review.review(log, last).remarks
    )
    assert not any("trips before" in r for r in review.review(log, first).remarks)
    refresh.refresh(log)
    assert len(log.store.learned(sag_history.KEY)) == 2
