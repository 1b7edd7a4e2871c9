"""What is drawn for a range, given what the boat does now, against quadrature."""

from dataclasses import replace

import numpy as np
import pytest

from analyzer.environment.stream import given as given_stream
from analyzer.environment.wind import Air
from analyzer.range.monte_carlo import Now, draw
from analyzer.range.reach import reach
from tests.support.range_inputs import SPEEDS, cubic_curve, range_input


def conditioned(spread=0.2, leg_sd=0.15, log_sd=0.05, power=1100.0, stream_sd=0.25, n=20_000):
    calm = Air(np.zeros(n), np.zeros(n), np.ones(n), np.zeros(n), 0.6)
    given = range_input(
        n, curve=cubic_curve(spread, leg_sd), now=Now(2.0, 0.0, power, log_sd),
        stream=given_stream(0.3, 0.0, sd_mps=stream_sd),
    )  # fmt: skip
    draws = draw(given, calm, np.zeros(n), n, np.random.default_rng(5))
    return given, draws


def test_streams_and_curves_agree_with_the_present_as_by_quadrature():
    spread, leg_sd, log_sd, power, stream_sd = 0.2, 0.6 * 0.15, 0.05, 1100.0, 0.25
    given, draws = conditioned()
    # 2 m/s north over ground in a stream of (0, 0.3) +- 0.25 m/s: through water |2 - n, e|
    grid = np.linspace(-6, 6, 241) * stream_sd
    east, north = np.meshgrid(grid, 0.3 + grid)
    water = np.hypot(2.0 - north, east)
    off = np.log(power / (100 * water**3))
    var = spread**2 + leg_sd**2 + log_sd**2
    weight = np.exp(-0.5 * ((east / stream_sd) ** 2 + ((north - 0.3) / stream_sd) ** 2))
    weight *= np.exp(-0.5 * off**2 / var) / np.sqrt(var)
    weight /= weight.sum()

    def mean(values):
        return float((weight * values).sum())

    drawn_east, drawn_north = draws.stream.now()
    assert drawn_north.mean() == pytest.approx(mean(north), abs=0.006)
    assert drawn_north.std() == pytest.approx(np.sqrt(mean(north**2) - mean(north) ** 2), rel=0.03)
    assert drawn_east.std() == pytest.approx(np.sqrt(mean(east**2)), rel=0.03)
    # the curve's common error given the stream: spread²/var of what is off, and what is left
    level = draws.log_power[:, 20] - given.curve.log_power[20]
    share = spread**2 / var
    want = mean(share * off)
    left = spread**2 * (1 - share) + mean((share * off) ** 2) - want**2
    assert level.mean() == pytest.approx(want, abs=0.006)
    assert level.std() == pytest.approx(np.sqrt(left), rel=0.03)
    weather = mean(leg_sd**2 / var * off)
    assert draws.aside.mean() == pytest.approx(weather, abs=0.004)
    sure = leg_sd**2 * (1 - leg_sd**2 / var) + (leg_sd**2 / var) ** 2 * (
        mean(off**2) - mean(off) ** 2
    )
    assert draws.aside.std() == pytest.approx(np.sqrt(sure), rel=0.03)


def test_every_draw_has_the_present_power_at_the_present_speed():
    given, draws = conditioned(log_sd=1e-7, n=2_000)
    east, north = draws.stream.now()
    water = np.hypot(2.0 - north, east)
    at = given.curve.read_own(draws.log_power, water) + draws.aside
    np.testing.assert_allclose(np.exp(at), 1100.0, rtol=1e-3)


@pytest.mark.parametrize("less_hotel", [True, False])
def test_a_larger_hotel_load_leaves_less_for_the_motor(less_hotel):
    n = 500
    present = Now(2.0, 0.0, 900.0, 1e-6, less_hotel)
    given = range_input(n, curve=cubic_curve(0.3), now=present, hotel_w=(100.0, 40.0))
    calm = Air(np.zeros(n), np.zeros(n), np.ones(n), np.zeros(n), 0.6)
    hotel = np.random.default_rng(1).uniform(20.0, 900.0, n)
    draws = draw(given, calm, hotel, n, np.random.default_rng(2))
    # the pack gave 900 + 100 W; the motor never less than 0.3 of what was thought
    want = np.maximum(1000.0 - draws.hotel_w, 0.3 * 900.0) if less_hotel else np.full(n, 900.0)
    np.testing.assert_allclose(draws.now_w, want)


def test_without_a_present_point_draws_are_the_prior():
    n = 40_000
    given = range_input(n, curve=cubic_curve(0.2, 0.15), stream=given_stream(0.3, 0.0, 0.25))
    calm = Air(np.zeros(n), np.zeros(n), np.ones(n), np.zeros(n), 0.6)
    draws = draw(given, calm, np.zeros(n), n, np.random.default_rng(5))
    level = draws.log_power[:, 20] - given.curve.log_power[20]
    assert level.std() == pytest.approx(0.2, rel=0.02)
    assert draws.aside.std() == pytest.approx(0.6 * 0.15, rel=0.02)
    assert np.corrcoef(level, draws.stream.now()[1])[0, 1] == pytest.approx(0.0, abs=0.015)
    assert np.isnan(draws.now_w).all()


def test_streams_under_which_the_curve_is_less_sure_count_for_less():
    # a curve known to 5 % at 1 m/s and to 60 % at 3.4 m/s; its error one number for all speeds
    n, stream_sd, power = 40_000, 0.4, 900.0
    curve = cubic_curve()
    spreads = 0.05 + 0.23 * (curve.speed_mps - 1.0)
    wide = replace(curve, cov=np.outer(spreads, spreads) + 1e-10 * np.eye(48))
    given = range_input(
        n, curve=wide, now=Now(2.2, 0.0, power, 0.05), stream=given_stream(0.0, 0.0, stream_sd)
    )
    calm = Air(np.zeros(n), np.zeros(n), np.ones(n), np.zeros(n), 0.6)
    draws = draw(given, calm, np.zeros(n), n, np.random.default_rng(5))
    grid = np.linspace(-4, 4, 241) * stream_sd
    east, north = np.meshgrid(grid, grid)
    water = np.hypot(2.2 - north, east)
    var = (0.05 + 0.23 * (np.clip(water, 0.3, 5.0) - 1.0)) ** 2 + 0.05**2
    off = np.log(power / (100 * water**3))
    weight = np.exp(-0.5 * (east**2 + north**2) / stream_sd**2 - 0.5 * off**2 / var) / np.sqrt(var)
    weight /= weight.sum()
    mean = float((weight * north).sum())
    spread = float(np.sqrt((weight * north**2).sum() - mean**2))
    drawn = draws.stream.now()[1]
    # four standard errors; resampled draws count for about half
    assert drawn.mean() == pytest.approx(mean, abs=4 * spread / np.sqrt(n / 2))
    assert drawn.std() == pytest.approx(spread, rel=4 / np.sqrt(n))


@pytest.mark.parametrize("sun_w", [0.0, 60.0, 250.0])
def test_what_the_pack_gives_now_does_not_hang_on_a_sun_nobody_measures(sun_w):
    """P_pack = P_motor + P_hotel - P_sun: the pack is measured, so a sun thought stronger is a
    motor thought stronger, and what the pack gives stays."""
    present = Now(2.0, 0.0, 700.0, log_sd=1e-6, less_sun=True)
    asked = range_input(
        400, now=present, as_now=6, speeds_mps=SPEEDS, hotel_w=(80.0, 0.0), solar_w=(sun_w, 0.0)
    )
    result = reach(asked)
    assert np.median(result.motor_w[:, 6]) == pytest.approx(700.0 + sun_w, rel=0.01)
    assert np.median(result.total_w[:, 6]) == pytest.approx(780.0, rel=0.01)
