"""Fits of cells against the median cell, beside numpy's and scipy's least squares; invented."""

from dataclasses import replace

import numpy as np
import pytest
from pytest import approx
from scipy.optimize import least_squares

from analyzer.cells.deficit import Levels, Missing, _seen_slope
from analyzer.cells.deficit_fit import (
    ALIKE,
    LEVEL_C,
    Table,
    cell_fit,
)
from analyzer.cells.monitor import (
    CellMonitor,
    standouts,
)
from analyzer.cells.step_resistance import OFFSET_MEMORY_S, READING_SD_V, StepResistance
from analyzer.series.series import Series
from logger.boat import Pack
from logger.channels import cell_voltage
from tests.support.gaussians import central_difference

PACK = Pack(chemistry="nmc", cells_in_series=4, rated_capacity_ah=50)
PRIOR = np.array([0.0015, 4e-4, 0.15, 0.2, 0.03])


def table(seed=51, curves=False, m=60):
    """Levels of a median cell that gives and takes, with slopes; without curves all is straight."""
    rng = np.random.default_rng(seed)
    place = np.sort(rng.uniform(0, 0.7, m))
    way = rng.choice([-1, 1], m) if curves else np.zeros(m, dtype=np.int64)
    empty = (np.zeros(0), np.zeros(0))
    x = np.linspace(-0.05, 0.8, 90)
    down = 4.1 - 0.9 * x - 0.5 * x**2 + 0.3 * x**3
    made = ((x, down + 0.01), (x, down)) if curves else (empty, empty)
    before = (rng.uniform(size=m) < 0.4).astype(float)
    return Table(
        place=place, depth=place - place.min(), way=way, slope=rng.uniform(0.1, 1.5, m),
        amps=rng.uniform(-20, 40, m), distance=np.zeros((m, 1)),
        weight=rng.uniform(0.3, 1.0, m) / (0.001**2 * ALIKE), before=before, curves=made,
    )  # fmt: skip


def design(t):
    """d = offset - r I - slope (share + capacity depth + earlier before)."""
    s = -t.slope
    return np.column_stack([np.ones(len(s)), -t.amps, s, s * t.depth, s * t.before])


TRUE = np.array([0.001, 2e-4, 0.03, 0.05, 0.01])


def test_deficit_fit_on_a_straight_curve_is_linear_least_squares():
    t, rng = table(), np.random.default_rng(52)
    rest = design(t) @ TRUE + rng.normal(0, 0.001, len(t.place))
    fit = cell_fit(t, rest, PRIOR)
    # the prior as five more rows
    root = np.sqrt(t.weight)
    rows = np.vstack([design(t) * root[:, None], np.diag(1 / PRIOR)])
    found = np.linalg.lstsq(rows, np.r_[rest * root, np.zeros(5)], rcond=None)[0]
    assert fit.found == approx(found, rel=1e-6)
    chi = float((t.weight * (rest - design(t) @ found) ** 2).sum())
    wide = max(np.sqrt(chi * ALIKE / len(rest)), 1.0)
    assert fit.cov == approx(np.linalg.inv(rows.T @ rows) * wide**2, rel=1e-6)
    assert (fit.wide, fit.miss) == approx((wide, chi / 2))
    assert fit.prior == approx(0.5 * ((found / PRIOR) ** 2).sum())


def test_deficit_fit_that_misses_by_more_is_less_sure():
    t, rng = table(), np.random.default_rng(53)
    rest = design(t) @ TRUE + rng.normal(0, 0.005, len(t.place))
    fit = cell_fit(t, rest, PRIOR)
    rows = np.vstack([design(t) * np.sqrt(t.weight)[:, None], np.diag(1 / PRIOR)])
    chi = 2 * fit.miss
    assert fit.wide == approx(np.sqrt(chi * 3 / 60))
    assert fit.wide > 3
    assert fit.cov == approx(np.linalg.inv(rows.T @ rows) * chi * 3 / 60, rel=1e-6)


def test_total_is_a_sum_and_its_standard_deviation():
    t = table()
    fit = cell_fit(t, design(t) @ TRUE, PRIOR)
    w = np.array([0.0, 1.0, 1.0, 0.4, -1.0])
    assert fit.total(*w) == approx((w @ fit.found, np.sqrt(w @ fit.cov @ w)))


def test_deficit_fit_along_a_curve_is_scipys_minimum():
    t, rng = table(curves=True), np.random.default_rng(54)
    (x, up), (_, down) = t.curves

    def shown(p):
        shift = p[2] + p[3] * t.depth + p[4] * t.before
        here, there = t.place, t.place + shift
        volts = np.where(t.way < 0, np.interp(there, x, up) - np.interp(here, x, up),
                         np.interp(there, x, down) - np.interp(here, x, down))  # fmt: skip
        return p[0] - p[1] * t.amps + volts

    rest = shown(TRUE) + rng.normal(0, 0.001, len(t.place))

    def left(p):
        return np.r_[(rest - shown(p)) * np.sqrt(t.weight), p / PRIOR]

    best = least_squares(left, np.zeros(5), x_scale=PRIOR, xtol=1e-12, ftol=1e-14)
    fit = cell_fit(t, rest, PRIOR)
    # the fit stops at steps of 3e-4; its curve's slope is a chord over two levels
    assert fit.found[2:] == approx(best.x[2:], abs=3e-4)
    assert fit.miss + fit.prior == approx(best.cost, rel=1e-3)
    assert np.sqrt(np.diag(fit.cov))[2:4] == approx(
        np.sqrt(np.diag(np.linalg.inv(best.jac.T @ best.jac)))[2:4] * fit.wide, rel=0.05
    )


def test_slope_of_the_median_curve_is_its_derivative():
    t = table(curves=True)
    shift = np.full(len(t.place), 0.02)
    _, slope, seen = t.moved(shift)
    # the chord over a level to both sides, of a curve known at 90 places
    jacobian = central_difference(lambda s: t.moved(s)[0], shift, LEVEL_C)
    assert slope == approx(-np.diag(jacobian), rel=1e-9)
    assert seen == approx(1.0)
    assert t.moved(0 * shift)[0] == approx(0.0)
    beyond = t.moved(np.full(len(t.place), 0.3))[2]
    assert ((t.place + 0.3 > 0.8) == (beyond == 0.1)).all()


def test_slope_seen_is_polyfits():
    rng = np.random.default_rng(55)
    place = rng.permutation(np.arange(40)) * LEVEL_C
    rest_v = 3.4 - 0.6 * place + rng.normal(0, 2e-4, 40)
    slope, sd = _seen_slope(place, rest_v)
    for k in (5, 20, 33):
        near = np.abs(place - k * LEVEL_C) < 4.4 * LEVEL_C
        fit, cov = np.polyfit(place[near], rest_v[near], 1, cov=True)
        at = np.flatnonzero(place == k * LEVEL_C)[0]
        assert slope[at] == approx(-fit[0])
        assert sd[at] == approx(np.sqrt(cov[0, 0]))


def test_missing_at_a_depth_is_a_sum_of_two_alike():
    rng = np.random.default_rng(56)
    one = np.array([0.02])
    missing = Missing(one, np.array([0.01]), 3 * one, np.array([0.03]), np.array([-0.6]), one, one,
                      1.0, 0.8)  # fmt: skip
    cov = [[1e-4, -0.6 * 3e-4], [-0.6 * 3e-4, 9e-4]]
    drawn = rng.multivariate_normal([0.02, 0.06], cov, 400_000) @ [1.0, 0.5]
    found, sd = missing.at(0.5)
    assert found[0] == approx(0.05)
    assert sd[0] == approx(drawn.std(), rel=0.005)
    depths = np.linspace(0, 0.8, 8001)
    sure = min(depths, key=lambda d: float(missing.at(d)[1][0]))
    assert np.array(missing.where_best_seen()) == approx(np.array(missing.at(sure)), rel=1e-3)


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
    assert bank.steps == large.sum()
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
    bank.steps, before, weight = 3, bank.offset_v, bank._weight_s * np.exp(-40 / OFFSET_MEMORY_S)
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


def test_standouts_are_in_sigmas_of_error_and_of_the_others():
    values, sd = np.array([0.0, 0.01, -0.02, 0.015, 0.2]), np.full(5, 0.03)
    (one,) = standouts("x", values, sd, 0.1, 3.0)
    others = values[:4] - np.median(values)
    usual = 1.4826 * np.median(np.abs(others - np.median(others)))
    assert (one.index, one.size) == (4, approx(0.19))
    assert one.sigmas == approx(0.19 / np.hypot(0.03, usual))
    assert standouts("x", values, sd, 0.2, 3.0) == []
    assert standouts("x", values, sd, 0.1, one.sigmas + 0.01) == []


def test_levels_hold_means_at_the_charge_moved():
    rng = np.random.default_rng(60)
    amps = np.repeat(rng.uniform(5, 40, 60), 10)  # gives all the time: one way
    distance = rng.normal(0, 0.002, (600, 2))
    volts = 3.9 - 1e-4 * np.arange(600)
    levels = Levels(PACK, 2)
    for v, d, a in zip(volts, distance, amps, strict=True):
        levels.step(float(v), d, float(a), 10.0)
    level = np.round(np.cumsum(amps) * 10 / 3600 / (LEVEL_C * 50)).astype(int)
    seen = levels._table(1e-3)
    numbers = np.unique(level)
    expected = np.array([distance[level == k].mean(axis=0) for k in numbers])
    enough = np.array([(level == k).sum() * 10 >= 30 for k in numbers])
    assert seen.place == approx(numbers[enough] * LEVEL_C)
    assert seen.distance == approx(expected[enough])
    assert seen.amps == approx([amps[level == k].mean() for k in numbers[enough]])
    assert (seen.way == 1).all()


@pytest.mark.parametrize("fault", ["share", "capacity"])
def test_fit_of_many_is_unbiased_and_as_sure_as_it_says(fault):
    true = TRUE * ([1, 1, 1, 0, 0] if fault == "share" else [1, 1, 0, 1, 0])
    t, rng = table(), np.random.default_rng(61)
    t = replace(t, weight=np.full(60, 1 / 0.001**2))
    z = []
    for _ in range(300):
        fit = cell_fit(t, design(t) @ true + rng.normal(0, 0.001, 60), 1e3 * PRIOR)
        # neighbours share an error by a factor of three; here they do not: wide is sqrt(3)
        z.append((fit.found - true) / np.sqrt(np.diag(fit.cov)) * fit.wide)
    assert np.mean(z, axis=0) == approx(0.0, abs=4 / 300**0.5)
    assert np.std(z, axis=0) == approx(1.0, abs=4 / 600**0.5)
