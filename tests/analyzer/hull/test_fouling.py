"""Speed loss between trips."""

import numpy as np
import pytest

from analyzer.hull import hull
from analyzer.hull.fouling import (
    expected_speed_mps,
    fouling,
    reference_trips,
    trip_loss,
)
from analyzer.hull.steady_points import SteadyPoints
from tests.support.hull_boat import boat

DAY = 86400.0


def trip(day: float, slower: float, seed: int, truth: float = 1.2) -> SteadyPoints:
    """Half an hour at four speeds on a day, the boat slower by a share at the same power."""
    rng = np.random.default_rng(seed)
    curve = hull.prior(boat())
    clean = np.array([1.8, 2.1, 2.4, 2.7])
    power = truth * curve.mean_w(clean) * np.exp(0.03 * rng.standard_normal(4))
    return SteadyPoints(
        speed_mps=clean * (1 - slower),
        power_w=power,
        log_sd=np.full(4, 0.05),
        speed_sd_mps=np.full(4, 0.03),
        duration_s=np.full(4, 450.0),
        t_utc_s=np.full(4, day * DAY),
        group=np.arange(4),
    )


def test_expected_speed_is_the_curve_read_backwards():
    curve = hull.prior(boat())
    speed = np.array([1.5, 2.0, 2.5])
    assert expected_speed_mps(curve, curve.mean_w(speed)) == pytest.approx(speed, rel=1e-3)


def test_speed_loss_has_the_standard_s_sign():
    # ISO 19030: 100 (measured - expected) / expected; slower is negative
    reference = hull.fit(trip(0, 0.0, 1), hull.prior(boat()))
    loss, sd = trip_loss(trip(30, 0.05, 2), reference)
    assert loss == pytest.approx(-0.05, abs=0.02)
    assert 0.01 < sd < 0.06


def test_a_growing_bottom_is_found_and_said():
    trips = [trip(7 * k, 0.012 * k * 7 / 30.44, k) for k in range(20)]
    found = fouling(trips, hull.prior(boat()))
    assert found.trend.low < -0.012 < found.trend.high
    assert found.now.mid < -0.02
    assert "slower at the same power" in found.sentence
    assert "propeller first" in found.sentence


def test_a_clean_boat_raises_no_word_of_growth():
    found = fouling([trip(7 * k, 0.0, 50 + k) for k in range(12)], hull.prior(boat()))
    assert "no change" in found.sentence
    assert found.trend.low < 0 < found.trend.high


def test_a_boat_other_than_its_prior_is_not_called_foul():
    found = fouling([trip(7 * k, 0.0, 80 + k, truth=1.6) for k in range(8)], hull.prior(boat()))
    assert "no change" in found.sentence


def test_too_little_motoring_says_so():
    found = fouling([trip(0, 0.0, 1)], hull.prior(boat()))
    assert not found.trend.known
    assert "45 minutes" in found.sentence
    assert reference_trips([trip(0, 0, 1), trip(1, 0, 2)]) == 2


def test_trips_of_one_day_make_no_trend():
    found = fouling([trip(0.1 * k, 0.0, k) for k in range(4)], hull.prior(boat()))
    assert not found.trend.known
    assert len(found.rows) == 4
