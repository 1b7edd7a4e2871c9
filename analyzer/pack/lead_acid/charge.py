"""Charging a lead-acid cell: how much of the current stays, and when the cell is full.

Near the top a growing part of the current makes gas or heat. That part is no error of the shunt:
it is known only roughly, and so it is a doubt of the charge, not of the meter.
"""

import numpy as np
import numpy.typing as npt

from analyzer.pack.chemistry import REFERENCE_C, Floats

# Current of a full cell that makes gas or heat, at 2.23 and 2.40 V: 1 and 4 mA/Ah vented, 1 and
# 8 mA/Ah sealed (IEC 62485-2, typical values of float and boost current; cited from memory).
# Between and beyond exponential; doubling with 10 K is common practice, no source.
FLOAT_V, BOOST_V, FLOAT_A_PER_AH = 2.23, 2.40, 1e-3
BOOST_A_PER_AH = {
    "lead_acid": 4e-3,
    "agm": 8e-3,
    "gel": 8e-3,
}
DOUBLES_K = 10.0
# Share of the charging current that stays, below and above the voltages between which it falls.
# Flooded cells: 0.91 from empty to 84 %, 0.55 from 79 to 84 % (J. W. Stevens and G. P. Corey, "A
# study of lead-acid battery efficiency near top-of-charge", IEEE PVSC 1996; cited from memory);
# makers ask for 110 to 130 % back (flooded) and 110 to 120 % (sealed). The split is assumed.
EASY_V, GASSING_V = 2.30, 2.45
KEPT = {
    "lead_acid": (0.95, 0.65),
    "agm": (0.97, 0.85),
    "gel": (0.97, 0.85),
}
KEPT_SD = {
    "lead_acid": (0.03, 0.2),
    "agm": (0.02, 0.12),
    "gel": (0.02, 0.12),
}
# Chargers lower their voltage by 4 to 5 mV a cell and kelvin above 25 °C; makers' data sheets.
CHARGER_V_PER_K = -0.0045
GIVES_C = 0.01  # of the capacity an hour: a discharge, and no charger's ripple; assumed
FULL_FROM_V = 2.33  # absorption is set to 2.35 to 2.47 V a cell; makers' data sheets
FULL_TAIL_C = 0.04  # absorption ends at 1 to 4 % of the 20-hour capacity; makers' data sheets
FULL_SD = 0.03  # of the charge then; assumed
# While the voltage is held the current falls in proportion to the charge that is missing (J. A. Mas
# 1967, from memory), here from a tenth to a hundredth of the capacity an hour in the three hours
# that makers' charging guides give an absorption: ln(10) / 3.3 h.
ACCEPTANCE_PER_H = 0.7
# More than this no cell takes, however well it does. A charge at a fifth of the capacity an hour
# meets the absorption voltage at 75 to 85 % of charge, one at a tenth at 85 to 92 %: 0.7 to 1.3 an
# hour go into what is missing (common practice, no source). Thin plates take more: assumed.
MOST_ACCEPTANCE_PER_H = 2.0
# Plates take more than that for some minutes, on their surface; assumed.
ACCEPTED_S = 900.0
# While a cell is charged above this its voltage is the charger's, and says little of the charge:
# no published rest curve reaches it. Assumed.
CHARGER_V = 2.20
# What a charge leaves on the plates (a maker's block: 13.3 V at once, 13.0 V after hours), and how
# long it takes to fade at rest; common practice, no source.
SURFACE_V, SURFACE_S = 0.05, 7200.0


def gassing_a(kind: str, cell_v: Floats, temp_c: Floats, capacity_ah: float) -> Floats:
    """Current of a full cell, which stores nothing: gas and heat. [A] broadcast shape.

    Args:
        kind: "lead_acid" (flooded), "agm" or "gel".
        cell_v, temp_c: [V], [°C]
    """
    boost = BOOST_A_PER_AH[kind] / FLOAT_A_PER_AH
    # Tafel's law: the current grows by the same factor with each step of voltage
    up = np.log(boost) * (cell_v - FLOAT_V) / (BOOST_V - FLOAT_V)
    warm = np.log(2.0) * (temp_c - REFERENCE_C) / DOUBLES_K
    # a spoilt reading of many volts must not overflow
    factor = np.exp(np.minimum(up + warm, 6.0))
    return np.asarray(FLOAT_A_PER_AH * capacity_ah * factor)


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
    # Gassing begins at a lower voltage in a warm cell, as chargers allow for.
    at_25_v = np.asarray(cell_v, float) - _warmth_v(temp_c)
    volts = np.nan_to_num(at_25_v, nan=EASY_V)
    between = (EASY_V, GASSING_V)
    kept = np.interp(volts, between, KEPT[kind])
    doubt = np.interp(volts, between, KEPT_SD[kind])
    gas = gassing_a(kind, np.nan_to_num(cell_v, nan=FLOAT_V), temp_c, capacity_ah)
    # Little current at a high voltage is all gas: an absorption that goes on stores nothing.
    lost = np.minimum(gas / np.maximum(charging_a, 1e-9), 1.0)
    return np.asarray(np.minimum(kept, 1.0 - lost)), doubt


def _warmth_v(temp_c: Floats) -> Floats:
    """What a charger's voltage is moved by with the cells' temperature. [V]"""
    return np.asarray(CHARGER_V_PER_K * (np.asarray(temp_c) - REFERENCE_C))


def is_full(
    cell_v: Floats, charging_a: Floats, temp_c: Floats, capacity_ah: float
) -> npt.NDArray[np.bool_]:
    """Whether a cell is full: held at the charger's voltage while its current tails off. (n,)

    Args:
        cell_v: At the terminals, while charging. [V]
        charging_a: Into the cell; negative where it gives. [A]
    """
    tail = (charging_a >= 0.0) & (charging_a < FULL_TAIL_C * capacity_ah)
    return np.asarray(cell_v >= FULL_FROM_V + _warmth_v(temp_c)) & tail


def tailing_soc(charging_a: Floats, capacity_ah: float) -> Floats:
    """Charge of a cell held at the charger's voltage: s = 1 - I / (α C), α `ACCEPTANCE_PER_H`.

    Args:
        charging_a: Into the cell; what it gives counts as none. (n,) [A]
    """
    missing_ah = np.maximum(charging_a, 0.0) / ACCEPTANCE_PER_H
    return np.asarray(1.0 - missing_ah / capacity_ah)


def highest_soc(stored_a: Floats, capacity_ah: Floats) -> Floats:
    """Charge above which a cell would not take a current: s = 1 - I / (α C), broadcast shape.

    The nearer to full, the less a cell takes; here α is `MOST_ACCEPTANCE_PER_H`.

    Args:
        stored_a: Into the cell, without what makes gas, over `ACCEPTED_S`; at least 0. [A]
    """
    return np.asarray(1.0 - stored_a / (MOST_ACCEPTANCE_PER_H * capacity_ah))


def charge_doubt(charging_a: Floats, doubt: Floats, step_h: float, capacity_ah: float) -> Floats:
    """Variance that each reading of a charge adds to what the cell holds. [frac²] (n,)

    The share that stays is off by the same all through a charge, so that the doubt grows with the
    charge put in, not with its root; a discharge ends it.

    Args:
        charging_a: Into the cell; negative where it gives. (n,) [A]
        doubt: Standard deviation of the share that stays, (n,).
    """
    put_in = np.maximum(charging_a, 0.0) * doubt * step_h / capacity_ah
    so_far = np.cumsum(put_in)
    ended = charging_a < -GIVES_C * capacity_ah
    at_last_end = np.maximum.accumulate(np.where(ended, so_far, 0.0))
    since = so_far - at_last_end
    grown = np.diff(since**2, prepend=0.0)
    # where a discharge ends a charge the square falls: what was doubted stays in the variance
    return np.asarray(np.maximum(grown, 0.0))
