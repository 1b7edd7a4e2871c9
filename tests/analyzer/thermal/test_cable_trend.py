"""Trend of a joint from trip to trip, on invented histories."""

import numpy as np
import pytest

from analyzer.thermal.cable_trend import (
    DAY_S,
    Kept,
    base_k,
    trend,
)
from logger.boat import Cable

CABLE = Cable(name="positive", size_mm2=50, length_m=2, probe="positive")


def history(rng, trips: int, growth_k: float) -> list[Kept]:
    """Trips three days apart; each day differs by 15 %, each finding by 1 K."""
    out = []
    for k in range(trips):
        true = (6 + growth_k * k / max(trips - 1, 1)) * (1 + 0.15 * rng.standard_normal())
        out.append(Kept(1.7e9 + 3 * DAY_S * k, true + rng.standard_normal(), 1.0))
    return out


def test_a_rising_joint_is_found_and_steady_ones_are_not():
    rng = np.random.default_rng(4)
    found = sum(trend(CABLE, history(rng, 10, 12.0)) is not None for _ in range(200))
    false = sum(trend(CABLE, history(rng, 10, 0.0)) is not None for _ in range(400))
    print(
        f"\n12 K in ten trips found {found / 200:.1%}; steady ones called rising {false / 400:.2%}"
    )
    assert found >= 190
    assert false <= 8  # 2 % is what 98 % sureness allows


def test_two_trips_are_no_trend():
    assert trend(CABLE, history(np.random.default_rng(0), 2, 50.0)) is None


def test_size_is_said_in_ohm_with_its_range():
    found = trend(CABLE, history(np.random.default_rng(1), 12, 20.0))
    assert found is not None
    assert found.kind == "lug_trend"
    assert found.size.low < found.size.mid < found.size.high
    assert 0.05e-3 < found.size.mid < 2e-3


def test_base_is_above_the_mean_and_tightens_with_trips():
    rng = np.random.default_rng(2)
    one, many = base_k(history(rng, 1, 0.0)), base_k(history(rng, 30, 0.0))
    assert base_k([]) is None
    assert 6.0 < many < 8.5
    assert one > 0
    assert many == pytest.approx(6 + np.hypot(0.9, 0.7), abs=0.6)  # day's spread by hand
