"""The states of the charge filter, and what it takes in at each step."""

from collections.abc import Iterator
from dataclasses import dataclass, field, fields

import numpy as np
import numpy.typing as npt

from analyzer.pack.curves.doubt import KNOTS

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

# Order of the states: charge; level of the curve [V]; a slow random walk of the polarisation that
# no pair describes [V]; logarithms of the fast and slow resistance over the parameters'; offset of
# the shunt [A]; logarithm of capacity over the parameters'; relative size of the hysteresis gap;
# hysteresis, -1 to 1; charge at which this boat's charges end, less what the label and the voltage
# say there; from CURVE on the error of the curve at KNOTS [V].
SOC, SHIFT, WALK, FAST, SLOW, OFFSET, LN_Q, GAP, HYST, FULL, CURVE = range(11)
STATES = CURVE + len(KNOTS)


@dataclass(slots=True)
class FilterStep:
    """One step's sums over its readings. Voltages are of the mean cell.

    Args:
        charge_as: Net charge out of the cell that counts as stored charge. [A·s]
        length_s, lost_s: Of the step, and of it without a current.
        hyst_keep, hyst_drift: Hysteresis h becomes hyst_keep·h + hyst_drift.
        mean_v: Mean terminal voltage; NaN where none.
        r0_v, u1_v, u2_v: Mean losses with the parameters as they stand.
        load_cov: Sums over the step of products of deviations from its means: v·r0, v·u1, r0²,
            r0·u1, u1², r0·charge, u1·charge.
        r0_ohm: At the step's temperature.
        gap_factor: Hysteresis gap over that at 25 °C.
        temp_shift_v: Curve's shift with temperature.
        loss_sd: Relative sd of the losses away from 25 °C, beside the factors' own.
        jumps_v2: Variance of the voltage inside the step that no load explains. [V²]
    """

    charge_as: float
    length_s: float
    lost_s: float
    hyst_keep: float
    hyst_drift: float
    mean_v: float
    r0_v: float
    u1_v: float
    u2_v: float
    load_cov: tuple[float, ...]
    r0_ohm: float
    gap_factor: float
    temp_shift_v: float
    loss_sd: float = 0.0
    jumps_v2: float = 0.0


@dataclass(frozen=True)
class Losses:
    """Voltage lost in the mean cell's circuit, parameters as they stand; all (n,). [V], [°C]"""

    temp_c: Floats
    r0_v: Floats
    u1_v: Floats
    u2_v: Floats


@dataclass
class FilterInputs:
    """What the filter takes in, arrays of steps (m,) and of readings (n,).

    Args:
        charge_as, length_s, lost_s, hyst_keep, hyst_drift, mean_v, r0_v, u1_v, u2_v, r0_ohm,
            gap_factor, temp_shift_v, loss_sd, jumps_v2: As in `FilterStep`, (m,).
        load_cov: Likewise, (m, 7).
        temp_c: At the step's beginning, (m,).
        charge_var: What gaps and charge efficiency add to the charge's variance, (m,).
        at_top: Charged at the top voltage with little current, (m,).
        full_soc: Charge that a charge which ends there means; NaN where it says nothing, (m,).
        at_bottom: Discharged to the voltage at which the label ends, (m,).
        by_charger: The voltage is the charger's alone (lead-acid), (m,).
        step_of: Each reading's step, (n,).
        losses: Of each reading.
        noise: Process noise, variances of the states, (m, states).
    """

    charge_as: Floats
    length_s: Floats
    lost_s: Floats
    hyst_keep: Floats
    hyst_drift: Floats
    mean_v: Floats
    r0_v: Floats
    u1_v: Floats
    u2_v: Floats
    load_cov: Floats
    r0_ohm: Floats
    gap_factor: Floats
    temp_shift_v: Floats
    loss_sd: Floats
    jumps_v2: Floats
    temp_c: Floats
    charge_var: Floats
    at_top: Bools
    full_soc: Floats
    by_charger: Bools
    step_of: Ints
    losses: Losses
    at_bottom: Bools = field(default_factory=lambda: np.zeros(0, dtype=bool))
    noise: Floats = field(default_factory=lambda: np.zeros((0, STATES)))

    def steps(self) -> Iterator[FilterStep]:
        """Step after step, as plain numbers."""
        # plain numbers: arithmetic on numpy's scalars is several times slower
        columns = [getattr(self, column.name).tolist() for column in fields(FilterStep)]
        for row in zip(*columns, strict=True):
            yield FilterStep(*row)
