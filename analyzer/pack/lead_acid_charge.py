"""Charging a lead-acid cell: how much of the current stays, and when the cell is full.

Near the top a growing part of the current makes gas or heat. That part is no error of the shunt:
it is known only roughly, and so it is a doubt of the charge, not of the meter.
"""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

REFERENCE_C = 25.0
# Gassing current, I = I0 Q / 100 Ah exp(11 (U - 2.23 V) + 0.06 (T - 20 °C)): J. Schiffer et al.,
# J. Power Sources 168 (2007) 66, with I0 20 mA for flooded and 10 mA for sealed cells, when new.
GAS_A_PER_AH = {"lead_acid": 2e-4, "agm": 1e-4, "gel": 1e-4}
GAS_PER_V, GAS_PER_K, GAS_V, GAS_C = 11.0, 0.06, 2.23, 20.0
# Share of the charging current that stays, below and above the voltages between which it falls.
# Flooded cells: 0.91 from empty to 84 %, 0.55 from 79 to 84 % (J. W. Stevens and G. P. Corey, "A
# study of lead-acid battery efficiency near top-of-charge", IEEE PVSC 1996; cited from memory);
# makers ask for 110 to 130 % back (flooded) and 110 to 120 % (sealed). The split is assumed.
EASY_V, GASSING_V = 2.30, 2.45
KEPT = {"lead_acid": (0.95, 0.65), "agm": (0.97, 0.85), "gel": (0.97, 0.85)}
KEPT_SD = {"lead_acid": (0.03, 0.2), "agm": (0.02, 0.12), "gel": (0.02, 0.12)}
# Chargers lower their voltage by 4 to 5 mV a cell and kelvin above 25 °C; makers' sheets.
CHARGER_V_PER_K = -0.0045
FULL_FROM_V = 2.33  # absorption is set to 2.35 to 2.47 V a cell; makers' sheets
FULL_TAIL_C = 0.04  # makers end absorption at 1 to 4 % of the 20-hour capacity
FULL_SD = 0.03  # of the charge then; assumed


def gassing_a(kind: str, cell_v: Floats, temp_c: Floats, capacity_ah: float) -> Floats:
    """Current that only makes gas. [A] broadcast shape.

    Args:
        kind: "lead_acid" (flooded), "agm" or "gel".
        cell_v, temp_c: [V], [°C]
    """
    rise = GAS_PER_V * (cell_v - GAS_V) + GAS_PER_K * (temp_c - GAS_C)
    return np.asarray(GAS_A_PER_AH[kind] * capacity_ah * np.exp(np.minimum(rise, 10.0)))


def accepted(
    kind: str, charging_a: Floats, cell_v: Floats, temp_c: Floats, capacity_ah: float
) -> tuple[Floats, Floats]:
    """Share of a charging current that stays in the cell, and its standard deviation.

    Args:
        charging_a: Into the cell, at least 0. [A] (n,)
        cell_v: NaN where it was not measured; then as below the gassing voltage. [V] (n,)
    Returns:
        [frac] (n,) both. The doubt is one error over a whole charge, not one of each reading.
    """
    moved = np.asarray(cell_v, float) - CHARGER_V_PER_K * (np.asarray(temp_c) - REFERENCE_C)
    volts = np.nan_to_num(moved, nan=EASY_V)
    kept, doubt = (
        np.interp(volts, (EASY_V, GASSING_V), ends) for ends in (KEPT[kind], KEPT_SD[kind])
    )
    gas = gassing_a(kind, np.nan_to_num(cell_v, nan=GAS_V), temp_c, capacity_ah)
    lost = np.minimum(gas / np.maximum(charging_a, 1e-9), 1.0)
    return np.asarray(np.minimum(kept, 1.0 - lost)), doubt


def is_full(
    cell_v: Floats, charging_a: Floats, temp_c: Floats, capacity_ah: float
) -> npt.NDArray[np.bool_]:
    """Whether a cell is full: held at the charger's voltage while its current tails off. (n,)

    Args:
        cell_v: At the terminals, while charging. [V]
        charging_a: Into the cell; negative where it gives. [A]
    """
    from_v = FULL_FROM_V + CHARGER_V_PER_K * (np.asarray(temp_c) - REFERENCE_C)
    tail = (charging_a >= 0.0) & (charging_a < FULL_TAIL_C * capacity_ah)
    return np.asarray((cell_v >= from_v) & tail)
