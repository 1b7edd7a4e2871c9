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
from analyzer.range.run_down.pack_draws import MOST_S, SOC_GRID, Limits, PackDraws, RunDown
from logger.units import HOUR_S

Floats = npt.NDArray[np.float64]

LEAST_W = 0.1  # what is drawn counts as nothing below this; assumed


def state(pack: PackDraws, wells: Wells, soc: Floats) -> Held:
    """What the wells hold at a charge, with the lag that the pack has now. soc: (n, k)"""
    return at_charge(wells, soc, 0.0 if pack.lag_ah is None else pack.lag_ah[:, None])


def source_v(pack: PackDraws, wells: Wells, held: Held, behind: Floats | float = 0.0) -> Floats:
    """Voltage of a cell before its resistance, (n, k). [V]

    Args:
        wells: (n, 1).
        behind: Charge that the cell lacks against the mean one. [frac] (n, 1)
    """
    missing_ah = behind * wells.capacity_ah
    lower = Held(held.charge_ah - missing_ah, held.lag_ah)
    soc = charge_frac(wells, lower)
    rest_v = np.interp(soc, SOC_GRID, pack.ocv_v) + pack.shift_v[:, None]
    return np.asarray(rest_v + surface_v(wells, lower))


def current_at_power(source_v: Floats, ohm: Floats, power_w: Floats) -> Floats:
    """Current of one cell at constant power: the smaller root of (U - I R) I = P. [A]

    U / 2R, the current of the power's peak, where the cell cannot give that power.
    """
    root_v = np.sqrt(np.maximum(source_v**2 - 4 * ohm * power_w, 0.0))
    return np.asarray((source_v - root_v) / (2 * ohm))


def cell_current(pack: PackDraws, wells: Wells, held: Held, power_w: Floats) -> Floats:
    """Current at constant pack power, (n, k); the power's peak where the pack cannot give it."""
    volts = np.maximum(source_v(pack, wells, held), 0.0)
    return current_at_power(volts, pack.resistance_ohm[:, None], power_w / pack.cells)


def margins(
    pack: PackDraws, wells: Wells, limits: Limits, motor_w: Floats, held: Held, amps: Floats
) -> Floats:
    """What is left to each of `LIMITS`' first four, (4, n, k); a limit has come at 0.

    Charge above the reserve; volts of the weakest cell, the controller and the mean cell above
    theirs. With the available well empty the cut-off has come, whatever else.
    """
    cutoff_v = limits.cell_cutoff_v
    sag_v = amps * pack.resistance_ohm[:, None]
    extra_v = amps * pack.weak_resistance_ohm[:, None]
    own_v = source_v(pack, wells, held)
    mean_v = own_v - sag_v
    behind = pack.weak_deficit_frac[:, None]
    # mostly no cell lacks charge: the wells' costliest look-up is then the same
    weakest_v = source_v(pack, wells, held, behind) if behind.any() else own_v
    weak_v = weakest_v - sag_v - extra_v
    reserve = charge_frac(wells, held) - limits.reserve_frac
    controller = np.full_like(mean_v, np.inf)
    if limits.controller_v is not None:
        pack_v = pack.cells * mean_v - extra_v
        cable_v = motor_w / np.maximum(pack_v, 1e-3) * limits.cable_ohm
        controller = (pack_v - cable_v - limits.controller_v) / pack.cells
    at_hand = available_ah(wells, held) > LEAST_SHARE * wells.total_ah
    cut = np.where(at_hand, mean_v - cutoff_v, -1.0)
    return np.stack([reserve, weak_v - cutoff_v, controller, cut])


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
    usable_ah = (1.0 - limits.reserve_frac) * wells.capacity_ah
    reserve_ah = wells.total_ah - usable_ah
    run = run_to_limit(
        wells,
        start,
        np.maximum(reserve_ah, 0.0),
        lambda held: cell_current(pack, wells, held, drawn),
        lambda held, amps: margins(pack, wells, limits, motor_w, held, amps),
    )
    idle = power_w < LEAST_W
    now = pack.soc[:, None]
    left = np.maximum(charge_frac(wells, run.held), 0.0)
    seconds = np.minimum(run.hours * HOUR_S, MOST_S)
    return RunDown(
        end_soc=np.where(idle, now, np.minimum(left, now)),
        duration_s=np.where(idle, MOST_S, seconds),
        limit=run.limit.astype(np.int64),
    )
