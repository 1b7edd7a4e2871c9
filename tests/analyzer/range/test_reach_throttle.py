"""A step of the throttle: power, speed and what was seen before it. Worked by hand."""

from dataclasses import replace

import numpy as np
import pytest

from analyzer.range.monte_carlo import Now, Throttle
from analyzer.range.reach import reach
from tests.support.range_inputs import question, sure_curve


def test_after_a_step_of_the_throttle_the_power_is_kept_and_the_speed_is_the_curve_s():
    # by hand, P = c v³ with ln c known to 0.15 and ln P to 0.1: v = (P/c)^(1/3), and distance goes
    # as v/P, so as P^(-2/3) c^(-1/3); at a speed asked for it goes as 1/c
    wide = replace(sure_curve(), cov=0.15**2 * np.ones((48, 48)) + 1e-12 * np.eye(48))
    power_w = 100 * 2.2**3
    asked = question(n=4000, curve=wide, speeds_mps=np.array([1.8, 2.2]))
    result = reach(replace(asked, throttle=Throttle(power_w, 0.1), as_now=1))
    assert result.ground_mps[:, 0] == pytest.approx(1.8)
    assert np.log(result.ground_mps[:, 1] / 2.2).std() == pytest.approx(
        np.hypot(0.1, 0.15) / 3, rel=0.05
    )
    assert np.log(result.motor_w[:, 1] / power_w).std() == pytest.approx(
        np.hypot(0.1, 0.03), rel=0.05
    )
    # 3 % of power still to come in each; the pack is sure
    spread = np.log(result.distance_m).std(axis=0)
    assert spread[0] == pytest.approx(np.hypot(0.15, 0.03), rel=0.05)
    assert spread[1] == pytest.approx(np.linalg.norm([0.2 / 3, 0.15 / 3, 0.03]), rel=0.05)


@pytest.mark.parametrize("over", [1.2, 0.85])
def test_the_power_of_a_speed_that_settles_is_that_of_the_settled_one(over):
    """By hand: P = c v³, held revolutions, J_0 / J_Q = 0.576: a fifth too fast gives 0.73 of it."""
    settled_w = 100 * 2.2**3
    load = (1 - 0.49 / 0.85 * over) / (1 - 0.49 / 0.85)
    asked = question(n=400, curve=sure_curve(), speeds_mps=np.array([1.8, 2.2]))
    held = Throttle(load * settled_w, 0.001, over * 2.2)
    result = reach(replace(asked, throttle=held, as_now=1))
    found = np.log(np.median(result.motor_w[:, 1]) / settled_w)
    # which share of it counts is uniform: between none and all, half of it in the middle
    assert found == pytest.approx(0.5 * np.log(load), rel=0.35)
    low, high = np.log(np.percentile(result.motor_w[:, 1], (1, 99)) / settled_w)
    assert min(low, high, key=abs) == pytest.approx(0.0, abs=0.08)
    assert max(low, high, key=abs) == pytest.approx(np.log(load), abs=0.08)


def test_the_point_before_a_step_bends_the_curve_that_the_new_power_is_read_on():
    """A boat of 1.5 times the power, seen before the step: the new speed follows from it."""
    wide = replace(sure_curve(), cov=0.3**2 * np.ones((48, 48)) + 1e-12 * np.eye(48))
    asked = question(n=4000, curve=wide, speeds_mps=np.array([1.8, 2.2]))
    before = Now(1.8, 0.0, 150 * 1.8**3)
    new = replace(asked, throttle=Throttle(150 * 2.2**3, 0.001), before=before, as_now=1)
    speed = reach(new).ground_mps[:, 1]
    assert float(np.median(speed)) == pytest.approx(2.2, rel=0.02)
    # by hand: ln c is known to 0.03 and no longer to 0.3, and ln v to a third of it
    assert np.log(speed).std() == pytest.approx(0.03 / 3, rel=0.25)
