"""Running a lead-acid pack down at constant power: the two wells of each draw, step by step.

As `discharge.py`, with what the faster discharge leaves in the bound well: the source voltage of a
cell is U(s) + shift + a ln(q1 / (c q)) - e (`pack/lead_acid/wells.py`), the current P / V, and the
charge that can be had hangs on the current and on what was drawn in the hours before.
"""

import numpy as np
import numpy.typing as npt

from analyzer.pack.lead_acid.wells import (
    LEAST_SHARE,
    Held,
    Wells,
    at_charge,
    available_ah,
    charge_frac,
    run_to_limit,
    surface_v,
)
from analyzer.range.pack_draws import MOST_S, SOC_GRID, Limits, PackDraws, RunDown
from logger.units import HOUR_S

Floats = npt.NDArray[np.float64]

LEAST_W = 0.1  # what is drawn counts as nothing below this


def state(pack: PackDraws, wells: Wells, soc: Floats) -> Held:
    """What the wells hold at a charge, with the lag that the pack has now. soc: (n, k)"""
    return at_charge(wells, soc, 0.0 if pack.lag_ah is None else pack.lag_ah[:, None])


def source_v(pack: PackDraws, wells: Wells, held: Held, behind: Floats | float = 0.0) -> Floats:
    """Voltage of a cell before its resistance, (n, k). [V]

    Args:
        wells: (n, 1).
        behind: Charge that the cell lacks against the mean one. [frac] (n, 1)
    """
    lower = Held(held.charge_ah - behind * wells.capacity_ah, held.lag_ah)
    rest = np.interp(charge_frac(wells, lower), SOC_GRID, pack.ocv_v)
    return np.asarray(rest + pack.shift_v[:, None] + surface_v(wells, lower))


def cell_current(pack: PackDraws, wells: Wells, held: Held, power_w: Floats) -> Floats:
    """Current at constant pack power, (n, k); the power's peak where the pack cannot give it."""
    volts = np.maximum(source_v(pack, wells, held), 0.0)
    resistance = pack.resistance_ohm[:, None]
    inside = volts**2 - 4 * resistance * power_w / pack.cells
    return np.asarray((volts - np.sqrt(np.maximum(inside, 0.0))) / (2 * resistance))


def margins(
    pack: PackDraws, wells: Wells, limits: Limits, motor_w: Floats, held: Held, amps: Floats
) -> Floats:
    """What is left to each of `LIMITS`' first four, (4, n, k); a limit has come at 0.

    Charge above the reserve; volts of the weakest cell, the controller and the mean cell above
    theirs. With the available well empty the cut-off has come, whatever else.
    """
    resistance = pack.resistance_ohm[:, None]
    extra = pack.weak_resistance_ohm[:, None]
    mean = source_v(pack, wells, held) - amps * resistance
    weak = source_v(pack, wells, held, pack.weak_deficit_frac[:, None]) - amps * (
        resistance + extra
    )
    at_hand = available_ah(wells, held) > LEAST_SHARE * wells.total_ah
    reserve = charge_frac(wells, held) - limits.reserve_frac
    pack_v = pack.cells * mean - amps * extra
    controller = np.full_like(mean, np.inf)
    if limits.controller_v is not None:
        there = pack_v - motor_w / np.maximum(pack_v, 1e-3) * limits.cable_ohm
        controller = (there - limits.controller_v) / pack.cells
    cut = np.where(at_hand, mean - limits.cell_cutoff_v, -1.0)
    return np.stack([reserve, weak - limits.cell_cutoff_v, controller, cut])


def run_down_wells(motor_w: Floats, power_w: Floats, pack: PackDraws, limits: Limits) -> RunDown:
    """Runs every draw's wells down at every power.

    Args:
        motor_w: Propulsion power, (n, k). [W]
        power_w: All that is drawn, at least 0, (n, k). [W]
    """
    assert pack.wells is not None
    wells = pack.wells.column()
    start = state(pack, wells, pack.soc[:, None])
    drawn = np.maximum(power_w, LEAST_W)
    reserve_ah = wells.total_ah - (1.0 - limits.reserve_frac) * wells.capacity_ah
    run = run_to_limit(
        wells,
        start,
        np.maximum(reserve_ah, 0.0),
        lambda held: cell_current(pack, wells, held, drawn),
        lambda held, amps: margins(pack, wells, limits, motor_w, held, amps),
    )
    idle = power_w < LEAST_W
    end = np.where(idle, pack.soc[:, None], np.clip(charge_frac(wells, run.held), 0.0, None))
    seconds = np.where(idle, MOST_S, np.minimum(run.hours * HOUR_S, MOST_S))
    return RunDown(np.minimum(end, pack.soc[:, None]), seconds, run.limit.astype(np.int64))
