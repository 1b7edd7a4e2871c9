"""Scale and noise of the pack's current, told by its voltage: a pack of known resistance."""

import numpy as np
import pytest

from analyzer.grounds.current_scale import NOISY, SCALE, current_scale
from analyzer.grounds.power_doubt import UNPROVEN, power_doubt
from analyzer.pack.cell_model import default_params
from analyzer.series.series import Series
from logger.boat import Pack
from tests.support.motor_boat import motor_boat

BOAT = motor_boat()
N = 3600
OHM = default_params(BOAT.pack).r0_ohm * BOAT.pack.cells_in_series


def driven(seed: int = 1) -> np.ndarray:
    """A current that is set anew every two minutes, between 10 and 60 A. (n,)"""
    settings = np.random.default_rng(seed).uniform(10.0, 60.0, N // 120)
    return np.repeat(settings, 120)


def volts(amps: np.ndarray, factor: float) -> np.ndarray:
    """Of a pack whose resistance is the label's times a factor, by Ohm's law. (n,)"""
    noise = 0.01 * np.random.default_rng(2).standard_normal(N)
    return 52.0 - factor * OHM * amps + noise


def kind(shown_a: np.ndarray, factor: float = 1.0) -> str | None:
    found = current_scale(volts(driven(), factor), shown_a, 1.0, BOAT.pack).finding
    return found and found.kind


@pytest.mark.parametrize("factor", [0.5, 1.0, 3.0, 6.0])
def test_packs_better_worse_and_colder_than_the_label_are_believed(factor):
    assert kind(driven(), factor) is None


@pytest.mark.parametrize(("scale", "names"), [(10.0, SCALE), (20.0, SCALE), (1.5, None)])
def test_a_current_of_a_wrong_unit_is_not(scale, names):
    assert kind(scale * driven()) == names
    assert kind(-scale * driven()) == names  # the sign is another test's


def test_a_current_much_too_small_is_not_believed_either():
    """A pack of three times the label's resistance, read at 0.2: 15 times."""
    assert kind(0.2 * driven(), 3.0) == SCALE


@pytest.mark.parametrize(("sd_a", "names"), [(0.5, None), (60.0, NOISY)])
def test_a_current_that_moves_without_its_voltage_is_noise(sd_a, names):
    noise = np.random.default_rng(3).standard_normal(N)
    assert kind(driven() + sd_a * noise) == names


@pytest.mark.parametrize(("times", "names"), [(12.0, None), (80.0, SCALE)])
def test_a_lead_acid_pack_answers_a_step_by_more_than_its_resistance(times, names):
    """At an eighth of its amp-hours an hour the charge transfer's slope is three times the ohmic
    part (`tests/field/fit_lead_loss.py`), and cold and age make three times of both."""
    pack = Pack(chemistry="agm", cells_in_series=24, rated_capacity_ah=280)
    ohm = default_params(pack).r0_ohm * pack.cells_in_series
    noise = 0.01 * np.random.default_rng(2).standard_normal(N)
    found = current_scale(52.0 - times * ohm * driven() + noise, driven(), 1.0, pack).finding
    assert (found and found.kind) == names


def test_a_steady_current_tells_nothing():
    steady = np.full(N, 30.0)
    found = current_scale(volts(steady, 1.0), 10 * steady, 1.0, BOAT.pack)
    assert found.verdict == "cannot say"


def doubt(shown_a: np.ndarray, **more: np.ndarray) -> str:
    values = {"pack_voltage_v": volts(driven(), 1.0), "pack_current_a": shown_a} | more
    return power_doubt(Series(0, 1.0, N, values), BOAT)


def test_energy_is_doubted_for_a_scale_and_not_for_noise_or_a_sound_meter():
    noise = 60.0 * np.random.default_rng(3).standard_normal(N)
    assert doubt(driven()) == ""
    assert doubt(driven() + noise) == ""
    assert "does not move as far" in doubt(10 * driven())


def test_a_current_that_only_charges_is_doubted_until_its_sense_is_known():
    """Too steady to tell its sense, at 1.5 kW; at 0.5 A the sun may be it."""
    steady = np.full(N, -30.0)
    assert doubt(steady) == UNPROVEN
    assert doubt(-steady) == ""
    assert doubt(steady / 60) == ""
    assert doubt(steady, controller_current_a=np.full(N, np.nan)) == UNPROVEN
    assert doubt(steady, shore_power_w=np.full(N, 1500.0)) == ""
