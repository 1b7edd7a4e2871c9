"""The shunt's sense, on circuits by Ohm's law; invented figures."""

import re

import numpy as np
import pytest

from analyzer.pack.shunt_sense import shunt_sense


def circuit(seed: int = 1, noise_v: float = 0.02) -> tuple[np.ndarray, np.ndarray]:
    """Ten minutes at 1 Hz: 51.2 V behind 20 mΩ, current stepping between 0 and 100 A."""
    rng = np.random.default_rng(seed)
    current = np.repeat(rng.uniform(0, 100, 20), 30)
    return 51.2 - 0.020 * current + noise_v * rng.standard_normal(600), current


def test_shunt_sense_finds_the_resistance_that_was_put_in():
    # Ohm's law: 20 mΩ is 200 mV for each 10 A
    test = shunt_sense(*circuit(), 1.0, 100.0)
    assert test.verdict == "right"
    found = re.fullmatch(r"Voltage falls by (\d+) mV for each 10 A that the pack gives.", test.text)
    assert found is not None
    assert float(found[1]) == pytest.approx(200, rel=0.02)


def test_shunt_sense_says_reversed_when_the_sign_is_turned():
    voltage, current = circuit()
    test = shunt_sense(voltage, -current, 1.0, 100.0)
    assert test.verdict == "wrong"
    assert test.finding is not None
    assert test.finding.kind == "shunt_reversed"
    size = test.finding.size
    # as read, with the sign that the shunt gives it: 20 mΩ within its own error
    assert abs(size.mid) == pytest.approx(0.020, rel=0.02)
    assert size.low < size.mid < size.high


def test_shunt_sense_says_nothing_of_a_steady_or_unrelated_current():
    voltage, current = circuit()
    steady = shunt_sense(voltage, np.full(600, 30.0), 1.0, 100.0)
    assert steady.verdict == "cannot say"
    rng = np.random.default_rng(5)
    verdicts = [
        shunt_sense(51 + rng.standard_normal(600), current, 1.0, 100.0).verdict for _ in range(200)
    ]
    assert verdicts.count("cannot say") >= 198  # z of 4: 1 in 30 000 by chance


def test_shunt_sense_bears_gaps_and_late_frames():
    voltage, current = circuit()
    voltage[100:200] = np.nan
    assert shunt_sense(voltage, np.roll(current, 1), 1.0, 100.0).verdict == "right"


def few_steps(seed: int, steps: int, ohm: float = 0.020) -> tuple[np.ndarray, np.ndarray]:
    """An hour of motoring at few settings, as boats do; no step of the throttle is small."""
    rng = np.random.default_rng(seed)
    current = np.repeat(30.0 * (1 + np.arange(steps + 1) % 2), 3600 // (steps + 1))
    return 51.2 - ohm * current + 0.02 * rng.standard_normal(len(current)), current


@pytest.mark.parametrize(("sign", "verdict"), [(1, "right"), (-1, "wrong")])
def test_a_few_steps_tell_where_each_moves_the_voltage_as_nothing_else_does(sign, verdict):
    voltage, current = few_steps(1, 4)
    assert shunt_sense(voltage, sign * current, 1.0, 100.0).verdict == verdict


def test_two_steps_or_steps_that_do_not_move_the_voltage_tell_nothing():
    assert shunt_sense(*few_steps(1, 2), 1.0, 100.0).verdict == "cannot say"
    told = [shunt_sense(*few_steps(seed, 4, ohm=0.0), 1.0, 100.0).verdict for seed in range(100)]
    assert told.count("cannot say") == 100
    voltage, current = few_steps(1, 4)
    late = np.roll(current, 120)  # two minutes late, it lies beside no step of the voltage
    late[:120] = current[0]
    assert shunt_sense(voltage, late, 1.0, 100.0).verdict == "cannot say"
