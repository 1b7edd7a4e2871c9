"""What is asked of the heat filter: rest points of the two bodies, moments of draws, crossings."""

import math

import numpy as np
import pytest
from scipy.linalg import expm
from scipy.optimize import brentq
from scipy.stats import norm

from analyzer.thermal.filter import ThermalImm
from analyzer.thermal.prior import SecondNode
from analyzer.thermal.questions import (
    HeatSamples,
    crossing_s,
    rise,
    rise_above,
    samples,
    settled,
    settled_range,
)
from analyzer.thermal.transition import NEIGHBOUR, OFFSET, PHI, RISE, SECOND, STATES, TEMP
from tests.support.thermal import LUG, Drive, covs, generator, means, moments, stirred


def steady(tau_s: float, host: SecondNode, state: np.ndarray, load: float) -> float:
    """Where the two bodies end above the air, by the linear system's rest point."""
    a = generator(tau_s, host.tau_s, host.share, Drive(load, load, 0.0))
    free = [TEMP, SECOND]
    held = (
        a[:STATES, :STATES][np.ix_(free, [RISE, OFFSET, NEIGHBOUR])]
        @ state[[RISE, OFFSET, NEIGHBOUR]]
    )
    return float(np.linalg.solve(a[np.ix_(free, free)], -held)[0])


@pytest.mark.parametrize("load", [0.0, 0.6, 1.4])
def test_settled_is_the_rest_point_of_the_two_bodies(load):
    body = stirred(LUG, 11)
    w, x, taus = body.weight[0], means(body)[0], body.network.tau_s[0, 0]
    ends = np.array([
        [steady(tau, LUG.second_nodes[k % 2], x[way, k], load) for k, tau in enumerate(taus)]
        for way in range(2)
    ])  # fmt: skip
    mean, sd = settled(body, 0, load)
    assert mean == pytest.approx(20.0 + (w * ends).sum(), rel=1e-10)
    low, mid, high = settled_range(body, 0, load)
    spread = np.sqrt(member_vars(body, load))
    for share, level in ((0.1, low), (0.5, mid), (0.9, high)):
        exact = brentq(lambda v, s=share: (w * norm.cdf(v, ends, spread)).sum() - s, -500, 500)
        # `normal.below` holds the normal integral to 3e-4
        assert level - 20.0 == pytest.approx(exact, abs=0.02 * sd)
    whole = (w * (spread**2 + (ends - (w * ends).sum()) ** 2)).sum()
    assert sd == pytest.approx(math.sqrt(whole), rel=1e-9)


def member_vars(body: ThermalImm, load: float) -> np.ndarray:
    """Variance of each member's rest point: by unit states, and what its host may be off by."""
    out = np.zeros((2, body.network.tau_s.shape[-1]))
    for k, tau in enumerate(body.network.tau_s[0, 0]):
        host = LUG.second_nodes[k % 2]
        h = np.array([steady(tau, host, e, load) for e in np.eye(STATES)])
        for way in range(2):
            x = means(body)[0, way, k]
            warm = host.share * load * (x[RISE] + PHI * x[NEIGHBOUR])
            out[way, k] = h @ covs(body)[0, way, k] @ h + (0.3 * (warm - x[SECOND])) ** 2
    return out


def test_rise_and_chance_are_moments_and_tail_of_its_draws():
    body = stirred(LUG, 12)
    drawn = samples(body, 0, 400_000, np.random.default_rng(2))
    rises = drawn.rise_k + drawn.neighbour_k
    (mean,), (sd,) = rise(body)
    assert rises.mean() == pytest.approx(mean, abs=5 * sd / math.sqrt(4e5))
    assert rises.std() == pytest.approx(sd, rel=0.01)
    for level in (mean - sd, mean, mean + 1.5 * sd):
        assert rise_above(body, 0, level) == pytest.approx(np.mean(rises > level), abs=0.005)
    ends = 20 + drawn.offset_k + 0.8 * rises
    assert ends.mean() == pytest.approx(settled(body, 0, 0.8)[0], abs=5 * ends.std() / 630)
    mean_x, cov = moments(means(body), covs(body), body.weight)
    assert drawn.temp_c.mean() == pytest.approx(mean_x[TEMP], abs=0.05)
    both = np.cov(drawn.temp_c, drawn.second_k)
    np.testing.assert_allclose(
        both, cov[np.ix_([TEMP, SECOND], [TEMP, SECOND])], rtol=0.03, atol=0.05
    )


def test_crossing_is_where_a_fine_solution_passes_the_limit():
    rng, n, load, air, limit = np.random.default_rng(4), 24, 1.1, 20.0, 45.0
    drawn = {
        "temp_c": rng.uniform(18, 44, n), "rise_k": rng.uniform(2, 60, n),
        "share": rng.uniform(0, 6, n), "offset_k": rng.normal(0, 2, n),
        "neighbour_k": rng.uniform(0, 8, n), "second_k": rng.uniform(0, 6, n),
        "tau_s": rng.uniform(100, 900, n), "second_tau_s": rng.uniform(1000, 4000, n),
        "device_k": np.where(np.arange(n) % 2, rng.uniform(0, 20, n), 0.0),
    }  # fmt: skip
    got = crossing_s(HeatSamples(**drawn, air_c=air), load, limit)
    passed = 0
    for k in range(n):
        d = {name: float(values[k]) for name, values in drawn.items()}
        a = generator(d["tau_s"], d["second_tau_s"], d["share"], Drive(load, load, air))
        a[SECOND, STATES] = load * d["device_k"] / d["second_tau_s"]
        own, fed = 1 + d["share"], 1 + PHI * d["share"]
        y0 = np.array([d["temp_c"], d["rise_k"] / own, d["offset_k"], d["neighbour_k"] / fed,
                       d["second_k"], 1.0])  # fmt: skip
        grid = np.linspace(0, 12 * 3600, 6001)
        step, temps, y = expm(a * grid[1]), [], y0
        for _ in grid:
            temps.append(y[TEMP])
            y = step @ y
        above = np.flatnonzero(np.array(temps) > limit)
        if len(above):
            passed += 1
            assert grid[above[0] - 1] - 1 <= got[k] <= grid[above[0]] + 1
        else:
            assert got[k] > grid[-1] - 1
    assert 5 < passed < n
