"""The loop's resistance from two voltmeters; the truth is put in by hand."""

import numpy as np
import pytest

from analyzer.estimation.estimate import Estimate
from analyzer.series.series import Series
from analyzer.thermal.copper import ALPHA_20C
from analyzer.thermal.loop_resistance import LOOSENING, SOUND, LoopMonitor
from tests.support.motor_boat import PROBED, motor_boat

BOAT = motor_boat(cable=(PROBED,))


def log(ohm, n: int = 7200, temp_c: float = 20.0, offset_v: float = 0.12, seed: int = 0) -> Series:
    rng = np.random.default_rng(seed)
    amps = np.repeat(rng.uniform(0, 110, n // 300), 300) + rng.normal(0, 1, n)
    pack = np.round(53 - 0.01 * amps + rng.normal(0, 0.01, n), 2)
    warm = 1 + ALPHA_20C * (temp_c - 20)
    control = np.round(pack - offset_v - ohm * warm * amps + rng.normal(0, 0.02, n), 1)
    values = {"pack_voltage_v": pack, "controller_voltage_v": control,
              "controller_current_a": np.round(amps, 1),
              "probe_positive_temp_c": np.full(n, temp_c)}  # fmt: skip
    return Series(0, 1.0, n, values)


@pytest.mark.parametrize("temp", [5.0, 20.0, 60.0])
def test_loop_is_found_within_its_range_hot_or_cold(temp):
    held = 0
    for seed in range(20):
        monitor = LoopMonitor(BOAT.cable)
        monitor.update(log(2.4e-3, temp_c=temp, seed=seed))
        said = monitor.resistance()
        held += said.low <= 2.4e-3 <= said.high
        assert said.mid == pytest.approx(2.4e-3, abs=0.2e-3)
    assert held >= 12  # of 20 at 80 %: fewer has a chance of 1 %


def grown(ohm, seed: int = 0) -> Estimate:
    """From an hour to the end, by the filter that reckons with a joint that loosens."""
    monitor, series = LoopMonitor(BOAT.cable), log(ohm, seed=seed)
    monitor.update(series.cut(0, 3000))
    before = monitor.now(SOUND)
    assert before.well
    monitor.update(series.cut(3000, series.n))
    return before.grown_to(monitor.now(LOOSENING)).estimate(())


def test_growth_is_seen_and_its_absence_too():
    ramp = 1.5e-3 + 0.8e-3 * np.clip((np.arange(7200) - 3000) / 2400, 0, 1)
    seen, still = grown(ramp), grown(1.5e-3)
    assert seen.low < 0.8e-3 < seen.high
    assert seen.low > 0.4e-3
    assert still.low < 0 < still.high


def test_growth_does_not_lag_behind_a_joint_that_is_loosening():
    ramp = 1.5e-3 + 2e-3 * np.clip((np.arange(7200) - 3000) / 4200, 0, 1)
    held = 0
    for seed in range(20):
        said = grown(ramp, seed)
        held += said.low <= 2e-3 <= said.high
    assert held >= 12  # of 20 at 80 %: fewer has a chance of 1 %


def test_one_meter_is_no_answer():
    monitor = LoopMonitor(BOAT.cable)
    series = log(1e-3)
    del series.values["controller_voltage_v"]
    monitor.update(series)
    assert monitor.resistance().mid is None
    assert "controller" in monitor.resistance().reason


def test_expected_copper_is_the_standard_s():
    # IEC 60228 class 5.
    assert LoopMonitor(BOAT.cable).expected_ohm() == pytest.approx(2 * 0.386e-3)
