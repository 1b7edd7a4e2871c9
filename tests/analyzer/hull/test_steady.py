"""Steady motoring told from everything else."""

import json

import numpy as np
import pytest

from analyzer.environment.stream import given
from analyzer.hull import hull
from analyzer.hull.steady import steady
from analyzer.hull.steady_points import SteadyPoints, compact
from analyzer.series.operating import propulsion_power_w
from analyzer.series.series import Series
from logger.boat import Boat
from tests.support.hull_boat import boat


def log(*parts, seed=1) -> Series:
    """Stretches of (seconds, speed through water, propulsion power, heading, shaft speed)."""
    rng = np.random.default_rng(seed)
    rows = [np.repeat([part[1:]], part[0], axis=0) for part in parts]
    speed, power, heading, shaft = np.concatenate(rows).astype(float).T
    n = len(speed)
    speed = speed + 0.03 * rng.standard_normal(n)
    power = power * (1 + 0.03 * rng.standard_normal(n))
    return Series(
        0,
        1.0,
        n,
        {
            "pack_voltage_v": np.full(n, 52.0),
            "pack_current_a": (power + 60.0) / 52.0,
            "hotel_power_w": np.full(n, 60.0),
            "speed_ground_mps": np.abs(speed),
            "course_ground_deg": (heading + rng.standard_normal(n)) % 360,
            "heading_true_deg": heading % 360,
            "shaft_speed_rps": shaft,
        },
    )


STILL = given(0.0, 0.0, sd_mps=0.02)


def test_propulsion_power_takes_hotel_out_and_puts_sun_in():
    # by hand: 52 V x 20 A = 1040 W from the pack, + 200 W sun - 60 W hotel = 1180 W
    n = 5
    series = Series(
        0,
        1.0,
        n,
        {
            "pack_voltage_v": np.full(n, 52.0),
            "pack_current_a": np.full(n, 20.0),
            "solar_power_w": np.full(n, 200.0),
            "hotel_power_w": np.full(n, 60.0),
        },
    )
    assert propulsion_power_w(series, boat()) == pytest.approx(np.full(n, 1180.0))


def test_typical_hotel_load_stands_in_where_it_is_not_measured():
    with_hotel = Boat.model_validate(boat().model_dump() | {"hotel": {"power_w": 40.0}})
    series = Series(
        0, 1.0, 3, {"pack_voltage_v": np.full(3, 50.0), "pack_current_a": np.full(3, 10.0)}
    )
    assert propulsion_power_w(series, with_hotel) == pytest.approx(np.full(3, 460.0))


def test_two_steady_speeds_become_two_points():
    """Of one propeller, whose power goes with the cube of its turns: 800 (20 / 15)^3 = 1896."""
    points = steady(log((900, 2.0, 800, 40, 15), (900, 2.6, 1900, 40, 20)), boat(), STILL)
    assert sorted(np.round(points.speed_mps, 1)) == pytest.approx([2.0, 2.6], abs=0.11)
    slow = np.argmin(points.speed_mps)
    assert points.power_w[slow] == pytest.approx(800, rel=0.03)
    assert points.duration_s.sum() > 1500


def test_acceleration_and_turns_are_left_out():
    ramp = [(10, 1 + 0.04 * k, 300 + 60 * k, 40, 10) for k in range(60)]
    circles = [(10, 2.0, 1000, 40 + 8 * k, 15) for k in range(60)]
    assert len(steady(log(*ramp), boat(), STILL).speed_mps) == 0
    assert len(steady(log(*circles), boat(), STILL).speed_mps) == 0


def test_sailing_and_regeneration_are_left_out():
    series = log((900, 2.5, -150, 40, 9), (900, 2.5, 0, 40, 0))
    assert len(steady(series, boat(), STILL).speed_mps) == 0


def test_motoring_with_sails_up_is_left_out_by_the_light_propeller():
    series = log((1200, 2.2, 1000, 40, 16), (1200, 2.9, 500, 40, 16), (1200, 2.2, 1000, 40, 16))
    points = steady(series, boat(), STILL)
    assert (points.speed_mps < 2.5).all()
    assert points.power_w == pytest.approx(np.full(len(points.power_w), 1000), rel=0.04)


def test_towing_is_left_out_by_the_heavy_propeller():
    series = log((1200, 2.2, 1000, 40, 16), (1200, 1.6, 1900, 40, 16), (1200, 2.2, 1000, 40, 16))
    assert (steady(series, boat(), STILL).speed_mps > 2.0).all()


def test_shallow_water_is_left_out_and_deep_water_is_not():
    series = log((900, 2.2, 1000, 40, 16))
    deep = series.values | {"depth_m": np.full(series.n, 20.0)}
    shallow = series.values | {"depth_m": np.full(series.n, 1.5)}
    assert len(steady(Series(0, 1.0, series.n, deep), boat(), STILL).speed_mps) > 0
    assert len(steady(Series(0, 1.0, series.n, shallow), boat(), STILL).speed_mps) == 0


def test_the_stream_is_taken_out_of_the_speed():
    series = log((900, 2.0, 800, 90, 15))
    points = steady(series, boat(), given(0.5, 90.0, sd_mps=0.05))
    # ground 2.0 east in a stream of 0.5 east: 1.5 through the water
    assert points.speed_mps == pytest.approx(np.full(len(points.speed_mps), 1.5), abs=0.05)
    assert points.speed_sd_mps == pytest.approx(np.full(len(points.speed_mps), 0.05), abs=0.01)


def test_a_measured_head_wind_is_taken_out_of_the_power():
    series = log((900, 2.0, 1000, 0, 15))
    n = series.n
    windy = Series(
        0,
        1.0,
        n,
        series.values
        | {
            "wind_speed_true_mps": np.full(n, 7.0),
            "wind_direction_true_deg": np.full(n, 0.0),
        },
    )
    assert steady(windy, boat(), STILL).power_w[0] < 0.85 * steady(series, boat(), STILL).power_w[0]


def test_gusts_within_one_setting_are_one_point_not_a_curve_that_falls():
    """At one shaft speed a gust slows the boat and raises the power: no point of its own."""
    gusts = [(120, 2.0 + way, 800 - 300 * way, 40, 15) for way in (0.0, 0.15, -0.15) * 3]
    points = steady(log(*gusts), boat(), STILL)
    assert len(points.speed_mps) == 1
    assert points.speed_mps[0] == pytest.approx(2.0, abs=0.05)
    assert points.power_w[0] == pytest.approx(800, rel=0.03)


def test_one_course_is_one_leg_however_often_readings_were_missing():
    series = log((900, 2.0, 800, 40, 15), (900, 2.6, 1900, 40, 19), (900, 2.0, 800, 220, 15))
    for at in (300, 1200, 2000):
        series.values["pack_current_a"][at : at + 90] = np.nan
    points = steady(series, boat(), STILL)
    assert len(points.speed_mps) == 3
    assert sorted(np.bincount(points.group).tolist()) == [1, 2]


def test_a_wind_that_nobody_measured_is_a_doubt_of_the_leg_most_at_slow_speed():
    points = steady(log((900, 1.5, 400, 40, 11), (900, 2.6, 1900, 40, 19)), boat(), STILL)
    slow, fast = points.winds[np.argsort(points.speed_mps)]
    assert slow > 2 * fast > 0
    n = 900
    calm = log((n, 1.5, 400, 40, 11))
    calm.values["wind_speed_true_mps"] = np.zeros(n)
    calm.values["wind_direction_true_deg"] = np.zeros(n)
    assert (steady(calm, boat(), STILL).winds == 0).all()


def test_gaps_are_no_points():
    series = log((900, 2.0, 800, 40, 15))
    series.values["pack_current_a"][:] = np.nan
    assert len(steady(series, boat(), STILL).speed_mps) == 0


def test_a_mask_keeps_it_to_a_leg():
    series = log((900, 2.0, 800, 40, 15), (900, 2.0, 800, 40, 15))
    mask = np.arange(series.n) < 900
    assert steady(series, boat(), STILL, mask).duration_s.sum() <= 900


def test_points_survive_json_and_join_keeps_stretches_apart():
    one = steady(log((900, 2.0, 800, 40, 15)), boat(), STILL)
    again = SteadyPoints.from_dict(json.loads(json.dumps(one.to_dict())))
    assert again.power_w == pytest.approx(one.power_w)
    both = SteadyPoints.join([one, again])
    assert len(np.unique(both.group)) == 2 * len(np.unique(one.group))
    assert len(SteadyPoints.join([]).speed_mps) == 0


def test_a_hundred_trips_become_few_points_that_say_the_same():
    rng = np.random.default_rng(4)
    n = 1000
    speed = rng.uniform(1.5, 3.0, n)
    curve = hull.prior(boat())
    power = 1.3 * curve.mean_w(speed) * np.exp(0.1 * rng.standard_normal(n))
    many = SteadyPoints(
        speed, power, np.full(n, 0.04), np.full(n, 0.03), np.full(n, 600.0),
        np.arange(n) * 3600.0, np.arange(n),
    )  # fmt: skip
    few = compact(many)
    assert len(few.speed_mps) < 120
    assert few.duration_s.sum() == pytest.approx(many.duration_s.sum())
    at = np.array([2.0, 2.5])
    assert hull.fit(many, curve).mean_w(at) == pytest.approx(1.3 * curve.mean_w(at), rel=0.03)


def test_a_water_log_without_gps_teaches_as_it_reads():
    """Log and compass alone, stream not to be told: the log's own speed, six per cent of doubt."""
    series = log((900, 2.0, 900.0, 40.0, np.nan), (900, 2.6, 1800.0, 40.0, np.nan))
    values = {k: v for k, v in series.values.items() if "ground" not in k}
    values["speed_water_mps"] = series.get("speed_ground_mps")
    blind = Series(series.t0_us, 1.0, series.n, values)
    points = steady(blind, boat(), given(0.0, 0.0, sd_mps=0.5))
    assert points.speed_mps == pytest.approx([2.0, 2.6], abs=0.03)
    assert points.power_w == pytest.approx([900.0, 1800.0], rel=0.03)
    assert points.speed_sd_mps == pytest.approx(0.06 * points.speed_mps, rel=0.02)
    curve = hull.fit(points, hull.prior(boat()))
    assert curve.seen_mps == pytest.approx((2.0, 2.6), abs=0.03)
    assert curve.log_sd(np.array([2.3]))[0] < hull.prior(boat()).log_sd(np.array([2.3]))[0]


def test_minutes_in_which_sails_carry_half_are_left_out():
    """2.0 m/s for half of the power at 0.866 of the turns, as a propeller's lines have it: x^2
    (x - a) / (1 - a) = 0.5 with a = 0.576. No point of the boat's own."""
    parts = ((900, 2.0, 800, 40, 15), (900, 2.6, 1900, 40, 20), (900, 2.0, 400, 40, 0.866 * 15))
    points = steady(log(*parts), boat(), STILL)
    assert len(points.speed_mps) == 2
    assert points.power_w.min() == pytest.approx(800, rel=0.03)
