"""The charge filter against the textbook: extended Kalman filters, one component at a time.

Derivatives come from finite differences of the cell's equations written once more in
`tests/support/charge_filter.py`, updates from Joseph's form on dense matrices; figures invented.
"""

import numpy as np
import pytest
from pytest import approx

from analyzer.pack.curves.doubt import KNOTS
from analyzer.pack.soc.noise import GAP_REACH, WALK_S
from analyzer.pack.soc.states import CURVE, FAST, GAP, HYST, LN_Q, OFFSET, SLOW, SOC, STATES, WALK
from analyzer.pack.soc.voltage_model import MOST_SLOPE_SD, TABLE_STEP
from tests.support.charge_filter import (
    Load,
    bank_of,
    cell_of,
    content,
    in_the_middle,
    random_mixture,
    terminal_v,
)
from tests.support.gaussians import central_difference, joseph

PLACES = np.array([0.012, 0.041, 0.088, 0.115, 0.24, 0.4, 0.583, 0.71, 0.86, 0.925, 0.968, 0.991])
STEPS = np.full(STATES, 1e-5)
STEPS[SOC] = TABLE_STEP  # the filter's tables are straight between their cells
LOADS = [
    Load(voltage_v=3.21, r0_v=0.04, u1_v=0.02, u2_v=0.03, temp_shift_v=0.002, gap_factor=1.3,
         r0_ohm=0.8e-3, apart=0.05),
    Load(voltage_v=3.39, r0_v=-0.03, u1_v=-0.01, u2_v=-0.02, temp_shift_v=-0.004, gap_factor=0.8,
         r0_ohm=0.5e-3),
    Load(voltage_v=3.28),
]  # fmt: skip


def mixture(seed=0):
    return random_mixture(np.random.default_rng(seed), PLACES)


def predicted(load, ah, x):
    """Counting and forgetting: dz/dt = -(I - offset) / Q; first-order fading of the rest."""
    out = x.copy()
    capacity_as = 3600 * ah * np.exp(x[LN_Q])
    out[SOC] = x[SOC] - (load.charge_as - x[OFFSET] * load.length_s) / capacity_as
    out[HYST] = load.keep * x[HYST] + load.drift
    out[WALK] = x[WALK] * np.exp(-load.length_s / WALK_S)
    out[GAP] = x[GAP] * np.exp(-abs(load.charge_as) / (3600 * ah) / GAP_REACH)
    return out


@pytest.mark.parametrize("charge_as", [4300.0, -2500.0, 0.0])
def test_predict_is_the_extended_kalman_prediction(charge_as):
    load = Load(charge_as=charge_as, length_s=90.0, keep=0.7, drift=-0.2)
    before = mixture()
    bank = bank_of(cell_of(ah=80.0), before)
    noise = np.random.default_rng(1).uniform(1e-8, 1e-6, STATES)
    bank.predict(load.step(), noise)
    after = content(bank)
    assert after.weight == approx(before.weight)
    for k, (x, p) in enumerate(zip(before.mean, before.cov, strict=True)):
        if not 0.02 < x[SOC] < 0.98:
            continue  # held within the tables there
        jacobian = central_difference(lambda s: predicted(load, 80.0, s), x, 1e-4)
        expected = jacobian @ p @ jacobian.T + np.diag(noise)
        assert after.mean[k] == approx(predicted(load, 80.0, x), abs=1e-12)
        assert after.cov[k] == approx(expected, rel=1e-6, abs=1e-13)


def test_predict_with_large_load_stays_inside_the_tables():
    bank = bank_of(cell_of(ah=10.0), mixture())
    bank.predict(Load(charge_as=3600.0 * 20).step(), np.zeros(STATES))
    assert bank.mean[SOC] == approx(bank.kind.lowest_soc)  # see `test_lowest_charge.py`
    bank.predict(Load(charge_as=-3600.0 * 40).step(), np.zeros(STATES))
    assert bank.mean[SOC] == approx(1.19)


def slope_of_curve(kind, soc):
    rise = np.interp([soc - TABLE_STEP, soc + TABLE_STEP], kind.soc, kind.mean_v)
    return (rise[1] - rise[0]) / (2 * TABLE_STEP)


def model_noise_v2(kind, load, x, p, settle_v2):
    """Passing and lasting part of the model's error, as design and docstrings have them. [V²]

    Passing: relative error of the losses, as large as the component's resistances make them, of
    their change with charge, of the circuit at rest, and what came before the log. Lasting: charge
    axis, and the slope's doubt in a wide component.
    """
    fast, slow = (np.interp(x[SOC], kind.soc, t) for t in (kind.fast_shape, kind.slow_shape))
    near_v = np.exp(x[FAST]) * (load.r0_v + load.u1_v)
    slow_v = np.exp(x[SLOW]) * load.u2_v
    passing = (kind.loss_sd**2 + load.apart**2) * (abs(near_v) + abs(slow_v)) ** 2
    passing += (kind.ohm_shape_sd * (fast - 1) * near_v) ** 2
    passing += (kind.ohm_shape_sd * (slow - 1) * slow_v) ** 2
    passing += kind.model_sd_v**2 + settle_v2
    low = np.searchsorted(KNOTS, x[SOC], side="right") - 1
    turn = np.zeros(STATES)
    turn[CURVE + low], turn[CURVE + low + 1] = -1, 1
    turn /= KNOTS[low + 1] - KNOTS[low]
    slope = slope_of_curve(kind, x[SOC])
    lasting = p[SOC, SOC] * min(turn @ p @ turn, MOST_SLOPE_SD**2 + slope**2)
    return passing, lasting + (kind.axis_sd * slope) ** 2


@pytest.mark.parametrize("load", LOADS)
@pytest.mark.parametrize("chemistry", ["lfp", "nmc", "agm"])
@pytest.mark.parametrize(("copies", "settle_v2"), [(1.0, 0.0), (20.0, 0.004**2)])
def test_update_voltage_is_the_extended_kalman_update(chemistry, load, copies, settle_v2):
    cell, before = cell_of(chemistry), mixture(2)
    bank = bank_of(cell, before)
    bank.update_voltage(load.step(), copies, settle_v2)
    after, log_weight = content(bank), []
    for k, (x, p) in enumerate(zip(before.mean, before.cov, strict=True)):
        at = float(x[SOC])
        row = central_difference(lambda s, at=at: terminal_v(cell, load, s, at), x, STEPS)[0]
        innovation = load.voltage_v - terminal_v(cell, load, x, at)
        passing, lasting = model_noise_v2(cell.kind, load, x, p, settle_v2)
        mean, cov, total = joseph(x, p, row, innovation, passing * copies, lasting * copies)
        assert after.mean[k] == approx(mean, rel=1e-6, abs=1e-8)
        assert after.cov[k] == approx(cov, rel=1e-6, abs=1e-11)
        # density of the innovation, of which `copies` steps share one: the passing error's own
        # normaliser counts once in all, the lasting one's is left out
        log = -0.5 * innovation**2 / total - 0.5 * np.log(total / (passing + lasting) / copies)
        log_weight.append(log - 0.5 / copies * np.log(passing * copies))
    weight = before.weight * np.exp(np.array(log_weight) - max(log_weight))
    assert after.weight == approx(weight / weight.sum(), rel=1e-6)


def test_update_voltage_weighs_by_bayes_where_errors_are_independent():
    # no lasting error, each step its own: the density of a normal distribution with P + R
    cell, before = cell_of(), mixture(3)
    bank = bank_of(cell, before)
    rng = np.random.default_rng(3)
    innovation, noise = rng.normal(0, 0.01, len(PLACES)), rng.uniform(1e-5, 1e-4, len(PLACES))
    h = np.zeros((STATES, len(PLACES)))
    h[:CURVE] = rng.standard_normal((CURVE, len(PLACES)))
    h[CURVE + 4], h[CURVE + 5] = 0.3, 0.7
    bank.update(innovation, h, noise, 1.0)
    total = np.array([h[:, k] @ before.cov[k] @ h[:, k] for k in range(len(PLACES))]) + noise
    weight = before.weight * np.exp(-0.5 * innovation**2 / total) / np.sqrt(total)
    assert bank.weights() == approx(weight / weight.sum())


def test_update_voltage_slope_of_the_curve_is_at_least_three_tenths_of_the_published():
    cell, before = cell_of("nmc"), mixture(4)
    knot = np.searchsorted(KNOTS, PLACES, side="right") - 1
    for k, low in enumerate(knot):
        before.mean[k, CURVE:] = 0.0
        before.mean[k, CURVE + low + 1] = -2.0  # falls far more than the curve rises
        before.cov[k] = np.diag(np.full(STATES, 1e-12))
        before.cov[k, SOC, SOC] = 1e-4
    bank = bank_of(cell, before)
    load = Load(voltage_v=3.9)
    bank.update_voltage(load.step(), 1.0, 0.0)
    for k, (x, p) in enumerate(zip(before.mean, before.cov, strict=True)):
        slope = 0.3 * slope_of_curve(cell.kind, x[SOC])
        innovation = 3.9 - terminal_v(cell, load, x, x[SOC])
        noise = sum(model_noise_v2(cell.kind, load, x, p, 0.0))
        expected = 1e-4 * slope * innovation / (1e-4 * slope**2 + noise)
        assert bank.mean[SOC, k] - x[SOC] == approx(expected, rel=1e-4)


def test_update_voltage_beyond_full_and_empty_pulls_back_inside():
    # the curve goes on from both ends by 4 V per unit of charge (assumed): END_SLOPE_V
    kind, soc = cell_of().kind, in_the_middle([-0.05, 1.08])
    before = random_mixture(np.random.default_rng(5), soc)
    before.mean[:, :SOC], before.mean[:, SOC + 1 :] = 0.0, 0.0
    before.cov[:] = np.diag(np.full(STATES, 1e-14))
    before.cov[:, SOC, SOC] = 1e-4
    bank = bank_of(cell_of(), before)
    volts = np.interp([0, 1], kind.soc, kind.mean_v)
    expected = volts + 4.0 * (soc - [0.0, 1.0])
    for k, at in enumerate(expected):
        load = Load(voltage_v=float(at))
        alone = bank_of(cell_of(), before)
        alone.keep(np.arange(2) == k)
        alone.update_voltage(load.step(), 1.0, 0.0)
        assert alone.mean[SOC, 0] == approx(soc[k], abs=1e-8)
    load = Load(voltage_v=float(volts.mean()))
    bank.update_voltage(load.step(), 1.0, 0.0)
    assert bank.mean[SOC, 0] > soc[0]
    assert bank.mean[SOC, 1] < soc[1]


def changes(rng, slope, ah, factor, shape, noise_v):
    """One step's readings of a cell on a straight curve, and their sums for the filter."""
    amps = rng.uniform(-50, 150, 40)
    r0, u1 = amps * 1e-3, np.convolve(amps, [0.3, 0.2, 0.1])[:40] * 1e-3
    charge = np.cumsum(amps) * 0.5
    volts = 3.2 - slope * charge / (3600 * ah) - factor * shape * (r0 + u1)
    volts = volts + noise_v * rng.standard_normal(40)
    v, a, b, q = (s - s.mean() for s in (volts, r0, u1, charge))
    sums = tuple(float(s) for s in (v @ a, v @ b, a @ a, a @ b, b @ b, a @ q, b @ q))
    return sums, (v, a + b, q)


@pytest.mark.parametrize("place", [0.1, 0.5])
def test_update_resistance_is_the_regression_of_voltage_on_load(place):
    rng, ah, sd = np.random.default_rng(6), 60.0, 0.002
    cell, before = cell_of("nmc", ah), random_mixture(np.random.default_rng(6), [place])
    kind, x, p = cell.kind, before.mean[0], before.cov[0]
    slope = slope_of_curve(kind, x[SOC])
    shape = float(np.interp(x[SOC], kind.soc, kind.fast_shape))
    sums, (v, load_v, q) = changes(rng, slope, ah, 1.3, shape, sd)
    bank = bank_of(cell, before)
    bank.update_resistance(Load(cov=sums).step(), sd)
    # ordinary least squares: v + slope q / Q = -factor shape load
    column = -shape * load_v[:, None]
    found = np.linalg.lstsq(column, v + slope * q / (3600 * ah), rcond=None)[0][0]
    var = sd**2 * np.linalg.inv(column.T @ column)[0, 0]
    assert found == approx(1.3, abs=5 * var**0.5)
    row = central_difference(lambda s: np.exp(s[FAST]), x, 1e-5)[0]
    factor = np.exp(x[FAST])
    # a tenth of the factor for the circuit's form; six steps share one error (CHANGES_LAST)
    mean, cov, _ = joseph(x, p, row, found - factor, 6.0 * (var + (0.1 * factor) ** 2))
    assert bank.mean[:, 0] == approx(mean, rel=1e-7)
    assert bank.cov[:, :, 0] == approx(cov, rel=1e-6, abs=1e-13)


@pytest.mark.parametrize(("more", "heard"), [(1.01, True), (0.99, False)])
def test_update_resistance_wants_five_times_the_readings_error(more, heard):
    before = mixture(7)
    bank = bank_of(cell_of(), before)
    sd, v0, v1 = 0.002, 3.0, 4.0
    scale = more * 25 * sd**2 / (v0 + v1) ** 2  # perfectly alike: the power is (r0 + u1)²
    sums = (-9e-6, -12e-6, scale * v0 * v0, scale * v0 * v1, scale * v1 * v1, 0.0, 0.0)
    bank.update_resistance(Load(cov=sums).step(), sd)
    assert bool((bank.mean[FAST] != before.mean[:, FAST]).any()) == heard


def test_update_soc_conditions_on_a_reported_charge():
    before = mixture(8)
    bank = bank_of(cell_of(), before)
    bank.update_soc(0.9, 0.03)
    row = np.eye(STATES)[SOC]
    total = before.cov[:, SOC, SOC] + 0.03**2
    # the exponent alone, as the filter has it: no normaliser, so that wide components keep theirs
    log = np.log(before.weight) - 0.5 * (0.9 - before.mean[:, SOC]) ** 2 / total
    kept = log - log.max() > -10.0
    assert 0 < kept.sum() < len(kept)
    after = content(bank)
    weight = np.exp(log[kept])
    assert after.weight == approx(weight / weight.sum())
    for k, was in enumerate(np.flatnonzero(kept)):
        x, p = before.mean[was], before.cov[was]
        mean, cov, _ = joseph(x, p, row, 0.9 - x[SOC], 0.03**2)
        assert after.mean[k] == approx(mean, rel=1e-9, abs=1e-12)
        assert after.cov[k] == approx(cov, rel=1e-9, abs=1e-13)


def test_two_numbers_one_after_the_other_are_both_at_once():
    # conditioning a joint Gaussian: scalar updates in a row are one update with two rows
    before = mixture(9)
    bank = bank_of(cell_of(), before)
    bank.update_state(SOC, 0.5 - bank.mean[SOC], 1.0, 0.02**2)
    bank.update_state(HYST, 2.0 * (0.3 - bank.mean[HYST]), 2.0, 0.1**2)
    rows = np.zeros((2, STATES))
    rows[0, SOC], rows[1, HYST] = 1.0, 2.0
    for k, (x, p) in enumerate(zip(before.mean, before.cov, strict=True)):
        joint = rows @ p @ rows.T + np.diag([0.02**2, 0.1**2])
        gain = p @ rows.T @ np.linalg.inv(joint)
        mean = x + gain @ (np.array([0.5, 0.6]) - rows @ x)
        assert bank.mean[:, k] == approx(mean, rel=1e-9, abs=1e-12)
        assert bank.cov[:, :, k] == approx(p - gain @ rows @ p, rel=1e-9, abs=1e-13)
