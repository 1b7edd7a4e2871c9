"""Legs just sailed tell of the wind that blows now."""

import json

import numpy as np
import pytest

from analyzer.environment.stream import given
from analyzer.environment.wind import any_wind_log_sd, windage_m2
from analyzer.hull import hull
from analyzer.hull.power_curve import PowerCurve
from analyzer.hull.steady_points import SteadyPoints
from analyzer.range.monte_carlo import Now
from analyzer.range.reach import reach, toward
from tests.support.hull_boat import boat
from tests.support.range_inputs import question

OUT_W, BACK_W, SPEED = 600.0, 1000.0, 2.0
STILL = given(0.0, 0.0, sd_mps=0.02, t_s=7200.0)


def legs(*rows, t_s=3600.0) -> SteadyPoints:
    """Half an hour each: (power, heading)."""
    power, heading = np.array(rows, dtype=float).T
    n = len(power)
    speed = np.full(n, SPEED)
    return SteadyPoints(
        speed, power, np.full(n, 0.03), np.full(n, 0.02), np.full(n, 1800.0),
        t_s + 1800.0 * np.arange(n), np.arange(n), (),
        any_wind_log_sd(windage_m2(boat().hull), speed, power), heading,
    )  # fmt: skip


def homeward_w(points: SteadyPoints) -> tuple[float, float, float]:
    """Power predicted on the opposite course, of a boat going north with 600 W at 2 m/s."""
    asked = question(
        n=4000,
        curve=hull.fit(points, hull.prior(boat())),
        stream=STILL,
        speeds_mps=np.array([SPEED]),
        now=Now(SPEED, 0.0, OUT_W),
        wind=None,
        windage_m2=windage_m2(boat().hull),
        course_deg=0.0,
    )
    power = reach(toward(asked, 180.0)).power(0)
    return power.low, power.mid, power.high


def test_what_the_way_back_took_an_hour_ago_it_takes_again():
    low, mid, high = homeward_w(legs((BACK_W, 180.0), (OUT_W, 0.0)))
    blind_low, blind_mid, blind_high = homeward_w(legs((OUT_W, 0.0)))
    assert mid == pytest.approx(BACK_W, rel=0.12)
    assert low < BACK_W < high
    assert abs(blind_mid - BACK_W) > abs(mid - BACK_W)
    assert np.log(high / low) < 0.7 * np.log(blind_high / blind_low)


def test_the_leg_that_goes_on_is_not_counted_beside_the_present():
    """However long it has gone on so, the way back in an unknown wind is no surer."""
    once, often = homeward_w(legs((OUT_W, 0.0))), homeward_w(legs(*[(OUT_W, 0.0)] * 6))
    assert np.log(often[2] / often[0]) == pytest.approx(np.log(once[2] / once[0]), rel=0.1)


def test_yesterday_s_wind_says_nothing_of_today_s():
    old = legs((BACK_W, 180.0), (OUT_W, 0.0), t_s=3600.0 - 86400.0)
    low, _, high = homeward_w(old)
    new_low, _, new_high = homeward_w(legs((BACK_W, 180.0), (OUT_W, 0.0)))
    assert np.log(high / low) > 1.2 * np.log(new_high / new_low)


def test_legs_that_sails_helped_do_not_make_it_sure():
    """A third of the power on the way out an hour ago may be a gale from astern, or sails."""
    low, _, high = homeward_w(legs((BACK_W / 3, 180.0), (OUT_W, 0.0)))
    assert high / low > 1.5


def test_recent_legs_survive_json():
    curve = hull.fit(legs((BACK_W, 180.0), (OUT_W, 0.0)), hull.prior(boat()))
    again = PowerCurve.from_dict(json.loads(json.dumps(curve.to_dict())))
    assert again.recent is not None
    assert curve.recent is not None
    assert again.recent.points.power_w == pytest.approx(curve.recent.points.power_w)
    assert again.recent.before.log_power == pytest.approx(curve.recent.before.log_power)
