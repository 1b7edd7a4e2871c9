"""A bank of extended Kalman filters over the mean cell's charge.

Each guess carries the same states and its own charge. They differ in charge only at the start;
each is then corrected along the curve where it stands, and weighed by how well it foresaw the
voltage. So a start that is far off does not mislead the linearised filter, and a curve that fits
at two places leaves two guesses alive.

What a cell's curve has of its own is learned with the rest, at knots of charge, and stays: a
second trip over the same stretch brings no fresh evidence of where it lies.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.pack.cell_model import Cell
from analyzer.pack.chemistry import KNOTS
from logger.units import HOUR_S

Floats = npt.NDArray[np.float64]

# Order of the states: charge, the curve's level [V], slow polarisation that no pair describes [V],
# logarithms of the fast and slow resistance factors, shunt offset [A], logarithms of capacity over
# nominal and of the gap's size, hysteresis; from CURVE on what the curve is off by at KNOTS [V].
SOC, SHIFT, WANDER, FAST, SLOW, OFFSET, LN_Q, GAP, HYST, CURVE = range(10)
STATES = CURVE + len(KNOTS)
# Edges of the guesses' charge: narrow where the curve bends, and nowhere wider than graphite's
# bends, so that a guess whose edge has passed one does not hide behind its middle.
EDGES = np.concatenate(
    [[0, 0.02, 0.04, 0.065, 0.095, 0.13, 0.17], np.arange(0.22, 0.93, 0.05), [0.97, 1.0]]
)
GUESSES = len(EDGES) - 1
FINE = 1e-3  # of the charge tables
LOW, HIGH = -0.2, 1.2  # the tables reach beyond empty and full
END_SLOPE_V = 4.0  # added beyond both ends, so that a guess is pushed back inside
OFFSET_SD_C = 0.004  # of the shunt, as a share of Ah: 0.8 A on 200 Ah
TRUST = 0.5  # of a fit to the voltage; 0.5 if the curve's errors were truly normal
GAP_REACH = 6.0  # charges moved after which the gap's size is another: a quarter over one charge
WANDER_S = 1200.0  # how long slow polarisation lasts
WANDER_REST_V = 0.002  # its standard deviation at rest
CHANGES_LAST = 6.0  # steps that share one error of what load changes say
WIDE_SD = 0.035  # of a guess's charge
MOST = 40  # guesses
HOPELESS_LOGW = -30.0  # such guesses are dropped
UNLIKELY_LOGW = -10.0
KNOT_WIDTHS = np.diff(KNOTS)
MOST_SLOPE_SD = 0.2  # V per unit of charge


@dataclass(slots=True)
class Step:
    """Sums over one step's readings that the bank is corrected with, and what it is moved by.

    Voltages are of the mean cell. r0_v, u1_v, u2_v are what the parameters lose as they stand.
    """

    charge_as: float
    length_s: float
    lost_s: float
    keep: float  # hysteresis becomes keep * hysteresis + drift
    drift: float
    volts: float  # mean; NaN where none
    r0_v: float
    u1_v: float
    u2_v: float
    cov: tuple[float, float, float, float, float, float, float]  # see `Guesses.see_changes`
    r0_ohm: float
    gap_factor: float
    temp_shift_v: float
    apart: float = 0.0  # relative sd of the losses away from 25 °C, beside the factors' own


class Guesses:
    """Means x (states, m), covariances p (states, states, m), log weights (m,) of m guesses."""

    def __init__(self, cell: Cell) -> None:
        self.cell, self.kind = cell, cell.kind
        self.ah = cell.params.capacity_ah
        self.table = _tables(cell)
        self.x = np.zeros((STATES, GUESSES))
        wide = np.diff(EDGES)
        self.x[SOC] = 0.5 * (EDGES[1:] + EDGES[:-1])
        self.p = np.repeat(self._prior()[:, :, None], GUESSES, axis=2)
        self.p[SOC, SOC] = (0.5 * wide) ** 2
        self.logw = np.log(wide)
        self._room = np.empty_like(self.p)  # so that no step asks for memory

    def _prior(self) -> Floats:
        """Covariance of the states before anything is seen; that of the charge is set apart."""
        kind, cell = self.kind, self.cell
        prior = np.zeros((STATES, STATES))
        for state, sd in (
            (SHIFT, kind.curve_sd_v),
            (WANDER, WANDER_REST_V),
            (FAST, kind.fast_sd),
            (SLOW, kind.slow_sd),
            (OFFSET, OFFSET_SD_C * self.ah),
            (LN_Q, cell.capacity_sd),
            (GAP, kind.gap_sd),
            (HYST, 0.7),
        ):
            prior[state, state] = sd**2
        prior[CURVE:, CURVE:] = kind.curve_cov_v2
        return prior

    def load(self, weight: Floats, mean: Floats, cov: Floats) -> None:
        """Goes on where an earlier bank stopped. Shapes (m,), (m, n), (m, n, n); copied."""
        self.x = np.array(mean.T, order="C")
        self.p = np.array(cov.transpose(1, 2, 0), order="C")
        self.logw = np.log(np.maximum(np.asarray(weight), 1e-12))

    def advance(self, step: Step, noise: Floats) -> None:
        """Moves all guesses on by one step. noise: variances that are added, shape (states,)."""
        x, p = self.x, self.p
        full_as = HOUR_S * self.ah * np.exp(x[LN_Q])
        moved = (step.charge_as - x[OFFSET] * step.length_s) / full_as
        by_offset = step.length_s / full_as
        x[SOC] = np.minimum(np.maximum(x[SOC] - moved, LOW + 0.01), HIGH - 0.01)
        p[SOC] += by_offset * p[OFFSET] + moved * p[LN_Q]
        p[:, SOC] += by_offset * p[:, OFFSET] + moved * p[:, LN_Q]
        faded = math.exp(-step.length_s / WANDER_S)
        same = math.exp(-abs(step.charge_as) / (HOUR_S * self.ah * GAP_REACH))
        for state, factor in ((HYST, step.keep), (GAP, same), (WANDER, faded)):
            x[state] *= factor
            p[state] *= factor
            p[:, state] *= factor
        x[HYST] += step.drift
        diagonal = p.reshape(STATES * STATES, -1)[:: STATES + 1]
        diagonal += noise[:, None]

    def correct(
        self, innovation: Floats, h: Floats, noise: Floats, share: float, slack: Floats | float = 0
    ) -> None:
        """Update of every guess with one scalar measurement.

        Args:
            innovation: Measured less expected, shape (m,).
            h: Derivatives by the states, shape (states, m).
            noise: Variance, shape (m,), made larger by 1 / share.
            share: Of one independent measurement that this one is.
            slack: Variance of an error that stays, with the noise's number of copies; its own ln
                is left out, since it says nothing new however often it comes.
        """
        ph = self._times(h)
        s = (ph * h).sum(axis=0) + noise + slack
        self._change(innovation, ph, s)
        # 1 / share measurements of one error: their joint density has ln(s / noise) of each, but
        # the noise's own ln only once.
        self.logw -= TRUST * (innovation * innovation / s + np.log(s / (noise + slack)))
        self.logw -= TRUST * share * np.log(noise)
        self.logw -= self.logw.max()

    def correct_one(
        self, state: int, innovation: Floats, slope: Floats | float, noise: Floats | float
    ) -> None:
        """The same for a measurement of one state alone, which does not weigh the guesses."""
        ph = self.p[state] * slope
        self._change(innovation, ph, ph[state] * slope + noise)

    def _times(self, h: Floats) -> Floats:
        """Covariance times derivatives; of the knots' only the two beside a guess are not 0."""
        ph = np.asarray((self.p[:, :CURVE] * h[:CURVE]).sum(axis=1))
        own = np.argmax(h[CURVE:] != 0, axis=0) + CURVE
        every = np.arange(h.shape[1])
        for knot in (own, np.minimum(own + 1, STATES - 1)):
            ph += self.p[:, knot, every] * h[knot, every]
        return ph

    def _change(self, innovation: Floats, ph: Floats, s: Floats) -> None:
        gain = ph / s
        self.x += gain * innovation
        if self._room.shape != self.p.shape:
            self._room = np.empty_like(self.p)
        np.multiply(gain[:, None], ph, out=self._room)
        self.p -= self._room

    def row(self, soc: float) -> int:
        """Column of the charge tables for a charge."""
        return int(min(max(soc - LOW, 0.0) / FINE, self.table.shape[1] - 1))

    def at(self) -> Floats:
        """The charge tables where the guesses stand, shape (6, m)."""
        index = ((self.x[SOC] - LOW) * (1 / FINE)).astype(np.int64)
        return np.asarray(self.table.take(index, axis=1, mode="clip"))

    def see_voltage(self, step: Step, independent: float, settle_v2: float) -> None:
        """Corrects with a step's mean voltage.

        Args:
            independent: How many steps an error of the model lasts.
            settle_v2: Variance from what went before the log began. [V²]
        """
        x, p, kind = self.x, self.p, self.kind
        volts, slope, gap, fast_shape, slow_shape, place = self.at()
        every = np.arange(len(volts))
        knot = CURVE + place.astype(np.int64)
        part, wide = place - (knot - CURVE), KNOT_WIDTHS[knot - CURVE]
        own, after = x[knot, every], x[knot + 1, every]
        usual_gap = gap * step.gap_factor
        gap = usual_gap * np.maximum(1.0 + x[GAP], 0.1)
        fast = np.exp(x[FAST]) * fast_shape
        slow = np.exp(x[SLOW]) * (slow_shape * step.u2_v)
        fast_v = fast * (step.r0_v + step.u1_v - step.r0_ohm * x[OFFSET])
        ocv = volts + step.temp_shift_v + gap * x[HYST] + x[SHIFT] + x[WANDER]
        ocv += own + part * (after - own)
        h = np.zeros_like(x)
        h[SOC] = np.maximum(slope + (after - own) / wide, 0.3 * slope)
        h[SHIFT] = h[WANDER] = 1.0
        h[knot, every], h[knot + 1, every] = 1.0 - part, part
        h[FAST] = -fast_v
        h[SLOW] = -slow
        h[OFFSET] = fast * step.r0_ohm
        h[HYST] = gap
        h[GAP] = usual_gap * x[HYST]
        loss_v = abs(step.r0_v + step.u1_v) + abs(step.u2_v)
        bend = p[knot, knot, every] + p[knot + 1, knot + 1, every] - 2 * p[knot, knot + 1, every]
        error = (kind.loss_sd**2 + step.apart**2) * loss_v**2 + kind.model_sd_v**2 + settle_v2
        error = error + (kind.ohm_shape_sd * ((slow_shape - 1) * step.u2_v)) ** 2
        error += (kind.ohm_shape_sd * ((fast_shape - 1) * (step.r0_v + step.u1_v))) ** 2
        # where the guess is wide, the slope's own doubt makes the voltage less sure
        slack = p[SOC, SOC] * np.minimum(bend / wide**2, MOST_SLOPE_SD**2 + slope**2)
        slack = slack + (kind.axis_sd * slope) ** 2
        miss = step.volts - ocv + fast_v + slow
        self.correct(miss, h, error * independent, 1 / independent, slack * independent)

    def see_changes(self, step: Step, reading_sd_v: float) -> None:
        """Corrects the fast factor with what load changes inside a step say of it.

        step.cov: sums over the step of deviations from its means: v·r0, v·u1, r0², r0·u1,
        u1², r0·charge, u1·charge, with r0 and u1 in volts by the parameters.
        """
        v0, v1, s00, s01, s11, q0, q1 = step.cov
        power = s00 + 2 * s01 + s11
        if power < 25 * reading_sd_v**2:
            return
        _, slope, _, shape, *_ = self.at()
        cross = v0 + v1 + slope * ((q0 + q1) / (HOUR_S * self.ah))
        found = -cross / (power * shape)
        factor = np.exp(self.x[FAST])
        noise = reading_sd_v**2 / (power * shape**2) + (0.1 * factor) ** 2
        self.correct_one(FAST, found - factor, factor, CHANGES_LAST * noise)

    def see_soc(self, soc: float, sd: float) -> None:
        """Corrects with a charge known from elsewhere: full, empty, a device."""
        miss = soc - self.x[SOC]
        logw = self.logw - 0.5 * miss**2 / (self.p[SOC, SOC] + sd * sd)
        self.keep_only(logw - logw.max() > UNLIKELY_LOGW)
        self.logw = (logw - logw.max())[logw - logw.max() > UNLIKELY_LOGW]
        self.correct_one(SOC, soc - self.x[SOC], 1.0, sd * sd)

    def keep_only(self, keep: npt.NDArray[np.bool_]) -> None:
        """Drops the other guesses. keep: shape (m,)."""
        self.x = np.ascontiguousarray(self.x[:, keep])
        self.p = np.ascontiguousarray(self.p[:, :, keep])
        self.logw = self.logw[keep]

    def tidy(self) -> None:
        """Drops hopeless guesses and splits those too wide for a straight line on the curve."""
        hopeless = self.logw < HOPELESS_LOGW
        if hopeless.any():
            self.keep_only(~hopeless)
        wide = (self.p[SOC, SOC] > WIDE_SD**2) & (self.logw > UNLIKELY_LOGW)
        if wide.any() and len(wide) + 2 * wide.sum() <= MOST:
            self._split(wide)

    def _split(self, wide: npt.NDArray[np.bool_]) -> None:
        """Each wide guess becomes three along its charge, with the same mean and covariance."""
        x, p, logw = self.x[:, wide], self.p[:, :, wide], self.logw[wide]
        along = p[:, SOC] / np.sqrt(p[SOC, SOC])
        reach, side = 1.3, 0.2  # variance of the means: 2·0.2·1.69 = 0.676
        inner = p - 2 * side * reach**2 * along[:, None] * along[None]
        self.keep_only(~wide)
        shifts = ((-reach, side), (0.0, 1 - 2 * side), (reach, side))
        self.x = np.hstack([self.x, *[x + shift * along for shift, _ in shifts]])
        self.p = np.concatenate([self.p, inner, inner, inner], axis=2)
        self.logw = np.concatenate([self.logw, *[logw + math.log(w) for _, w in shifts]])

    def weights(self) -> Floats:
        """Shares of the guesses, shape (m,), sum 1."""
        w = np.exp(self.logw)
        return np.asarray(w / w.sum())

    def mean_var(self) -> tuple[Floats, Floats]:
        """Mean and variance of each state over the bank, shapes (states,)."""
        w = self.weights()
        mean = self.x @ w
        inside = np.diagonal(self.p, axis1=0, axis2=1).T
        return mean, (inside + (self.x - mean[:, None]) ** 2) @ w


def _tables(cell: Cell) -> Floats:
    """Rows by charge: curve, slope, half gap, fast and slow shape, place among knots. (6, n)"""
    kind = cell.kind
    soc = np.arange(LOW, HIGH + FINE / 2, FINE) + FINE / 2
    outside = np.minimum(soc, 0.0) + np.maximum(soc - 1.0, 0.0)
    curve = np.interp(soc, kind.soc, kind.mean_v) + END_SLOPE_V * outside
    tables = (kind.half_gap_v, kind.fast_shape, kind.slow_shape)
    gap, fast, slow = (np.interp(soc, kind.soc, t) for t in tables)
    place = np.interp(soc, KNOTS, np.arange(len(KNOTS)))
    place = np.minimum(place, len(KNOTS) - 1.001)
    columns = [curve, np.gradient(curve, soc), gap, fast, slow, place]
    return np.ascontiguousarray(columns)
