"""A step of the throttle: the answer stays with the present power."""

import numpy as np
from pytest import approx

from analyzer.faces import sentences
from analyzer.hull.hull import prior
from analyzer.range import inputs
from analyzer.series.series import Series
from tests.support.hull_boat import boat

S = 120


def series(watts_before: float, watts_now: float, now_s: int) -> Series:
    """Two minutes at 50 V; the last `now_s` seconds at another power, the speed still the old."""
    watts = np.r_[np.full(S - now_s, watts_before), np.full(now_s, watts_now)]
    values = {"pack_voltage_v": np.full(S, 50.0), "pack_current_a": watts / 50.0}
    values |= {"speed_ground_mps": np.full(S, 2.0), "course_ground_deg": np.full(S, 90.0)}
    return Series(0, 1.0, S, values)


def test_throttle_w_is_the_power_since_the_step():
    hotel_w = boat().hotel.power_w if boat().hotel.measured_in_pack_current else 0.0
    found = inputs.throttle_w(series(800.0, 3000.0, 20), boat())
    assert found == approx(3000.0 - hotel_w)
    assert inputs.throttle_w(series(3000.0, 0.0, 20), boat()) is None


def test_speed_at_w_asks_for_that_power():
    curve = prior(boat())
    for watts in (300.0, 1000.0, 3000.0):
        speed = inputs.speed_at_w(curve, watts)
        mean_log = np.interp(speed, curve.speed_mps, curve.log_power)
        assert np.exp(mean_log) == approx(watts, rel=0.02)


def test_each_condition_stands_before_the_figures():
    assert set(sentences._AT) == {"present", "asked", "power", "furthest"}
    assert sentences._AT["power"].startswith("At the present power")
    assert "furthest" in sentences._AT["furthest"]
