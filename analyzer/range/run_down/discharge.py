"""Running a pack down at constant power until the first limit, for many draws at once.

Each draw is a mean cell (open-circuit curve, one lumped resistance once polarisation has settled,
which takes minutes where a run-down takes hours), a weakest cell beside it, and the cable to the
controller. Every voltage limit at constant power has a closed form: the current at the limit
follows from the voltage there, the open-circuit voltage needed from the current, and the charge
from the open-circuit curve. Time is charge over current between the two states of charge.

Source: equivalent-circuit model (textbook), I = P / V.
"""

import numpy as np
import numpy.typing as npt

from analyzer.pack.cell_model import Chemistry
from analyzer.range.run_down.pack_draws import LIMITS, MOST_S, SOC_GRID, Limits, PackDraws, RunDown
from analyzer.range.run_down.wells import (
    cell_current,
    current_at_power,
    run_down_wells,
    state,
)
from logger.units import HOUR_S

__all__ = ["LIMITS", "SOC_GRID", "Limits", "PackDraws", "RunDown", "cell_current_a", "run_down"]

Floats = npt.NDArray[np.float64]

# Gauss-Legendre nodes and weights on [0, 1], 4 points (Abramowitz and Stegun 25.4.29).
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(4)
NODES, SHARES = (_NODES + 1) / 2, _WEIGHTS / 2


CHARGING_V = 3.3  # of a cell that the sun charges on the way (assumed, that of LFP)
LEAST_A = 1e-6  # divides where nothing is drawn; assumed


def ocv_table(kind: Chemistry, temp_c: float) -> Floats:
    """Open-circuit voltage at `SOC_GRID` on the discharge branch, never falling, shape (g,)."""
    table = kind.ocv_v(SOC_GRID, temp_c=temp_c, hysteresis=-1.0)
    rising = 1e-7 * np.arange(len(SOC_GRID))
    return np.maximum.accumulate(table + rising)


def _soc_for(needed_v: Floats, pack: PackDraws) -> Floats:
    """Charge at which the open-circuit voltage is what is needed; 1.5 where it never is."""
    on_curve_v = needed_v - pack.shift_v[:, None]
    soc = np.interp(on_curve_v, pack.ocv_v, SOC_GRID, left=0.0, right=1.5)
    return np.asarray(soc)


def cell_current_a(power_w: Floats, soc: Floats, pack: PackDraws) -> Floats:
    """Current at constant pack power; the power's peak where the pack cannot give it. [A]"""
    if pack.wells is not None:
        wells = pack.wells.column()
        return cell_current(pack, wells, state(pack, wells, soc), power_w)
    ohm = pack.resistance_ohm[:, None]
    ocv_v = np.interp(soc, SOC_GRID, pack.ocv_v)
    ocv_v = ocv_v + pack.shift_v[:, None]
    return current_at_power(ocv_v, ohm, power_w / pack.cells)


def after_s(pack: PackDraws, power_w: Floats, soc: Floats, seconds: Floats) -> Floats:
    """Charge after so long at a power, (n,); charging where the sun gives more than is used.

    By the midpoint rule (textbook): the current is that of the middle's charge.
    """
    drawn_w = np.maximum(power_w, 0.0)[:, None]
    per_a = seconds / HOUR_S / pack.capacity_ah
    begin_a = cell_current_a(drawn_w, soc[:, None], pack)[:, 0]
    middle = soc - begin_a * per_a / 2
    middle = np.maximum(middle, 0.0)
    drawn_a = cell_current_a(drawn_w, middle[:, None], pack)[:, 0]
    charging_v = pack.cells * CHARGING_V
    current_a = np.where(power_w < 0, power_w / charging_v, drawn_a)
    left = soc - current_a * per_a
    return np.asarray(np.minimum(left, 1.0))


def _cutoff_soc(power_w: Floats, pack: PackDraws, limits: Limits) -> Floats:
    """Charge at which the pack's mean cell reaches the cut-off, shape (n, k)."""
    cutoff_v = limits.cell_cutoff_v
    current_a = power_w / (pack.cells * cutoff_v)
    sag_v = current_a * pack.resistance_ohm[:, None]
    return _soc_for(cutoff_v + sag_v, pack)


def _weak_soc(power_w: Floats, pack: PackDraws, limits: Limits, start: Floats) -> Floats:
    """Mean cell's charge at which the weakest cell reaches the cut-off, shape (n, k)."""
    resistance = pack.resistance_ohm + pack.weak_resistance_ohm
    resistance = resistance[:, None]
    deficit = pack.weak_deficit_frac[:, None]
    soc = start
    for _ in range(3):
        sag_v = cell_current_a(power_w, soc, pack) * resistance
        weak = _soc_for(limits.cell_cutoff_v + sag_v, pack)
        soc = np.clip(weak + deficit, start, 1.5)
    return soc


def _controller_soc(motor_w: Floats, power_w: Floats, pack: PackDraws, limits: Limits) -> Floats:
    """Charge at which the controller's terminals reach its limit, shape (n, k)."""
    if limits.controller_v is None:
        return np.zeros_like(power_w)
    # V at the pack: V - R_cable P_motor / V = V_controller.
    root = np.sqrt(limits.controller_v**2 + 4 * limits.cable_ohm * motor_w)
    pack_v = (limits.controller_v + root) / 2
    current_a = power_w / pack_v
    extra_ohm = pack.weak_resistance_ohm / pack.cells
    ohm = (pack.resistance_ohm + extra_ohm)[:, None]
    cell_v = pack_v / pack.cells
    sag_v = current_a * ohm
    return _soc_for(cell_v + sag_v, pack)


def run_down(motor_w: Floats, other_w: Floats, pack: PackDraws, limits: Limits) -> RunDown:
    """Runs every draw down at every power.

    Args:
        motor_w: Propulsion power, shape (n, k). [W]
        other_w: Hotel less sun, shape (n, k) or (n, 1); negative where the sun gives more. [W]
    Returns:
        The ends. Where nothing is drawn the run lasts `MOST_S`.
    """
    power = np.maximum(motor_w + other_w, 0.0)
    if pack.wells is not None:
        return run_down_wells(motor_w, power, pack, limits)
    cut = _cutoff_soc(power, pack, limits)
    ends = np.stack(
        [
            np.full_like(power, limits.reserve_frac),
            _weak_soc(power, pack, limits, cut),
            _controller_soc(motor_w, power, pack, limits),
            cut,
        ]
    )
    limit = np.argmax(ends, axis=0).astype(np.int64)
    start = pack.soc[:, None]
    end = np.clip(np.max(ends, axis=0), 0.0, None)
    duration_s = _duration_s(power, start, end, pack)
    return RunDown(np.minimum(end, start), np.minimum(duration_s, MOST_S), limit)


def _duration_s(power_w: Floats, start: Floats, end: Floats, pack: PackDraws) -> Floats:
    """Time between two charges at constant power: t = C integral of ds / I(s), (n, k). [s]"""
    span = np.maximum(start - end, 0.0)
    mean_per_a = np.zeros_like(power_w)
    for node, share in zip(NODES, SHARES, strict=True):
        current_a = cell_current_a(power_w, end + span * node, pack)
        mean_per_a += share / np.maximum(current_a, LEAST_A)
    charge_as = pack.capacity_ah[:, None] * HOUR_S * span
    return np.asarray(charge_as * mean_per_a)
