"""Wind's force and the true wind from the apparent."""

import numpy as np
import pytest

from analyzer.environment.wind import (
    any_wind_log_sd,
    extra_n,
    extra_w,
    lately,
    true_wind,
)
from analyzer.series.series import Series


def test_drag_equals_the_worked_example():
    # F = 1/2 rho Cd A V^2: 1.225, 0.9, 3 m2, 12 m/s -> 238.1 N; boat lying still
    assert extra_n(3.0, 12.0, 0.0, 0.0) == pytest.approx(238.1, abs=0.1)


def test_only_what_is_above_still_air_is_added():
    assert extra_n(3.0, 0.0, 0.0, 2.5) == pytest.approx(0.0)


def test_wind_from_astern_pushes():
    assert extra_n(3.0, 8.0, 180.0, 2.0) < 0
    assert extra_n(3.0, 8.0, 90.0, 2.0) == pytest.approx(0.0, abs=1e-9)


def test_a_gale_from_astern_never_makes_power_out_of_nothing():
    assert 1000 + extra_w(np.array([-2000.0]), 2.0, np.array([1000.0]))[0] > 0


def test_true_wind_from_apparent():
    # by hand: heading north at 3 m/s, true wind 4 m/s from east: apparent 5 m/s from
    # atan(4/3) = 53.13 degrees on the starboard bow
    n = 4
    series = Series(
        0,
        1.0,
        n,
        {
            "wind_speed_apparent_mps": np.full(n, 5.0),
            "wind_angle_apparent_deg": np.full(n, 53.1301),
            "speed_ground_mps": np.full(n, 3.0),
            "course_ground_deg": np.zeros(n),
        },
    )
    east, north = true_wind(series, np.zeros(n))
    assert east == pytest.approx(np.full(n, -4.0), abs=1e-4)
    assert north == pytest.approx(np.zeros(n), abs=1e-4)
    long = Series(0, 1.0, 1300, {k: np.resize(v, 1300) for k, v in series.values.items()})
    wind = lately(long, np.zeros(1300))
    assert wind.speed_mps == pytest.approx(4.0, abs=1e-3)
    assert wind.from_deg == pytest.approx(90.0, abs=0.01)


def test_without_a_sensor_there_is_no_wind():
    assert lately(Series(0, 1.0, 10, {}), np.zeros(10)) is None


@pytest.mark.parametrize(("minutes", "said"), [(3, False), (5, True)])
def test_wind_is_said_where_a_fifth_of_the_twenty_minutes_has_it(minutes, said):
    n = 1200
    fresh = np.arange(n) >= n - 60 * minutes
    values = {
        "wind_speed_true_mps": np.where(fresh, 6.0, np.nan),
        "wind_direction_true_deg": np.full(n, 200.0),
    }
    assert (lately(Series(0, 1.0, n, values), np.zeros(n)) is not None) == said


def test_waves_of_any_wind_spread_power_as_drawing_them_does():
    # up to 25 % of the resistance at 7 m/s from ahead, by the fetch: half of that; winds of a
    # Weibull distribution of shape 2 and scale 5 m/s from anywhere; no windage
    rng = np.random.default_rng(1)
    wind_mps, off = 5.0 * rng.weibull(2.0, 200_000), rng.uniform(0, 2 * np.pi, 200_000)
    share = 0.125 * (wind_mps / 7.0) ** 2 * np.maximum(np.cos(off), 0.0)
    found = any_wind_log_sd(0.0, np.array([2.0]), np.array([800.0]))
    assert found == pytest.approx(np.log1p(share).std(), rel=0.2)  # eight winds stand for all
