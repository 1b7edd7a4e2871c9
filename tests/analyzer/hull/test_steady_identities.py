"""Steady points against numpy means over the minutes; draws of a curve against quadrature."""

import numpy as np
import pytest

from analyzer.environment.stream import given as given_stream
from analyzer.hull.steady import steady, water_velocity
from analyzer.hull.steady_points import SteadyPoints, compact
from analyzer.series.series import Series
from logger.boat import Boat

STEP_S = 10.0  # six samples a minute
# propulsion power [W], speed [m/s], heading [deg], minutes
RUNS = [(800.0, 2.0, 40.0, 12), (1400.0, 2.4, 40.0, 9), (1400.0, 2.3, 130.0, 15)]


def invented_boat() -> Boat:
    return Boat(
        name="invented",
        hull={
            "waterline_m": 8.2, "beam_waterline_m": 2.6, "draught_m": 1.4,
            "displacement_kg": 5200.0, "windage_area_m2": 4.0,
        },
        pack={"chemistry": "lfp", "cells_in_series": 16, "rated_capacity_ah": 200.0},
        motor={"rated_power_w": 8000.0},
    )  # fmt: skip


def log(runs=RUNS, seed: int = 1, **more) -> Series:
    rng = np.random.default_rng(seed)
    rows = np.concatenate([np.repeat([run[:3]], run[3] * 6, axis=0) for run in runs])
    power, speed, heading = rows.T
    n = len(power)
    values = {
        "pack_voltage_v": np.full(n, 50.0),
        "pack_current_a": power * (1 + 0.02 * rng.standard_normal(n)) / 50.0,
        "speed_ground_mps": speed + 0.01 * rng.standard_normal(n),
        "course_ground_deg": (heading + 3.0) % 360,
        "heading_true_deg": heading,
        "hotel_power_w": np.zeros(n),
    }
    return Series(6_000_000_000, STEP_S, n, values | more)


STILL = given_stream(0.0, 0.0, sd_mps=0.02)


def test_points_are_the_means_of_their_minutes():
    series = log()
    points = steady(series, invented_boat(), STILL)
    power = series.get("pack_voltage_v") * series.get("pack_current_a")
    assert len(points.speed_mps) == 3
    start = 0
    for k, (_, _, heading, minutes) in enumerate(RUNS):
        # the first minute of a run has none alike before it; a turn alone is no new power, and
        # the minute after it counts
        first = start + 6 * (0 if k == 2 else 1)
        rows = slice(first, start + 6 * minutes)
        watts = power[rows].reshape(-1, 6).mean(axis=1)
        speed = series.get("speed_ground_mps")[rows].reshape(-1, 6).mean(axis=1)
        count = len(watts)
        assert points.power_w[k] == pytest.approx(np.exp(np.log(watts).mean()), rel=1e-12)
        assert points.speed_mps[k] == pytest.approx(speed.mean(), rel=1e-12)
        assert points.duration_s[k] == 60.0 * count
        # 8 % a minute, never better than 3 % (common practice, no source; steady.py)
        assert points.log_sd[k] == pytest.approx(np.sqrt(0.08**2 / count + 0.03**2))
        assert points.speed_sd_mps[k] == pytest.approx(0.02)
        assert points.t_utc_s[k] == pytest.approx(series.t_utc_s[rows].mean())
        assert points.heading_deg[k] == pytest.approx(heading)
        start += 6 * minutes
    assert list(points.group) == [0, 0, 1]


def test_a_measured_wind_is_taken_out_minute_by_minute():
    n = sum(run[3] for run in RUNS) * 6
    wind = {"wind_speed_true_mps": np.full(n, 6.0), "wind_direction_true_deg": np.full(n, 70.0)}
    plain, windy = (
        steady(log(), invented_boat(), STILL),
        steady(log(**wind), invented_boat(), STILL),
    )
    assert plain.winds.min() > 0
    assert windy.winds.max() == 0
    for k, (_, _, heading, _) in enumerate(RUNS):
        speed = plain.speed_mps[k]
        ahead = 6.0 * np.cos(np.radians(70.0 - heading)) + speed
        force = 0.5 * 1.225 * 0.9 * 4.0 * (ahead * abs(ahead) - speed**2)
        want = plain.power_w[k] - force * speed / 0.41
        assert windy.power_w[k] == pytest.approx(want, rel=2e-3)


def test_no_point_where_the_mask_is_shut_or_the_water_shallow():
    series = log()
    mask = np.zeros(series.n, bool)
    mask[: 12 * 6] = True
    assert len(steady(series, invented_boat(), STILL, mask).speed_mps) == 1
    # a depth Froude number of 0.6 at 2 m/s: (2 / 0.6)² / 9.80665 = 1.133 m; twice the draught 2.8
    for depth, count in ((2.7, 0), (2.9, 3)):
        shallow = log(depth_m=np.full(series.n, depth))
        assert len(steady(shallow, invented_boat(), STILL).speed_mps) == count


def test_speed_through_water_with_and_without_a_stream():
    rng = np.random.default_rng(2)
    n = 50
    course, made, logged = rng.uniform(0, 360, n), rng.uniform(1, 3, n), rng.uniform(1, 3, n)
    logged[::3] = np.nan
    series = Series(0, 1.0, n, {
        "speed_ground_mps": made, "course_ground_deg": course, "speed_water_mps": logged,
    })  # fmt: skip
    stream = given_stream(0.6, 75.0, sd_mps=0.11)
    water, sd = water_velocity(series, stream)
    for k in range(n):
        way, set_rad = np.radians(course[k]), np.radians(75.0)
        over = [made[k] * f(way) - 0.6 * f(set_rad) for f in (np.sin, np.cos)]
        assert water[k] == pytest.approx(np.hypot(*over))
        assert sd[k] == pytest.approx(0.11)
    water, sd = water_velocity(series, None)
    np.testing.assert_allclose(water, np.where(np.isnan(logged), made, logged))
    np.testing.assert_allclose(sd, np.where(np.isnan(logged), 0.4, 0.06 * logged))


def many_points(n: int = 300) -> SteadyPoints:
    rng = np.random.default_rng(3)
    return SteadyPoints(
        rng.uniform(1, 3, n), rng.uniform(300, 3000, n), rng.uniform(0.03, 0.1, n),
        rng.uniform(0.01, 0.2, n), rng.uniform(60, 900, n), rng.permutation(n) * 100.0,
        rng.integers(0, 40, n), wind_log_sd=rng.uniform(0, 0.2, n),
    )  # fmt: skip


def test_compact_is_the_weighted_mean_of_each_tenth_of_a_metre_a_second():
    points = many_points()
    small = compact(points)
    newest = points.t_utc_s >= np.sort(points.t_utc_s)[-80]
    old = np.round(points.speed_mps / 0.1).astype(int)
    bins = sorted(set(old[~newest]))
    assert len(small.speed_mps) == len(bins) + 80
    assert small.duration_s.sum() == pytest.approx(points.duration_s.sum())
    for k, number in enumerate(bins):
        which = ~newest & (old == number)
        weight = points.duration_s[which]
        legs = len(set(points.group[which]))
        mean = {
            name: np.average(getattr(points, name)[which], weights=weight)
            for name in ("speed_mps", "log_sd", "speed_sd_mps", "t_utc_s", "wind_log_sd")
        }
        assert small.speed_mps[k] == pytest.approx(mean["speed_mps"])
        log_w = np.average(np.log(points.power_w[which]), weights=weight)
        assert np.log(small.power_w[k]) == pytest.approx(log_w)
        shared = np.sqrt((0.12**2 + mean["wind_log_sd"] ** 2) / legs)
        own = mean["log_sd"] / np.sqrt(which.sum())
        assert small.log_sd[k] == pytest.approx(np.hypot(own, shared))
        assert small.speed_sd_mps[k] == pytest.approx(mean["speed_sd_mps"] / np.sqrt(legs))
        assert small.group[k] == -1 - k
        assert small.winds[k] == 0
