"""The actuator disc, by hand."""

import numpy as np
import pytest

from analyzer.hull import hull
from analyzer.hull.propeller import diameter_m, ideal_efficiency
from tests.analyzer.hull.test_hull import boat


@pytest.mark.parametrize(("load", "efficiency"), [(0.0, 1.0), (3.0, 2 / 3), (8.0, 0.5)])
def test_ideal_efficiency_of_a_thrust_load(load, efficiency):
    # 2 / (1 + sqrt(1 + C)); C = thrust / (1/2 rho A v^2), rho 1025 kg/m3, 0.3 m, 2 m/s
    thrust = load * 0.5 * 1025.0 * np.pi / 4 * 0.3**2 * 2.0**2
    found = ideal_efficiency(np.array([thrust]), np.array([2.0]), 0.3)
    assert found == pytest.approx(efficiency)


def test_a_larger_propeller_costs_less_power_at_speed():
    small, large = (
        hull.prior(
            of.model_copy(update={"motor": of.motor.model_copy(update={"propeller_diameter_m": d})})
        )
        for of, d in ((boat(), 0.25), (boat(), 0.45))
    )
    fast, usual = np.array([3.4]), np.array([0.28 * np.sqrt(9.80665 * 8.2)])
    assert large.mean_w(fast) < 0.95 * small.mean_w(fast)
    assert large.mean_w(usual) == pytest.approx(small.mean_w(usual), rel=0.01)


def test_diameter_is_the_boat_file_s_or_a_usual_one():
    assert diameter_m(boat()) == pytest.approx(0.328)  # 4 % of 8.2 m
