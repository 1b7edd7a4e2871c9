"""First-order lag against scipy's filter, hysteresis against its differential equation.

The law of hysteresis: G. Plett, J. Power Sources 134 (2004) 277, from memory. Figures random.
"""

import numpy as np
import pytest
from pytest import approx
from scipy.integrate import solve_ivp
from scipy.signal import lfilter

from analyzer.series.recursion import (
    first_order_lag,
    hysteresis,
    hysteresis_over,
    hysteresis_state,
)
from analyzer.series.steps import Steps


def test_first_order_lag_is_scipy_s_filter():
    drive = np.random.default_rng(32).standard_normal(300)
    # y[k] = a y[k-1] + (1 - a) u[k], with the start as the filter's state
    expected, _ = lfilter([1 - 0.93], [1, -0.93], drive, zi=[0.93 * 0.4])
    assert first_order_lag(drive, 0.93, 0.4) == approx(expected)


def test_columns_lag_as_each_by_itself():
    drive, keep = np.random.default_rng(33).standard_normal((80, 3)), np.array([0.9, 0.5, 0.0])
    both = first_order_lag(drive, keep)
    for k in range(3):
        np.testing.assert_allclose(both[:, k], first_order_lag(drive[:, k], float(keep[k])))
    np.testing.assert_allclose(both[:, 2], drive[:, 2], rtol=1e-12)
    assert first_order_lag(np.zeros((0, 3)), keep).shape == (0, 3)


@pytest.mark.parametrize("start", [-1.0, 0.0, 0.7])
def test_hysteresis_is_the_equation_of_the_charge_moved(start):
    """scale dh/d|q| = -sign(dq) - h, reading by reading and in steps of seven."""
    rng, scale = np.random.default_rng(34), 0.05
    charge = rng.normal(0, 0.02, 60)
    charge[[5, 6, 30]] = 0.0
    h, want = start, []
    for q in charge:
        if q:
            way = float(np.sign(q))
            fine = solve_ivp(lambda _, y, w=way: (-w - y) / scale, (0, abs(q)), [h], rtol=1e-10)
            h = float(fine.y[0, -1])
        want.append(h)
    assert hysteresis_state(charge, scale, start) == approx(np.array(want), abs=1e-6)
    keep, push = hysteresis_over(Steps.of(60, 1.0, 7), charge, scale)
    h, ends = start, [*range(6, 60, 7), 59]
    for k, end in enumerate(ends):
        h = keep[k] * h + push[k]
        assert h == approx(want[end], abs=1e-6)


def test_hysteresis_ends_on_the_branch_it_is_driven_to():
    """Given or taken long enough, the state is -1 or 1 whatever it began with."""
    for sign in (-1, 1):
        keep, push = hysteresis(np.array([sign * 100.0]), 1.0)
        assert keep[0] * 0.3 + push[0] == approx(-sign)
    assert [len(part) for part in hysteresis_over(Steps.of(0, 1.0, 5), np.zeros(0), 1.0)] == [0, 0]
