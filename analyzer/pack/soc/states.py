"""The states of the charge filter, and what it takes in at each step."""

from dataclasses import dataclass

from analyzer.pack.chemistry import KNOTS

# Order of the states: charge; level of the curve [V]; a slow random walk of the polarisation that
# no pair describes [V]; logarithms of the fast and slow resistance over the parameters'; offset of
# the shunt [A]; logarithm of capacity over the parameters'; relative size of the hysteresis gap;
# hysteresis, -1 to 1; from CURVE on the error of the curve at KNOTS [V].
SOC, SHIFT, WALK, FAST, SLOW, OFFSET, LN_Q, GAP, HYST, CURVE = range(10)
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
