"""The closed-form run-down against a pack stepped through time, limit by limit."""

import math
from itertools import product

import numpy as np
import pytest

from analyzer.pack.chemistry import chemistry
from analyzer.range.run_down.discharge import (
    LIMITS,
    SOC_GRID,
    Limits,
    PackDraws,
    cell_current_a,
    ocv_table,
    run_down,
)

OCV_V = ocv_table(chemistry("lfp"), 25.0)
SLOPED_V = 2.9 + 0.5 * SOC_GRID  # a cell whose voltage tells its charge
CELLS, STEP_S = 16, 5.0


def pack(soc, ohm, weak_ohm, deficit, shift, capacity_ah, ocv=OCV_V) -> PackDraws:
    """One or several packs; every argument is a number or an array of shape (n,)."""
    arrays = np.broadcast_arrays(soc, capacity_ah, ohm, weak_ohm, deficit, shift)
    return PackDraws(*(np.atleast_1d(np.asarray(a, float)) for a in arrays), CELLS, ocv)


def current_a(volts: float, ohm: float, watts: float) -> float:
    """Root of I·(V - I·R) = P that a battery settles on; the power's peak beyond it."""
    inside = max(volts**2 - 4 * ohm * watts, 0.0)
    return (volts - math.sqrt(inside)) / (2 * ohm)


def first_limit(soc, p: PackDraws, i: int, limits: Limits, motor_w: float, power_w: float):
    """Name of a limit that is passed at this charge, else None; and the current."""
    volts = float(np.interp(soc, SOC_GRID, p.ocv_v)) + p.shift_v[i]
    amps = current_a(volts, p.resistance_ohm[i], power_w / CELLS)
    mean = volts - amps * p.resistance_ohm[i]
    weak = float(np.interp(soc - p.weak_deficit_frac[i], SOC_GRID, p.ocv_v)) + p.shift_v[i]
    weak -= amps * (p.resistance_ohm[i] + p.weak_resistance_ohm[i])
    terminals = CELLS * mean - amps * p.weak_resistance_ohm[i]
    there = terminals - motor_w / terminals * limits.cable_ohm
    if soc <= limits.reserve_frac:
        return "reserve", amps
    if limits.controller_v is not None and there < limits.controller_v:
        return "controller cutback", amps
    # an equal weakest cell and the mean cell get there together: the weakest is named
    if weak < limits.cell_cutoff_v:
        return "weakest cell's cut-off", amps
    return ("pack cut-off" if mean < limits.cell_cutoff_v else None), amps


def stepped(p: PackDraws, i: int, limits: Limits, motor_w: float, other_w: float):
    """Seconds, end charge and limit by walking through time, every limit tested at each step."""
    soc, t, power = float(p.soc[i]), 0.0, max(motor_w + other_w, 0.0)
    while True:
        name, amps = first_limit(soc, p, i, limits, motor_w, power)
        if name:
            return t, soc, name
        soc -= amps * STEP_S / 3600 / p.capacity_ah[i]
        t += STEP_S


def check(p: PackDraws, limits: Limits, motor_w, other_w) -> set[str]:
    """Every draw at every power against the stepping; returns the limits met."""
    run = run_down(motor_w, other_w, p, limits)
    met = set()
    for i, k in np.ndindex(motor_w.shape):
        other = float(np.broadcast_to(other_w, motor_w.shape)[i, k])
        seconds, soc, name = stepped(p, i, limits, float(motor_w[i, k]), other)
        assert run.end_soc[i, k] == pytest.approx(soc, abs=0.0015), (i, k, name)
        assert run.duration_s[i, k] == pytest.approx(seconds, rel=0.006, abs=2 * STEP_S), name
        if seconds > 0:
            assert LIMITS[run.limit[i, k]] == name
        met.add(name)
    return met


WEAK = {"alike": (0.0, 0.0), "resistance": (0.003, 0.0), "empty": (0.0, 0.16), "both": (0.002, 0.1)}
CUTBACK = {"none": (None, 0.0), "near": (47.5, 0.002), "far cable": (46.5, 0.012)}


@pytest.mark.parametrize(
    ("weak", "cutback", "reserve"), list(product(WEAK, CUTBACK, (0.0, 0.1, 0.35)))
)
def test_every_combination_of_limits_equals_stepping(weak, cutback, reserve):
    ohm, deficit = WEAK[weak]
    p = pack(0.92, [0.0006, 0.0011], ohm, deficit, [0.0, 0.012], [110.0, 93.0])
    limits = Limits(reserve, 2.75, *CUTBACK[cutback])
    motor = np.array([[1400.0, 5200.0], [1900.0, 4700.0]])
    check(p, limits, motor, np.array([[260.0], [-150.0]]))


def test_every_limit_is_met_by_some_combination():
    met = set()
    for (ohm, deficit), controller in product(WEAK.values(), CUTBACK.values()):
        p = pack(0.92, 0.0009, ohm, deficit, 0.0, 100.0)
        power = np.array([[1500.0, 5500.0]])
        for reserve in (0.0, 0.35):
            run = run_down(power, np.zeros((1, 1)), p, Limits(reserve, 2.75, *controller))
            met |= {LIMITS[k] for k in run.limit.ravel()}
    assert met == {"reserve", "weakest cell's cut-off", "controller cutback"}


@pytest.mark.parametrize("seed", range(6))
def test_random_packs_with_a_sloping_cell_equal_stepping(seed):
    rng = np.random.default_rng(seed)
    n = 4
    p = pack(
        rng.uniform(0.4, 1.0, n),
        rng.uniform(0.0003, 0.002, n),
        rng.choice([0.0, 0.001, 0.003], n),
        rng.choice([0.0, 0.05, 0.2], n),
        rng.normal(0.0, 0.01, n),
        rng.uniform(60.0, 140.0, n),
        SLOPED_V,
    )
    controller = rng.choice([None, 46.0, 48.0])
    limits = Limits(rng.uniform(0.0, 0.3), rng.uniform(2.8, 3.0), controller, 0.006)
    check(p, limits, rng.uniform(800.0, 4500.0, (n, 3)), rng.uniform(-200.0, 300.0, (n, 1)))


def test_a_linear_cell_has_the_weak_cells_end_in_closed_form():
    # without resistance the weak cell stands at the cut-off at (V - 2.9)/0.5 of its own charge
    p = pack(0.9, 1e-9, 0.0, 0.13, 0.0, 100.0, SLOPED_V)
    run = run_down(np.array([[1000.0]]), np.zeros((1, 1)), p, Limits(0.0, 3.0))
    assert run.end_soc[0, 0] == pytest.approx(0.2 + 0.13, abs=1e-6)
    # charge over current: each slice of charge lasts Q·dV/P; the mean voltage runs 3.065 to 3.35
    want_s = CELLS * 100 * 3600 * (0.9 - 0.33) * (3.065 + 3.35) / 2 / 1000.0
    assert run.duration_s[0, 0] == pytest.approx(want_s, rel=2e-4)


def test_current_gives_back_the_power():
    rng = np.random.default_rng(5)
    p = pack(rng.uniform(0.2, 1.0, 40), rng.uniform(3e-4, 2e-3, 40), 0.0, 0.0, 0.007, 100.0)
    power = rng.uniform(50.0, 9000.0, (40, 3))
    soc = rng.uniform(0.1, 1.0, (40, 3))
    amps = cell_current_a(power, soc, p)
    volts = np.interp(soc, SOC_GRID, p.ocv_v) + 0.007 - amps * p.resistance_ohm[:, None]
    ok = volts > amps * p.resistance_ohm[:, None] * 1.001  # short of the power's peak
    assert ok.mean() > 0.8
    np.testing.assert_allclose((CELLS * amps * volts)[ok], power[ok], rtol=1e-9)
