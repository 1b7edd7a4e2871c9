"""The heat filter on bodies whose truth is known: an exact one-body solution, done by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest

from analyzer.thermal.filter import DOUBTED_S, ThermalImm
from analyzer.thermal.prior import HeatPrior, SecondNode
from analyzer.thermal.questions import (
    HeatSamples,
    crossing_s,
    rise,
    samples,
    settled,
    settled_range,
)
from tests.support.thermal import covs, means

PRIOR = HeatPrior(
    rise_k=8.0, rise_sd_k=6.0, rise_walk_k=1.0, loose_walk_k=60.0, tau_s=500.0, neighbour_sd_k=0.01
)


def run(prior: HeatPrior, rise_k: float, tau_s: float, hours: float, seed: int = 0) -> ThermalImm:
    """One body under a load that steps, exact solution, 0.1 K noise, 10 s steps."""
    rng = np.random.default_rng(seed)
    body, temp, air = ThermalImm((prior,)), 20.0, 20.0
    for k in range(int(hours * 360)):
        load = 1.0 if (k // 60) % 3 else 0.2
        keep = math.exp(-10 / tau_s)
        temp = keep * temp + (1 - keep) * (air + rise_k * load)
        seen = temp + 0.1 * rng.standard_normal()
        body.step(10.0, np.array([load]), np.array([seen]), np.array([air]))
    return body


@pytest.mark.parametrize("true_k", [3.0, 12.0, 40.0])
@pytest.mark.parametrize("tau", [250.0, 500.0, 1000.0])
def test_rise_is_found_within_its_range(true_k, tau):
    (mean,), (sd,) = rise(run(PRIOR, true_k, tau, 2.0))
    assert abs(mean - true_k) < max(3 * sd, 0.1 * true_k)
    assert sd < 0.25 * true_k + 1.0


def test_a_short_look_is_less_sure_than_a_long_one():
    short, long = run(PRIOR, 12.0, 500.0, 0.15), run(PRIOR, 12.0, 500.0, 3.0)
    assert rise(short)[1][0] > 1.5 * rise(long)[1][0]


def test_bodies_side_by_side_are_as_bodies_alone():
    alone = run(PRIOR, 12.0, 500.0, 0.5)
    both = ThermalImm((PRIOR, PRIOR))
    rng, temp = np.random.default_rng(0), 20.0
    for k in range(180):
        load = 1.0 if (k // 60) % 3 else 0.2
        keep = math.exp(-10 / 500.0)
        temp = keep * temp + (1 - keep) * (20.0 + 12.0 * load)
        seen = temp + 0.1 * rng.standard_normal()
        temps = np.array([seen, np.nan if k % 3 else 30.0])
        both.step(10.0, np.array([load, 0.0]), temps, np.array([20.0, 20.0]))
    assert rise(both)[0][0] == pytest.approx(rise(alone)[0][0], rel=1e-9)
    assert settled(both, 0, 1.0) == pytest.approx(settled(alone, 0, 1.0), rel=1e-9)


def test_missing_readings_widen_and_do_not_break():
    body = run(PRIOR, 12.0, 500.0, 1.0)
    sd = rise(body)[1][0]
    nothing = np.array([np.nan])
    for _ in range(180):
        body.step(10.0, nothing, nothing, nothing)
    assert rise(body)[1][0] > sd
    assert np.isfinite(means(body)).all()
    assert np.isfinite(body.weight).all()


def test_covariance_stays_sound_over_a_day():
    body = run(PRIOR, 12.0, 300.0, 24.0)
    for p in covs(body).reshape(-1, 5, 5):
        assert np.linalg.eigvalsh((p + p.T) / 2).min() > -1e-9


def test_draws_agree_with_mean_and_spread():
    body = run(PRIOR, 12.0, 500.0, 1.0)
    d = samples(body, 0, 20000, np.random.default_rng(2))
    ends = d.air_c + d.offset_k + d.rise_k + d.neighbour_k
    mean, sd = settled(body, 0, 1.0)
    assert ends.mean() == pytest.approx(mean, abs=0.05 * sd + 0.02)
    assert ends.std() == pytest.approx(sd, rel=0.05)


def one_body(temp_c: list[float], end_c: list[float], tau_s: float) -> HeatSamples:
    """Draws of bodies without a host in air of 0 °C."""
    n, zero = len(temp_c), np.zeros(len(temp_c))
    return HeatSamples(
        temp_c=np.array(temp_c), rise_k=np.array(end_c), offset_k=zero, neighbour_k=zero,
        second_k=zero, device_k=zero, share=zero, tau_s=np.full(n, tau_s),
        second_tau_s=np.full(n, 1e4), air_c=0.0,
    )  # fmt: skip


def test_crossing_is_the_exponential_s():
    # From 20 °C towards 100 °C with tau 600 s: 60 °C after 600 ln 2 = 415.9 s.
    t = crossing_s(one_body([20.0, 61.0, 20.0], [100.0, 90.0, 50.0], 600.0), 1.0, 60.0)
    assert t[0] == pytest.approx(600 * math.log(2))
    assert t[1] == 0.0
    assert np.isinf(t[2])


def test_crossing_waits_for_the_host():
    """Against small steps of the same two bodies."""
    drawn = one_body([20.0], [90.0], 300.0)
    drawn = replace(drawn, share=np.array([2.0]), second_tau_s=np.array([2400.0]))
    (t,) = crossing_s(drawn, 1.0, 60.0)
    temp, host, passed_s = 20.0, 0.0, 0.0
    while temp < 60.0:
        temp += 0.1 * (30.0 + host - temp) / 300.0
        host += 0.1 * (60.0 - host) / 2400.0
        passed_s += 0.1
    assert t == pytest.approx(passed_s, rel=2e-3)


def hosted(share: float, host_tau_s: float, minutes: float) -> ThermalImm:
    """A lug on a host: 12 K by itself, from rest under the reference load, in small steps."""
    prior = HeatPrior(
        rise_k=10.0, rise_sd_k=30.0, rise_walk_k=1.0, loose_walk_k=60.0, tau_s=200.0,
        neighbour_sd_k=0.01,
        second_nodes=tuple(SecondNode(s, t) for s in (0.5, 2.0, 5.0) for t in (900.0, 3000.0)),
    )  # fmt: skip
    body, temp, host = ThermalImm((prior,)), 20.0, 0.0
    for k in range(30 + int(minutes * 6)):
        load = 1.0 if k >= 30 else 0.0
        for _ in range(100):
            temp += 0.1 * (20.0 + 12.0 * load + host - temp) / 150.0
            host += 0.1 * (share * 12.0 * load - host) / host_tau_s
        body.step(10.0, np.array([load]), np.array([temp]), np.array([20.0]))
    return body


@pytest.mark.parametrize("share", [0.8, 2.5, 5.0])
def test_what_a_host_has_still_to_add_is_in_the_range(share):
    """After ten minutes a host has shown a fifth of itself."""
    body = hosted(share, 2400.0, 10.0)
    low, mid, high = settled_range(body, 0, 1.0)
    assert low < 20.0 + 12.0 * (1 + share) < high
    assert low < mid < high
    long = hosted(share, 2400.0, 300.0)
    assert settled_range(long, 0, 1.0)[1] == pytest.approx(20.0 + 12.0 * (1 + share), rel=0.03)


def test_range_agrees_with_draws():
    body = hosted(2.5, 2400.0, 10.0)
    d = samples(body, 0, 40000, np.random.default_rng(3))
    ends = d.air_c + d.offset_k + d.rise_k + d.neighbour_k
    assert settled_range(body, 0, 1.0) == pytest.approx(np.quantile(ends, [0.1, 0.5, 0.9]), abs=1)


def test_nothing_works_loose_at_rest():
    """An hour without load leaves what was known of the rise as it was."""
    body = run(PRIOR, 12.0, 500.0, 2.0)
    before, temp = rise(body), float((body.weight * means(body)[..., 0]).sum())
    for _ in range(360):
        temp = 20.0 + (temp - 20.0) * math.exp(-10 / 500.0)
        body.step(10.0, np.zeros(1), np.array([temp]), np.array([20.0]))
    after = rise(body)
    assert after[0] == pytest.approx(before[0], abs=0.5)
    assert after[1][0] < 1.2 * before[1][0]


def after_a_jump(jump_k: float, seconds: float) -> tuple[ThermalImm, tuple[float, float]]:
    """A body known well; then its probe reads `jump_k` more for so long, at no load."""
    body = run(PRIOR, 12.0, 500.0, 2.0)
    before = settled(body, 0, 1.0)
    temp = float(means(body)[0, 0, 0, 0])
    for _ in range(int(seconds / 10)):
        temp = 20.0 + (temp - 20.0) * math.exp(-10 / 500.0)
        body.step(10.0, np.zeros(1), np.array([temp + jump_k]), np.array([20.0]))
    return body, before


def test_a_jump_that_no_body_can_make_teaches_nothing():
    body, before = after_a_jump(60.0, 300.0)
    assert body.doubted_s[0] == pytest.approx(300.0)
    after = settled(body, 0, 1.0)
    assert after[0] == pytest.approx(before[0], abs=2.0)


def test_a_jump_that_stays_is_believed_in_the_end():
    body, _ = after_a_jump(60.0, DOUBTED_S + 30.0)
    weights = body.weight[0]
    assert float((weights * means(body)[0, ..., 0]).sum()) == pytest.approx(80.0, abs=3.0)


def test_a_fast_but_possible_rise_is_believed_at_once():
    body = run(PRIOR, 12.0, 500.0, 1.0)
    temp = float((body.weight[0] * means(body)[0, ..., 0]).sum())
    for _ in range(12):  # an arcing joint: 1 K/s
        temp += 10.0
        body.step(10.0, np.ones(1), np.array([temp]), np.array([20.0]))
    assert body.doubted_s[0] == 0.0
    assert float((body.weight[0] * means(body)[0, ..., 0]).sum()) == pytest.approx(temp, abs=3.0)
