"""What a device brings to the lug that is bolted to it: its prior, its step, its first reading."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from scipy.linalg import expm

from analyzer.thermal import device
from analyzer.thermal.cables import CableGroup
from analyzer.thermal.filter import START_SD_K, ThermalImm
from analyzer.thermal.questions import HeatSamples, crossing_s, samples, settled
from analyzer.thermal.transition import DEVICE, OFFSET, RISE, SECOND
from logger.boat import Cable
from tests.support.joint_boat import joint_day
from tests.support.thermal import LUG, condition

ON = replace(LUG, device=0.4, device_sd=0.25, lagged_frac=0.0, noise_k=0.2)


def cable(name: str, **more: object) -> Cable:
    return Cable.model_validate({"name": name, "size_mm2": 50.0, "length_m": 1.5, **more})


def test_the_device_is_told_by_the_cable_s_name_and_the_probe_s_place():
    assert device.of(cable("controller_positive")) == "controller"
    assert device.of(cable("motor_u")) == "motor"
    assert device.of(cable("main", probe_at="contactor")) == "contactor"
    assert device.of(cable("battery_positive")) is None
    # A probe a long way up the cable is on no device.
    assert device.of(cable("controller_positive", probe_at="cable")) is None


def test_a_device_s_channel_is_that_of_the_only_one():
    plus, minus = cable("controller_positive"), cable("controller_negative")
    battery, motor = cable("battery_negative"), cable("motor_negative")
    assert device.channel((plus,)) == device.channel((plus, minus)) == "controller_temp_c"
    assert device.channel((plus, battery)) == device.channel((battery, plus)) == "controller_temp_c"
    assert device.channel((plus, motor)) is None  # no one temperature tells their difference
    assert device.channel((battery, None)) is None
    assert device.channel((cable("contactor"),)) is None


def test_the_share_is_uniform_up_to_a_divider_s_of_copper():
    """50 mm² at 90 °C: between 210 A of 1 AWG and 245 A of 1/0 (33 CFR 183.425), worked
    by hand: g = I² rho(90 °C) / (A 60 K), fin = sqrt(390 A g), share = 1.5 / (1.5 + fin + 0.05).
    """
    plus = cable("controller_positive")
    amps = math.exp(np.interp(math.log(50.0), np.log([42.41, 53.48]), np.log([210.0, 245.0])))
    ohm_m = 0.386e-3 * (1 + 0.00393 * 70.0)
    fin_w_k = math.sqrt(390.0 * 50e-6 * amps**2 * ohm_m / 60.0)
    share = 1.5 / (1.5 + fin_w_k + 0.05)
    assert device.most_share(plus) == pytest.approx(share, rel=2e-3)
    uniform = stats.uniform(0.0, device.most_share(plus))
    assert device.prior(plus, None, True) == pytest.approx((uniform.mean(), uniform.std()))


def test_an_unmeasured_device_may_bring_what_its_terminals_bear():
    """IEC 60947-1: 70 K at the rated current, as the mean of an exponential density."""
    bears = stats.expon(scale=70.0)
    plus, minus = cable("controller_positive"), cable("controller_negative")
    assert device.prior(plus, None, False) == pytest.approx((bears.mean(), bears.std()))
    assert device.prior(plus, minus, False) == pytest.approx((0.0, math.sqrt(2 * bears.var())))
    battery = cable("battery_negative")
    assert device.prior(plus, battery, False) == pytest.approx((70.0, 70.0))
    assert device.prior(battery, plus, False) == pytest.approx((-70.0, 70.0))
    assert device.prior(battery, None, False) == (0.0, 0.0)


@pytest.mark.parametrize("device_k", [35.0, math.nan])
def test_a_step_is_the_matrix_exponential_s(device_k):
    """d(T, H, c)/dt written out; what a state of the device adds to T and H over 25 s."""
    net, dt_s, load = ThermalImm((ON,)).network, 25.0, 0.7
    got = net.device_rows(net.decay(dt_s), np.array([load]), np.array([device_k]))
    for k in range(net.tau_s.shape[2]):
        tau, slow = net.tau_s[0, 0, k], net.second_tau_s[0, 0, k]
        measured = math.isfinite(device_k)
        a = np.array([
            [-1 / tau, 1 / tau, device_k / tau if measured else 0.0],
            [0.0, -1 / slow, 0.0 if measured else load / slow],
            [0.0, 0.0, 0.0],
        ])  # fmt: skip
        np.testing.assert_allclose(got[:, 0, 0, k], expm(a * dt_s)[:2, 2], rtol=1e-9, atol=1e-12)


def test_the_first_reading_divides_itself_by_variances():
    """A log that starts with a hot controller: offset, stored heat and share, conditioned."""
    body = ThermalImm((ON,))
    states = [OFFSET, SECOND, DEVICE]
    above_k, device_k = 18.0, 30.0
    body.air_c, body.device_k = np.array([20.0]), np.array([device_k])
    body._start(np.array([True]), np.array([20.0 + above_k]))
    spread = np.diag([ON.offset_sd_k**2, (0.5 * above_k) ** 2 + 0.01, ON.device_sd**2])
    mean, cov = condition(
        np.array([0.0, 0.0, ON.device]), spread, np.array([1.0, 1.0, device_k]),
        START_SD_K**2, above_k,
    )  # fmt: skip
    np.testing.assert_allclose(body.mean[states, 0, 0, 0], mean, rtol=1e-9)
    np.testing.assert_allclose(body.cov[np.ix_(states, states)][:, :, 0, 1, 3], cov, atol=1e-9)


def followed(share: float, measured: bool) -> ThermalImm:
    """Two hours on a device that warms by itself, 40 K with 600 s, and lends the lug a share."""
    brings = (
        {"device": 0.45, "device_sd": 0.26} if measured else {"device": 40.0, "device_sd": 40.0}
    )
    prior = replace(ON, rise_k=1.0, rise_sd_k=2.0, neighbour_k=0.0, neighbour_sd_k=0.1, **brings)
    body, warm_k, temp_c = ThermalImm((prior,)), 0.0, 20.0
    for k in range(720):
        load = 1.0 if (k // 90) % 2 else 0.1
        warm_k += (40.0 * load - warm_k) * 10.0 / 600.0
        temp_c += (20.0 + share * warm_k - temp_c) * 10.0 / 400.0
        above = np.array([warm_k if measured else np.nan])
        body.step(10.0, np.array([load]), np.array([temp_c]), np.array([20.0]), above)
    return body


@pytest.mark.parametrize("share", [0.2, 0.7])
def test_a_measured_device_s_share_is_found_and_is_no_rise_of_the_joint(share):
    body = followed(share, measured=True)
    mean = float((body.weight * body.mean[DEVICE]).sum())
    rise_k = float((body.weight * body.mean[RISE]).sum())
    assert mean == pytest.approx(share, abs=0.1)
    assert abs(rise_k) < 2.0
    # Where it is going while the device stays as it is.
    drawn = samples(body, 0, 4000, np.random.default_rng(1))
    end_c = 20.0 + drawn.offset_k.mean() + 0.5 * (drawn.rise_k + drawn.neighbour_k).mean()
    assert end_c == pytest.approx(settled(body, 0, 0.5)[0], abs=0.5)
    assert not drawn.device_k.any()


def test_an_unmeasured_device_s_heat_settles_where_its_load_does():
    body = followed(0.7, measured=False)
    drawn = samples(body, 0, 4000, np.random.default_rng(1))
    ends = 20.0 + drawn.offset_k + drawn.rise_k + drawn.neighbour_k + drawn.device_k
    assert settled(body, 0, 1.0)[0] == pytest.approx(ends.mean(), abs=1.0)
    assert settled(body, 0, 1.0)[0] == pytest.approx(20.0 + 0.7 * 40.0, abs=6.0)  # by hand


def test_a_crossing_by_a_device_s_heat_is_the_exponential_s():
    """A quick lug behind a slow device: from 20 °C towards 60 °C, half-way after tau ln 2."""
    zero, one = np.zeros(1), np.ones(1)
    drawn = HeatSamples(
        temp_c=20.0 * one, rise_k=zero, offset_k=zero, neighbour_k=zero, second_k=zero,
        device_k=40.0 * one, share=zero, tau_s=0.5 * one, second_tau_s=1500.0 * one, air_c=20.0,
    )  # fmt: skip
    assert crossing_s(drawn, 1.0, 40.0)[0] == pytest.approx(1500.0 * math.log(2.0), rel=1e-3)
    assert np.isinf(crossing_s(drawn, 0.4, 40.0)[0])


def test_a_device_whose_sensor_falls_silent_is_as_one_that_has_none():
    day = joint_day(511, faulty=False, hours=1.5, controller_k=70.0)
    series = day.with_controller()
    half = series.n // 2
    seen_c = series.values["controller_temp_c"]
    seen_c[half:] = np.nan
    group = CableGroup(day.cables)
    heat, place = group._heat, 2
    group.update(series.cut(0, half))
    assert heat is not None
    assert heat.heat is not None
    # The three cables, then the difference of the two poles at the pack, each way.
    assert np.isfinite(heat.heat.device_k).tolist() == [False, False, True, False, False]
    group.update(series.cut(half, series.n))
    assert not np.isfinite(heat.heat.device_k).any()

    # Begun anew in kelvin, so that it may be far above a share's one.
    assert np.all(np.isfinite(heat.heat.mean[DEVICE, place]))
    assert heat.heat.cov[DEVICE, DEVICE, place].max() > 1.0
    assert not group.detections()


def test_a_lug_on_a_device_says_what_cannot_be_told_apart():
    day = joint_day(511, faulty=False, hours=0.5, controller_k=70.0)
    group = CableGroup(day.cables)
    group.update(day.series)
    reasons = {row.name: row.excess_resistance.reason for row in group.rows([])}
    assert "controller's own" in reasons["controller_positive"]
    assert "own" not in reasons["battery_positive"]
