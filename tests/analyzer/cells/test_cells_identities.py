"""Regressions on load steps and means by level, beside numpy's; invented."""

import numpy as np
from pytest import approx

from analyzer.cells.levels import LEVEL_C, Levels
from analyzer.cells.monitor import CellMonitor
from analyzer.cells.step_resistance import OFFSET_MEMORY_S, READING_SD_V, StepResistance
from analyzer.series.recursion import first_order_lag, hysteresis_state
from analyzer.series.series import Series
from logger.boat import Pack
from logger.channels import cell_voltage

PACK = Pack(chemistry="nmc", cells_in_series=4, rated_capacity_ah=50)


def steps(rng, count=80, cells=5):
    amps = np.round(rng.uniform(-20, 80, count), 1)
    excess = rng.normal(0, 2e-4, cells)
    distance = rng.normal(0, 0.003, cells) - np.outer(amps, excess)
    return amps, distance + rng.normal(0, 3e-4, (count, cells)), excess


def test_resistance_above_the_median_is_regression_on_load_steps():
    amps, distance, excess = steps(np.random.default_rng(57))
    bank = StepResistance(5)
    for a, d in zip(amps, distance, strict=True):
        bank.step(d, float(a), 15.0, 10.0)
    d_i, d_v = np.diff(amps), np.diff(distance, axis=0)
    large = np.abs(d_i) >= 15.0
    column = -d_i[large, None]
    found, square, *_ = np.linalg.lstsq(column, d_v[large], rcond=None)
    assert (bank.steps == large.sum()).all()
    assert bank.excess_ohm() == approx(found[0])
    assert bank.excess_ohm() == approx(excess, abs=5e-5)
    var = (square / large.sum() + 2 * READING_SD_V**2) / (column.T @ column)[0, 0]
    assert bank.excess_sd_ohm() == approx(np.sqrt(var))


def test_offset_at_rest_is_a_weighted_mean_that_forgets():
    rng = np.random.default_rng(58)
    distance = rng.normal(0, 0.003, (50, 3))
    bank = StepResistance(3)
    for d in distance:
        bank.step(d, 0.0, 15.0, 40.0)  # no load, so nothing to take out
    age = 40.0 * np.arange(50)[::-1]
    assert bank.offset_v == approx(
        np.average(distance, axis=0, weights=np.exp(-age / OFFSET_MEMORY_S))
    )
    # the last step under load: what the resistance takes is put back
    bank.sums[:] = [[4.0] * 3, [4e-4, 8e-4, 0.0], [0.0] * 3]
    bank.steps[:], before = 3, bank.offset_v.copy()
    weight = bank._weight_s * np.exp(-40 / OFFSET_MEMORY_S)
    bank.step(np.full(3, 0.001), 10.0, 15.0, 40.0)
    at_rest = 0.001 + 10.0 * np.array([1e-4, 2e-4, 0.0])
    assert bank.offset_v == approx((before * weight + at_rest * 40) / (weight + 40))


def test_median_resistance_is_regression_on_load_steps():
    rng = np.random.default_rng(59)
    amps = np.repeat(rng.uniform(-20, 60, 60), 10)
    values = {"pack_current_a": amps}
    volts = 3.7 - 1.4e-3 * amps[:, None] + rng.normal(0, 2e-4, (600, 4))
    for i in range(4):
        values[cell_voltage(i + 1)] = volts[:, i]
    monitor = CellMonitor(PACK)
    monitor.update(Series(0, 1.0, 600, values))
    mean = volts.reshape(60, 10, 4).mean(axis=1)
    d_i, d_v = np.diff(amps[::10]), np.diff(np.median(mean, axis=1))
    found = np.linalg.lstsq(-d_i[:, None], d_v, rcond=None)[0][0]
    estimate = monitor.median_resistance()
    assert estimate.mid == approx(found)
    sd = READING_SD_V * np.sqrt(2 / (d_i @ d_i)) + 0.03 * found
    assert estimate.high - estimate.mid == approx(1.2815515655 * sd)
    assert estimate.mid - estimate.low == approx(1.2815515655 * sd)


def test_levels_hold_means_at_the_charge_moved():
    rng = np.random.default_rng(60)
    amps = np.repeat(rng.uniform(5, 40, 60), 10)  # gives all the time: one way
    distance = rng.normal(0, 0.002, (600, 2))
    volts = 3.9 - 1e-4 * np.arange(600)
    levels = Levels(PACK, 2)
    for v, d, a in zip(volts, distance, amps, strict=True):
        levels.move(float(v), float(a), 10.0)
        levels.add(float(v), d, float(a), 10.0)
    level = np.round(np.cumsum(amps) * 10 / 3600 / (LEVEL_C * 50)).astype(int)
    seen = levels.table()
    numbers = np.unique(level)
    expected = np.array([distance[level == k].mean(axis=0) for k in numbers])
    enough = np.array([(level == k).sum() * 10 >= 30 for k in numbers])
    assert seen.place == approx(numbers[enough] * LEVEL_C)
    assert seen.distance_v == approx(expected[enough])
    # the one lag and the one hysteresis of the house, over all steps at once
    kind = levels.kind
    lags = [first_order_lag(amps, np.exp(-10 / tau)) for tau in (kind.tau1_s, kind.tau2_s)]
    state = hysteresis_state(amps * 10 / 3600 / 50, kind.gap_soc_frac, 0.0)
    for column, values in enumerate([amps, *lags]):
        means = [values[level == k].mean() for k in numbers[enough]]
        assert seen.amps[:, column] == approx(means)
    assert seen.hysteresis == approx([state[level == k].mean() for k in numbers[enough]])
    assert (seen.way == 1).all()


def test_a_cell_on_a_bend_is_left_out_of_its_resistance():
    amps, distance, _ = steps(np.random.default_rng(62))
    bent, bank, alone = distance.copy(), StepResistance(5), StepResistance(5)
    bent[::3, 2] = np.nan
    for a, d, whole in zip(amps, bent, distance, strict=True):
        bank.step(d, float(a), 15.0, 10.0)
        alone.step(whole, float(a), 15.0, 10.0)
    d_i, d_v = np.diff(amps), np.diff(bent[:, 2])
    kept = (np.abs(d_i) >= 15.0) & np.isfinite(d_v)
    found = np.linalg.lstsq(-d_i[kept, None], d_v[kept], rcond=None)[0]
    assert bank.excess_ohm()[2] == approx(found[0])
    assert np.delete(bank.excess_ohm(), 2) == approx(np.delete(alone.excess_ohm(), 2))
