"""Power from the boat file alone, and after steady stretches."""

import numpy as np
import pytest

from analyzer.hull import hull
from analyzer.hull.steady_points import SteadyPoints
from logger.units import KN, LB
from tests.support.hull_boat import boat


def steady_points(speed, power, minutes=10.0, speed_sd=0.03) -> SteadyPoints:
    speed = np.asarray(speed, float)
    n = len(speed)
    return SteadyPoints(
        speed_mps=speed,
        power_w=np.asarray(power, float),
        log_sd=np.full(n, 0.05),
        speed_sd_mps=np.full(n, speed_sd),
        duration_s=np.full(n, minutes * 60),
        t_utc_s=np.arange(n) * 600.0,
        group=np.arange(n),
    )


def test_prior_holds_the_displacement_speed_formula_s_worked_boat():
    # Gerr: waterline 27 ft, 10 000 lb, 7 kn wants 20 shaft horsepower. Shaft power over battery
    # power is 0.85 to 0.9 (motor and controller, common practice).
    curve = hull.prior(
        boat(waterline_m=27 * 0.3048, displacement_kg=10_000 * LB, beam_waterline_m=2.6)
    )
    estimate = curve.power_w(7 * KN)
    battery_w = 20.15 * 745.7 / 0.87
    assert estimate.low < battery_w < estimate.high


def test_prior_is_wide_and_says_so():
    estimate = hull.prior(boat()).power_w(5 * KN)
    assert estimate.high / estimate.low > 1.6
    assert "hull's numbers alone" in estimate.reason


def test_prior_steepens_near_hull_speed():
    # Delft tank results: exponent of power about 3.2 at Froude 0.15, 6 to 8 at 0.35 to 0.45
    curve = hull.prior(boat())
    speed = np.array([0.15, 0.40]) * np.sqrt(9.80665 * 8.2)
    slow, fast = curve.slope(speed)
    assert 2.7 < slow < 3.7
    assert fast > 5.5


@pytest.mark.parametrize(
    "kind", ["long_keel", "fin_keel", "light_keel", "catamaran", "motor_launch"]
)
def test_prior_knows_every_kind_of_hull(kind):
    curve = hull.prior(boat(kind=kind))
    assert np.isfinite(curve.log_power).all()
    assert (np.diff(curve.log_power) > 0).all()


def test_a_motor_launch_s_prior_is_wider_than_a_keel_boat_s():
    launch = hull.prior(boat(kind="motor_launch", displacement_kg=3000.0)).power_w(5 * KN)
    keel = hull.prior(boat()).power_w(5 * KN)
    assert launch.high / launch.low > keel.high / keel.low


def test_twenty_minutes_of_motoring_narrow_the_answer():
    prior = hull.prior(boat())
    at = np.array([2.4])
    truth = prior.mean_w(at)[0] * 1.3
    curve = hull.fit(steady_points([2.4, 2.4], [truth, truth], speed_sd=0.05), prior)
    assert curve.log_sd(at)[0] < 0.5 * prior.log_sd(at)[0]
    assert curve.power_w(2.4).low < truth < curve.power_w(2.4).high
    assert curve.minutes == 20.0


def test_points_at_one_speed_teach_others_less():
    prior = hull.prior(boat())
    curve = hull.fit(steady_points([2.0], [prior.mean_w(np.array([2.0]))[0]]), prior)
    sd = curve.log_sd(np.array([2.0, 3.4])) / prior.log_sd(np.array([2.0, 3.4]))
    assert sd[0] < sd[1] < 1


def test_fit_without_points_is_the_prior():
    prior = hull.prior(boat())
    assert hull.fit(SteadyPoints.none(), prior) is prior
