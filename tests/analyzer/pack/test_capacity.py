"""Capacity and its trend on invented histories."""

import numpy as np
from pytest import approx

from analyzer.pack.capacity import TripCharge, learn, trend

YEAR_US = 365.25 * 24 * 3600 * 1e6


def trips(rng, count, ah=200.0):
    """Trips of a pack of known capacity, gauge good to 0.4 % at each end; invented."""
    out = []
    for k in range(count):
        change = rng.uniform(0.1, 0.6)
        said = change + 0.004 * np.sqrt(2) * rng.standard_normal()
        out.append(TripCharge(f"trip {k}", k, ah * change, said, 0.004 * np.sqrt(2)))
    return out


def test_learn_range_holds_the_truth_as_often_as_it_says():
    # the shunt's gain is common to all trips: 1 % sd, as the range takes it
    rng = np.random.default_rng(1)
    held = 0
    for _ in range(400):
        gain = 1 + 0.01 * rng.standard_normal()
        found = learn(trips(rng, 8, 200.0 * gain)).estimate
        held += found.low < 200.0 < found.high
    assert 0.74 < held / 400 < 0.88


def test_learn_leaves_out_the_odd_one():
    some = trips(np.random.default_rng(2), 6)
    some.append(TripCharge("odd", 9, 50.0, 0.4, 0.006))
    found = learn(some)
    assert set(found.left_out) == {"odd"}
    assert found.estimate.mid == approx(200, rel=0.02)


def test_learn_says_why_not():
    found = learn([TripCharge("short", 0, 2.0, 0.01, 0.006)])
    assert not found.estimate.known
    assert "only 1.0 %" in found.left_out["short"]


def test_trend_finds_ageing_and_its_sureness():
    t = np.linspace(0, 3, 12) * YEAR_US
    ah = 200 * (1 - 0.03 * t / YEAR_US)
    noisy = ah + np.random.default_rng(3).normal(0, 1.5, 12)
    found = trend(t, noisy, np.full(12, 1.5), -1)
    assert found.per_year.low < -0.03 < found.per_year.high + 0.003
    assert found.sureness_frac > 0.95
    level = trend(t, np.full(12, 200.0), np.full(12, 1.5), -1)
    assert 0.3 < level.sureness_frac < 0.7


def test_trend_wants_time():
    assert not trend(np.arange(5) * 1e6, np.ones(5), np.ones(5), -1).per_year.known
