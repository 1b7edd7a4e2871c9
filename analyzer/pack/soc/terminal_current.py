"""Current at the mean cell's terminals: gaps bridged, and the part of it that is stored."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.pack.cell_model import Cell
from analyzer.pack.chemistry import LEAD, Chemistry
from analyzer.pack.lead_acid.charge import CHARGER_V, accepted, charge_doubt
from analyzer.series.derived import held_current_a
from analyzer.series.series import Series
from logger.units import HOUR_S

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

LOST_C = 0.03  # sd of the current while it is not measured, as a share of Ah; assumed
# A gap up to this long: the load beside it, over BESIDE_S, most likely went on. Assumed.
BRIDGED_S = 2 * HOUR_S
BESIDE_S = 300.0


@dataclass(frozen=True)
class TerminalCurrent:
    """Current out of the mean cell, gaps bridged; all (n,).

    Args:
        amps, lost: At the terminals; where it was not measured. [A]
        stored_a: Of it what counts as stored charge, charge efficiency applied. [A]
        charge_var: Added to the variance of the charge by gap and charge efficiency. [frac²]
        by_charger: The voltage is the charger's alone.
    """

    amps: Floats
    lost: Bools
    stored_a: Floats
    charge_var: Floats
    by_charger: Bools


def terminal_current(
    series: Series, cell: Cell, sign: float, volts: Floats, temp_c: Floats
) -> TerminalCurrent:
    """Current with its gaps bridged, and what of it is stored.

    Args:
        volts, temp_c: Of the mean cell, (n,).
    """
    ah = cell.params.capacity_ah
    held, lost = held_current_a(series)
    amps, charge_var = _bridged(sign * held, lost, series.step_s, ah)
    kept, kept_sd, by_charger = _charge_efficiency(cell.kind, -amps, volts, temp_c, ah)
    # what goes in is not all stored; what comes out was
    stored = np.where(amps < 0, amps * kept, amps)
    step_h = series.step_s / HOUR_S
    charge_var = charge_var + charge_doubt(-amps, kept_sd, step_h, ah)
    return TerminalCurrent(amps, lost, stored, charge_var, by_charger)


def _charge_efficiency(
    kind: Chemistry, charging_a: Floats, cell_v: Floats, temp_c: Floats, ah: float
) -> tuple[Floats, Floats, Bools]:
    """Share of a charging current that stays, its standard deviation, and where the voltage is the
    charger's alone, (n,) each."""
    if kind.name not in LEAD:
        # lithium loses so little that its doubt is the count's own
        same = np.ones(len(charging_a))
        return kind.charge_efficiency * same, np.zeros_like(same), same < 0
    inwards = np.maximum(charging_a, 0.0)
    kept, doubt = accepted(kind.name, inwards, cell_v, temp_c, ah)
    by_charger = (charging_a > 0) & (np.nan_to_num(cell_v) > CHARGER_V)
    return kept, doubt, by_charger


def _bridged(amps: Floats, lost: Bools, step_s: float, ah: float) -> tuple[Floats, Floats]:
    """The current with its gaps bridged, and what each reading of a gap adds to the variance of
    the charge, (n,) both. What a long gap adds is not a variance: `after_gap.py`.

    In a short gap the load most likely goes on as on both sides of it; by how much it does not is
    one error for the whole gap, so that the doubt grows with its length, not with its root.
    """
    inside = np.r_[False, lost, False].astype(int)
    edges = np.flatnonzero(np.diff(inside))
    near = max(round(BESIDE_S / step_s), 1)
    amps = amps.copy()
    var = np.zeros(len(amps))
    begins, ends = edges[::2].tolist(), edges[1::2].tolist()
    for begin, end in zip(begins, ends, strict=True):
        if (end - begin) * step_s > BRIDGED_S:
            continue
        before_a = _mean(amps[max(begin - near, 0) : begin])
        after_a = _mean(amps[end : end + near])
        amps[begin:end], sd_a = load_between(before_a, after_a, ah)
        hours = np.arange(end - begin + 1) * step_s / HOUR_S
        var[begin:end] = np.diff((sd_a / ah * hours) ** 2)
    return amps, var


def load_between(before_a: float, after_a: float, ah: float) -> tuple[float, float]:
    """Mean current of a short gap and its standard deviation, by the loads beside it. [A]"""
    # the load may have been off all the time, or on all the time
    most_a = max(abs(before_a), abs(after_a))
    return 0.5 * (before_a + after_a), float(np.hypot(LOST_C * ah, most_a))


def _mean(amps: Floats) -> float:
    """Mean current, none where there are no readings (a log's ends). [A]"""
    return float(amps.mean()) if len(amps) else 0.0
