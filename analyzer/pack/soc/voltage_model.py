"""The mean cell's terminal voltage as the charge filter models it, and how far that may be off."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.pack.chemistry import Chemistry
from analyzer.pack.curves.doubt import KNOTS
from analyzer.pack.soc.states import (
    CURVE,
    FAST,
    GAP,
    HYST,
    OFFSET,
    SHIFT,
    SLOW,
    SOC,
    WALK,
    FilterStep,
)

Floats = npt.NDArray[np.float64]

# Tables by charge reach beyond empty and full, where END_SLOPE_V [V per unit of charge] is added
# so that a component is pushed back inside. Assumed.
TABLE_STEP, TABLE_LOW, TABLE_HIGH = 1e-3, -0.2, 1.2
END_SLOPE_V = 4.0
LEAST_SLOPE = 0.3  # the curve's slope is at least this share of the published; assumed
MOST_SLOPE_SD = 0.2  # V per unit of charge; assumed
KNOT_WIDTHS = np.diff(KNOTS)


@dataclass(slots=True)
class CurvePoint:
    """The tables by charge where the components stand, and each one's place among `KNOTS`. (m,)"""

    ocv_v: Floats
    slope: Floats
    half_gap_v: Floats
    fast_shape: Floats
    slow_shape: Floats
    knot: npt.NDArray[np.int64]  # state of the knot below
    part: Floats  # of the way to the next
    width: Floats  # of charge between the two


class VoltageModel:
    """Of one cell, for all components of a mixture at once."""

    def __init__(self, kind: Chemistry) -> None:
        self.kind = kind
        self.tables = _tables(kind)

    def row(self, soc: float) -> int:
        """Column of the charge tables for a charge."""
        return int(min(max(soc - TABLE_LOW, 0.0) / TABLE_STEP, self.tables.shape[1] - 1))

    def at(self, soc: Floats) -> CurvePoint:
        """The charge tables at the components' charges, shape (m,)."""
        # a look-up instead of an interpolation: half a table's step is far below any doubt
        column = ((soc - TABLE_LOW) * (1 / TABLE_STEP)).astype(np.int64)
        rows = self.tables.take(column, axis=1, mode="clip")
        ocv_v, slope, half_gap_v, fast, slow, place = rows
        below = place.astype(np.int64)
        width = KNOT_WIDTHS[below]
        return CurvePoint(ocv_v, slope, half_gap_v, fast, slow, CURVE + below, place - below, width)

    def predict(self, mean: Floats, step: FilterStep, at: CurvePoint) -> tuple[Floats, Floats]:
        """Terminal voltage (m,) and its Jacobian by the states (states, m).

        V = OCV(s) + g(s)·h + e(s) + shift + w - k_fast·(R0·(I - I0) + u1) - k_slow·u2

        s charge, g half the hysteresis gap, h its state, e the cell's own curve error, linear
        between knots, w the polarisation's random walk, I0 the shunt's offset [A], u1 and u2 the
        pairs' voltages with the parameters as they stand [V], k factors of resistance.

        Args:
            mean: Of the components, shape (states, m).
        """
        knot, part = at.knot, at.part
        every = np.arange(len(part))
        below_v, above_v = mean[knot, every], mean[knot + 1, every]
        error_v = above_v - below_v
        usual_gap_v = at.half_gap_v * step.gap_factor
        # a gap never closes or turns over, whatever its Gaussian state says
        gap_v = usual_gap_v * np.maximum(1.0 + mean[GAP], 0.1)
        k_fast = np.exp(mean[FAST]) * at.fast_shape
        fast_v = k_fast * (step.r0_v + step.u1_v - step.r0_ohm * mean[OFFSET])
        slow_v = np.exp(mean[SLOW]) * (at.slow_shape * step.u2_v)
        rest_v = at.ocv_v + step.temp_shift_v
        rest_v += gap_v * mean[HYST]
        rest_v += mean[SHIFT] + mean[WALK]
        rest_v += below_v + part * error_v
        jacobian = np.zeros_like(mean)
        # a curve learned to fall with charge would push components the wrong way
        own_slope = at.slope + error_v / at.width
        jacobian[SOC] = np.maximum(own_slope, LEAST_SLOPE * at.slope)
        jacobian[SHIFT] = 1.0
        jacobian[WALK] = 1.0
        jacobian[knot, every] = 1.0 - part
        jacobian[knot + 1, every] = part
        jacobian[FAST] = -fast_v
        jacobian[SLOW] = -slow_v
        jacobian[OFFSET] = k_fast * step.r0_ohm
        jacobian[HYST] = gap_v
        jacobian[GAP] = usual_gap_v * mean[HYST]
        return rest_v - fast_v - slow_v, jacobian

    def noise_v2(
        self, mean: Floats, step: FilterStep, at: CurvePoint, initial_var_v2: float
    ) -> Floats:
        """Variance of the model's passing errors: losses, their change with charge, rest. [V²]

        Args:
            mean: Of the components, whose losses are as large as their resistances, (states, m).
        """
        kind = self.kind
        near_v = np.exp(mean[FAST]) * (step.r0_v + step.u1_v)
        slow_v = np.exp(mean[SLOW]) * step.u2_v
        loss_v = abs(near_v) + abs(slow_v)
        passing = (kind.loss_sd**2 + step.loss_sd**2) * loss_v**2
        passing += kind.model_sd_v**2 + initial_var_v2 + step.jumps_v2
        # how resistance changes with charge differs between makes: known only roughly
        slow_off_v = (at.slow_shape - 1) * slow_v
        fast_off_v = (at.fast_shape - 1) * near_v
        shapes = slow_off_v**2 + fast_off_v**2
        return np.asarray(passing + kind.ohm_shape_sd**2 * shapes)

    def bias_v2(self, cov: Floats, at: CurvePoint) -> Floats:
        """Variance of errors that stay: of the slope where a component is wide, of the axis.

        Args:
            cov: Of the components, shape (states, states, m).
        """
        every = np.arange(len(at.part))
        below, above = at.knot, at.knot + 1
        # variance of the difference of two knots' errors, over their distance: of the slope
        bend_v2 = cov[below, below, every] + cov[above, above, every]
        bend_v2 -= 2 * cov[below, above, every]
        slope_var = np.minimum(bend_v2 / at.width**2, MOST_SLOPE_SD**2 + at.slope**2)
        axis_v = self.kind.axis_sd * at.slope
        return np.asarray(cov[SOC, SOC] * slope_var + axis_v**2)


_newest: VoltageModel | None = None


def model_of(kind: Chemistry) -> VoltageModel:
    """The model of a chemistry; the last one asked for is kept, as a log asks minute by minute."""
    global _newest
    newest = _newest
    if newest is None or newest.kind is not kind:
        newest = _newest = VoltageModel(kind)
    return newest


def _tables(kind: Chemistry) -> Floats:
    """Rows by charge: curve, slope, half gap, fast and slow shape, place among knots. (6, n)"""
    soc = np.arange(TABLE_LOW, TABLE_HIGH + TABLE_STEP / 2, TABLE_STEP) + TABLE_STEP / 2
    outside = np.minimum(soc, 0.0) + np.maximum(soc - 1.0, 0.0)
    curve = np.interp(soc, kind.soc, kind.mean_v) + END_SLOPE_V * outside
    tables = (kind.half_gap_v, kind.fast_shape, kind.slow_shape)
    gap, fast, slow = (np.interp(soc, kind.soc, t) for t in tables)
    place = np.interp(soc, KNOTS, np.arange(len(KNOTS)))
    place = np.minimum(place, len(KNOTS) - 1.001)
    columns = [curve, np.gradient(curve, soc), gap, fast, slow, place]
    return np.ascontiguousarray(columns)
