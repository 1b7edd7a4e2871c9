"""The loop's filter against one Gaussian conditioning on everything; the trend against polyfit; how
long a part holds against the equation it solves."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analyzer.range.thermal_limit import Warmth
from analyzer.series.series import Series
from analyzer.thermal.cable_trend import Kept, base_k, trend
from analyzer.thermal.joints import joint
from analyzer.thermal.loop_resistance import (
    LOOSENING,
    OFFSET_SD_V,
    READING_SD_V,
    START_SD_OHM,
    WALK_OHM,
    Known,
    LoopMonitor,
)
from logger.boat import Cable
from tests.support.motor_boat import PROBED, motor_boat

Z80 = 1.2815515655446004  # the normal distribution's 90 % point
BOAT = motor_boat(cable=(PROBED,))


# -- loop ---------------------------------------------------------------------------------------


def steps_of_ten(seed: int, n: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Currents, drops and copper temperatures, one per step of ten seconds; some missing."""
    rng = np.random.default_rng(seed)
    amps = rng.uniform(-20, 110, n)
    temp = 25 + np.cumsum(rng.normal(0, 0.5, n))
    drop = 0.1 + 2e-3 * (1 + 0.00393 * (temp - 20)) * amps + rng.normal(0, 0.02, n)
    amps[rng.random(n) < 0.15] = np.nan
    temp[rng.random(n) < 0.15] = np.nan
    return amps, drop, temp


def followed(amps: np.ndarray, drop: np.ndarray, temp: np.ndarray) -> LoopMonitor:
    """A monitor that has been given each step as ten readings; one more closes the last."""
    held = [np.repeat(np.append(v, np.nan), 10) for v in (amps, drop, temp)]
    pack_v = np.full(len(held[0]), 53.0)
    values = {
        "pack_voltage_v": pack_v,
        "controller_voltage_v": pack_v - held[1],
        "controller_current_a": held[0],
        "probe_positive_temp_c": held[2],
    }
    monitor = LoopMonitor(BOAT.cable)
    monitor.update(Series(0, 1.0, len(pack_v), values))
    return monitor


def conditioned(amps: np.ndarray, drop: np.ndarray, temp: np.ndarray) -> tuple[float, float]:
    """Mean and standard deviation of the last resistance given all drops at once. [ohm]

    drop_k = offset + R_k warm_k amps_k + noise, R a random walk: all jointly normal.
    """
    warm = np.where(np.isfinite(temp), 1 + 0.00393 * (temp - 20), 1.0)
    at = np.flatnonzero(np.isfinite(amps * drop))
    h = (warm * amps)[at]
    walk = WALK_OHM**2 * 10.0 / 3600.0
    ohm_cov = START_SD_OHM**2 + walk * np.minimum(at[:, None], at)
    cov = OFFSET_SD_V**2 + h[:, None] * h * ohm_cov + READING_SD_V**2 * np.eye(len(at))
    with_last = h * (START_SD_OHM**2 + walk * at)
    weight = np.linalg.solve(cov, with_last)
    var = START_SD_OHM**2 + walk * (len(amps) - 1) - weight @ with_last
    return float(weight @ drop[at]), math.sqrt(var)


@pytest.mark.parametrize("seed", range(3))
def test_the_loop_is_the_gaussian_conditioned_on_all_steps_at_once(seed):
    amps, drop, temp = steps_of_ten(seed, 80)
    mean, sd = conditioned(amps, drop, temp)
    got = followed(amps, drop, temp).resistance()
    assert got.mid == pytest.approx(mean, rel=1e-7)
    assert got.high - got.low == pytest.approx(2 * Z80 * sd, rel=1e-6)


def test_a_loosening_loop_is_a_public_kalman_filter_s():
    """filterpy's KalmanFilter of offset, resistance and its rate, which only load drives."""
    from filterpy.kalman import KalmanFilter

    amps, drop, temp = steps_of_ten(5, 60)
    j = joint(BOAT.cable[0])
    rate = 60.0 / (j.path_k_w * j.ref_a**2)  # as fast as a probe's, by the joint's path
    kf = KalmanFilter(dim_x=3, dim_z=1)
    kf.x = np.zeros((3, 1))
    kf.P = np.diag([0.3**2, 5e-3**2, 0.0])
    kf.R = np.array([[0.02**2]])
    hours, kept = 10 / 3600, math.exp(-10 / 1800)
    for k, (i, v, t) in enumerate(zip(amps, drop, temp, strict=True)):
        kf.P[1, 1] += (0.2e-3) ** 2 * hours * (k > 0)
        if not math.isfinite(i * v):
            continue
        if abs(i) > 5 and k > 0:
            noise = np.diag([0.0, 0.0, rate**2 * (1 - kept**2)])
            kf.predict(F=np.array([[1, 0, 0], [0, 1, hours], [0, 0, kept]]), Q=noise)
        warm = 1 + 0.00393 * (t - 20) if math.isfinite(t) else 1.0
        kf.update(np.array([[v]]), H=np.array([[1.0, i * warm, 0.0]]))
    got = followed(amps, drop, temp).now(LOOSENING)
    assert got.ohm == pytest.approx(kf.x[1, 0], rel=1e-7)
    assert got.sd_ohm == pytest.approx(math.sqrt(kf.P[1, 1]), rel=1e-6)


def test_growth_is_the_difference_of_independent_normals():
    """And of copper that may be 10 K off: 1 mohm by 3.93 % is 39.3 microhm."""
    grown = Known(1.0e-3, 0.03e-3).grown_to(Known(1.5e-3, 0.04e-3))
    sd = math.hypot(0.03e-3, 0.04e-3, 0.0393e-3)
    assert grown == Known(pytest.approx(0.5e-3), pytest.approx(sd))


# -- trend --------------------------------------------------------------------------------------

KEPT = st.lists(
    st.tuples(st.floats(0, 400), st.floats(0.5, 60), st.floats(0.1, 5)), min_size=3, max_size=12
)
LUG = Cable(name="battery_positive", size_mm2=50, length_m=2, probe="p", probe_at="lug")


@given(KEPT)
def test_trend_is_the_weighted_line_of_numpy(points):
    points = sorted(points)
    days, rise, sd = (np.array(v) for v in zip(*points, strict=True))
    history = [Kept(d * 86400.0, r, s) for d, r, s in points]
    found = trend(LUG, history)
    if np.ptp(days) < 0.1:
        return
    total_sd = np.sqrt(sd**2 + (0.15 * rise) ** 2 + 0.7**2)
    line, cov = np.polyfit(days - days.mean(), rise, 1, w=1 / total_sd, cov="unscaled")
    grown, span = line[0] * np.ptp(days), np.ptp(days)
    sure = 0.5 * (1 + math.erf(line[0] / math.sqrt(cov[0, 0]) / math.sqrt(2)))
    first = max(line[1] + line[0] * (days[0] - days.mean()), 1.0)
    least = max(0.3 * first, 2.0)
    if abs(sure - 0.98) < 1e-9 or abs(grown - least) < 1e-9:
        return
    assert (found is not None) == (sure >= 0.98 and grown >= least)
    if found is not None:
        assert found.sureness_frac == pytest.approx(sure, rel=1e-9)
        low, high = (grown + way * Z80 * math.sqrt(cov[0, 0]) * span for way in (-1, 1))
        # a factor of 0.6 to 1.7 for the heat's way out, besides
        per_k = found.size.mid / grown
        assert found.size.low == pytest.approx(max(low, 0) * per_k * 0.6, rel=1e-7)
        assert found.size.high == pytest.approx(high * per_k * 1.7, rel=1e-7)


@given(KEPT)
def test_base_is_the_weighted_mean_and_one_deviation_of_a_new_day(points):
    _, rise, sd = (np.array(v) for v in zip(*points, strict=True))
    weight = 1 / (sd**2 + (0.15 * rise) ** 2 + 0.7**2)
    mean = np.average(rise, weights=weight)
    new_day = math.sqrt(1 / weight.sum() + (0.15 * mean) ** 2 + 0.7**2)
    got = base_k([Kept(0.0, r, s) for _, r, s in points])
    assert got == pytest.approx(mean + new_day, rel=1e-9)


# -- how long a speed holds ---------------------------------------------------------------------

NONE = ((0.0,) * 3,) * 3


@given(
    temp_c=st.floats(10, 120), air_c=st.floats(0, 40), rise_k=st.floats(0, 200),
    tau_s=st.floats(40, 5000), load=st.floats(0, 2),
)  # fmt: skip
def test_after_the_time_it_holds_the_part_is_at_its_limit(temp_c, air_c, rise_k, tau_s, load):
    part = Warmth("motor", 100.0, temp_c, (air_c, rise_k, math.log(tau_s)), NONE, 2000.0)
    power = np.array([[2000.0 * math.sqrt(load)]])
    holds = float(part.holds_s(power, np.random.default_rng(0))[0, 0])
    end = air_c + rise_k * load
    if math.isinf(holds):
        assert end <= 100.0 + 1e-6
    elif holds == 0.0:
        assert temp_c >= 100.0 - 1e-6
    elif end > 100.01:
        then = end + (temp_c - end) * math.exp(-holds / tau_s)
        assert then == pytest.approx(100.0, abs=1e-4)


def test_draws_have_the_mean_and_covariance_they_are_told():
    """The times of 200 000 draws against those of normal draws by another way."""
    cov = np.array([[4.0, -3.0, 0.1], [-3.0, 30.0, 0.5], [0.1, 0.5, 0.09]])
    mean = (20.0, 110.0, math.log(900.0))
    part = Warmth("motor", 100.0, 40.0, mean, tuple(map(tuple, cov.tolist())), 2000.0)
    n = 200_000
    got = part.holds_s(np.full((n, 1), 2000.0), np.random.default_rng(1))[:, 0]
    air, rise, ln_tau = np.random.default_rng(2).multivariate_normal(mean, cov, n).T
    with np.errstate(divide="ignore", invalid="ignore"):
        want = np.exp(ln_tau) * np.log((air + rise - 40) / (air + rise - 100))
    want = np.where(air + rise > 100, want, np.inf)
    levels = [0.05, 0.25, 0.5, 0.75, 0.95]
    np.testing.assert_allclose(np.quantile(got, levels), np.quantile(want, levels), rtol=0.02)
    assert got.std() > 100
