"""The published propeller series, held against another physics and against its own definitions."""

import numpy as np
import pytest

from analyzer.hull.propeller import Propeller, log_power_change
from tests.support.blade_elements import coefficients

SMALL = Propeller(0.35, 0.25, 3)


def efficiency(thrust: float, torque: float, advance: float) -> float:
    """J KT / (2 pi KQ): open water, by definition."""
    return advance * thrust / (2 * np.pi * torque)


@pytest.mark.parametrize("pitch_ratio", [0.6, 0.7, 0.8, 0.9])
@pytest.mark.parametrize("advance", [0.3, 0.45])
def test_efficiency_is_that_of_blade_elements(pitch_ratio: float, advance: float):
    """Strip theory knows nothing of the series; within 3 points of a hundred."""
    thrust, torque = Propeller(1.0, pitch_ratio, 3).coefficients(np.array([advance]))
    expected = efficiency(*coefficients(advance, pitch_ratio, 0.5, 3), advance)
    assert efficiency(float(thrust[0]), float(torque[0]), advance) == pytest.approx(
        expected, abs=0.03
    )


def test_a_loading_gives_back_its_advance():
    """KT(J) / J² falls with J, so that each has the other: by definition of the loading."""
    advance = np.array([0.25, 0.35, 0.45, 0.55])
    found, _ = SMALL.at_loading(SMALL.loading_at(advance))
    assert found == pytest.approx(advance, abs=2e-3)


def test_power_is_thrust_times_inflow_over_efficiency():
    """P / (rho D² Va³) = loading / efficiency: energy, by definition of the efficiency."""
    loading = np.array([0.4, 1.0, 2.5])
    advance, power = SMALL.at_loading(loading)
    thrust, torque = SMALL.coefficients(advance)
    open_water = advance * thrust / (2 * np.pi * torque)
    assert power == pytest.approx(loading / open_water, rel=0.01)


def test_the_same_propeller_changes_nothing():
    change, turns = log_power_change(SMALL, SMALL, np.array([0.3, 1.0, 3.0]))
    assert change == pytest.approx(0.0, abs=1e-12)
    assert turns == pytest.approx(0.0, abs=1e-12)


def test_the_same_propeller_in_double_size_is_the_actuator_disc_s_gain():
    """Rankine and Froude: a larger disc leaves less speed in the wake, so it takes less power; no
    more is gained than the ideal of eta = 2 / (1 + sqrt(1 + C)), C = 8 / pi loading."""
    loading = np.array([1.0, 2.0])
    change, turns = log_power_change(SMALL, Propeller(0.7, 0.5, 3), loading)
    disc = 8 / np.pi * loading
    ideal = np.log((1 + np.sqrt(1 + disc / 4)) / (1 + np.sqrt(1 + disc)))
    assert np.all(change < 0)
    assert np.all(change > 1.35 * ideal)
    assert np.all(turns < np.log(0.5))  # twice the pitch: half the turns, and less slip


def test_what_the_series_does_not_have_is_known():
    assert SMALL.in_series
    assert not Propeller(0.35, 0.6, 3).in_series
    assert not Propeller(0.35, 0.25, 1).in_series
