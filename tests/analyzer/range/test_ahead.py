"""What is to come: winds and streams against means over small steps, a held throttle by hand."""

from dataclasses import replace

import numpy as np
import pytest

from analyzer.environment.stream import unknown
from analyzer.environment.wind import Wind, extra_n
from analyzer.range.monte_carlo import Now, air_draws, memory_s, winds_to_come
from analyzer.range.reach import reach, toward
from tests.support.range_inputs import SPEEDS, cubic_curve, question, range_input

DRAWS = 4_000


def test_a_wind_of_now_becomes_any_wind_and_no_stronger():
    # Weibull of shape 2 and scale 5 m/s: components of 5 / sqrt(2) m/s, now and at any later time
    given = range_input(DRAWS, wind=None)
    now, later = (
        air_draws(given, DRAWS, np.random.default_rng(1)),
        winds_to_come(given, DRAWS),
    )
    for hours in (0.0, 3.0, 14.0, 100.0):
        kept = np.exp(-hours / 14.0)
        then = now.become(later, (np.full(DRAWS, kept), np.full(DRAWS, np.sqrt(1 - kept**2))))
        angle = np.radians(then.from_deg)
        for trace in (np.sin, np.cos):
            component = then.wind_mps * trace(angle)
            assert component.std() == pytest.approx(5 / np.sqrt(2), rel=0.04)
            before = now.wind_mps * trace(np.radians(now.from_deg))
            assert np.corrcoef(before, component)[0, 1] == pytest.approx(kept, abs=0.05)


def test_a_wind_that_somebody_gives_stays_and_a_measured_one_has_its_memory():
    assert memory_s(range_input(2, wind=Wind(5.0, 90.0))) == np.inf
    assert memory_s(range_input(2, wind=Wind(5.0, 90.0, lasts_s=7e3))) == 7e3
    assert memory_s(range_input(2, wind=None)) == 14 * 3600.0
    given = question(wind=Wind(6.0, 0.0, sd_mps=0.0), windage_m2=3.0)
    result = reach(given)
    hours = np.full_like(result.motor_w, 36_000.0)
    np.testing.assert_allclose(result.motor_over(hours), result.motor_over(0 * hours))


def test_the_longer_the_run_the_less_is_known_of_the_wind_it_meets():
    given = question(DRAWS, wind=Wind(6.0, 0.0, sd_mps=0.0, lasts_s=14 * 3600.0), windage_m2=3.0)
    result = reach(given)
    spread = []
    for hours in (0.0, 1.0, 3.0, 8.0):
        watts = result.motor_over(np.full_like(result.motor_w, 3600.0 * hours))[:, 6]
        spread.append(float(np.log(watts).std()))
    assert spread == sorted(spread)
    # by hand at 8 h: a = 8 / 14, kept (1 - e^-a) / a = 0.762, new variance 2/a (1 - kept) - kept^2
    a = 8 / 14
    kept = (1 - np.exp(-a)) / a
    new = np.sqrt(2 / a * (1 - kept) - kept**2)
    rng = np.random.default_rng(5)
    ahead = 6.0 * kept + new * 5 / np.sqrt(2) * rng.standard_normal(200_000)
    aside = new * 5 / np.sqrt(2) * rng.standard_normal(200_000)
    speed, off = np.hypot(ahead, aside), np.degrees(np.arctan2(aside, ahead))
    force = extra_n(3.0, speed, off, SPEEDS[6])
    watts = result.motor_over(np.full_like(result.motor_w, 8 * 3600.0))[:, 6]
    still = 100 * SPEEDS[6] ** 3
    # windage is 30 % unknown and waves take up to 0.5 % of the resistance per (m/s)^2
    want = still + np.median(force) * SPEEDS[6] / 0.41
    assert np.median(watts) == pytest.approx(want, rel=0.10)


def test_going_on_as_now_keeps_the_throttle_when_the_wind_rises():
    """Equilibrium of thrust and resistance at held revolutions, solved by bisection."""
    # lines of a propeller of pitch 0.7: thrust 1 - J / 0.78, torque 1 - J / 0.85, J = 0.49 now;
    # resistance as the 3.5th power of speed
    wind = Wind(0.0, 0.0, sd_mps=0.0, lasts_s=3600.0)
    now = Now(2.0, 0.0, 800.0)
    given = question(DRAWS, wind=wind, windage_m2=3.0, now=now, curve=cubic_curve(1e-4))
    given = replace(given, as_now=int(np.argmin(abs(SPEEDS - 2.0))))
    result = reach(given)
    k = given.as_now
    later = np.full_like(result.motor_w, 6 * 3600.0)
    freely = reach(replace(toward(given, 0.0), now=None, as_now=None))
    rise = (freely.motor_over(later) / freely.motor_over(0 * later))[:, k]
    power = (result.motor_over(later) / result.motor_over(0 * later))[:, k]
    speed = (result.made_over(later) / result.made_over(0 * later))[:, k]
    for share in (0.1, 0.5, 0.9):
        r = float(np.quantile(rise, share))
        low, high = 0.3, 2.0
        for _ in range(60):
            v = (low + high) / 2
            thrust = (1 - 0.49 * v / 0.78) / (1 - 0.49 / 0.78)
            low, high = (v, high) if thrust > r * v**3.5 else (low, v)
        torque = (1 - 0.49 * v / 0.85) / (1 - 0.49 / 0.85)
        assert np.quantile(power, share) == pytest.approx(torque, abs=0.02)
        assert np.quantile(speed, 1 - share) == pytest.approx(v, abs=0.02)


def test_the_headline_follows_the_stream_and_its_doubt_grows_with_time():
    given = question(DRAWS, stream=unknown("nothing is known"))
    result = reach(given)
    spread = []
    for hours in (0.0, 1.0, 3.0):
        made = result.made_over(np.full_like(result.motor_w, 3600.0 * hours))
        change = made[:, 6] - result.made_over(np.zeros_like(result.motor_w))[:, 6]
        spread.append(float(np.quantile(abs(change), 0.8)))
    assert spread[0] == pytest.approx(0.0, abs=1e-3)
    assert 0 < spread[1] < spread[2]


def test_speed_over_ground_beside_a_range_is_that_of_now():
    given = question(stream=unknown("nothing is known"))
    result = reach(given)
    now = result.made_over(np.zeros_like(result.motor_w))
    for k in (2, 6):
        assert result.ground_speed_mps(k) == pytest.approx(float(np.median(now[:, k])))
