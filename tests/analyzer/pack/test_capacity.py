"""Capacity and its trend on invented histories."""

import numpy as np
import pytest
from pytest import approx

from analyzer.pack.capacity import GAUGE_SD, TripCharge, from_gauge, learn, trend
from analyzer.series.series import Series

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


def gauge_trip(lost, first=20_000, last=40_000):
    """10 A for readings a second apart; the gauge is there between two of them, the current is
    missing at so many in between."""
    said = np.full(60_000, np.nan)
    said[first : last + 1] = np.linspace(0.9, 0.4, last + 1 - first)
    amps = np.full(60_000, 10.0)
    amps[first + 100 : first + 100 + lost] = np.nan
    return Series(0, 1.0, 60_000, {"pack_current_a": amps, "pack_soc_frac": said})


def test_a_trip_whose_current_was_missed_for_over_a_hundredth_does_not_count():
    assert from_gauge("whole", gauge_trip(0)) is not None
    assert from_gauge("holes", gauge_trip(150)) is not None
    assert from_gauge("gaps", gauge_trip(350)) is None


def test_a_gauge_s_change_is_off_as_two_readings_are():
    # the difference of two independent readings: the root of the sum of squares
    found = from_gauge("trip", gauge_trip(0))
    assert found.change_sd == approx(np.hypot(GAUGE_SD, GAUGE_SD))
    assert found.change_sd > 0


def test_a_gauge_that_rises_while_the_pack_gives_is_named():
    rises = TripCharge("rises", 0, 20.0, -0.1, 0.006)
    assert "gauge went up" in learn([rises]).left_out["rises"]
    assert "gauge went down" in learn([TripCharge("x", 0, -20.0, 0.1, 0.006)]).left_out["x"]


@pytest.mark.parametrize(("share", "fit"), [(0.24, True), (0.26, False)])
def test_a_trip_surer_than_a_quarter_counts(share, fit):
    # relative error of the capacity is that of the change
    some = TripCharge("some", 0, 20.0, 0.1, share * 0.1)
    assert ("some" not in learn([some]).left_out) == fit


@pytest.mark.parametrize(("sigmas", "believed"), [(3.4, True), (3.6, False)])
def test_a_trip_further_off_than_three_and_a_half_sigmas_is_left_out(sigmas, believed):
    # four that agree to the last digit: their median's own spread is nothing
    same = [TripCharge(f"trip {k}", k, 100.0, 0.5, 0.01) for k in range(4)]
    # the fifth's own error is 2 % of what it says itself: ah - 200 = sigmas · 0.02 · ah
    ah = 200.0 / (1 - sigmas * 0.02)
    odd = TripCharge("odd", 9, ah * 0.5, 0.5, 0.01)
    assert ("odd" not in learn([*same, odd]).left_out) == believed


def test_a_trend_that_cannot_be_told_is_as_likely_as_not():
    assert trend(np.arange(5) * 1e6, np.ones(5), np.ones(5), -1).sureness_frac == 0.5
