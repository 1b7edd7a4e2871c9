"""Gaussian-mixture filter over the mean cell's charge: a bank of extended Kalman filters.

All components carry the same states and differ at the start in charge alone. Each is updated along
the curve where it stands and weighed by how well it predicted the voltage. So a start that is far
off does not mislead the linearised filter, and a curve that fits at two places leaves two
components alive.

The error of a cell's own curve is a state at knots of charge, and stays: a second trip over the
same stretch brings no fresh evidence of where it lies.
"""

import math

import numpy as np
import numpy.typing as npt

from analyzer.pack.cell_model import Cell
from analyzer.pack.soc.noise import forgetting, prior_parts, start_shares
from analyzer.pack.soc.states import (
    CURVE,
    FAST,
    FULL,
    HYST,
    LN_Q,
    OFFSET,
    SOC,
    STATES,
    FilterStep,
)
from analyzer.pack.soc.voltage_model import TABLE_HIGH, model_of
from logger.units import HOUR_S

Floats = npt.NDArray[np.float64]
Start = tuple[Floats, Floats, Floats]

# Edges of the components' charge: narrow where the curve bends, and nowhere wider than graphite's
# bends, so that a component whose edge has passed one does not hide behind its middle. Assumed.
SOC_EDGES = np.r_[0, 0.02, 0.04, 0.065, 0.095, 0.13, 0.17, 0.22:0.93:0.05, 0.97, 1.0]
STRETCHES = len(SOC_EDGES) - 1
MARGIN = 0.01  # a mean stays that far inside the tables; assumed
MOST_ALPHA = 8.0  # standard deviations beyond a bound that are told apart: e^-35; by arithmetic
LIKELIHOOD_POWER = 0.5  # 0.5 is the normal density's own, by definition: no tempering
CHANGE_ERROR_STEPS = 6.0  # steps that share one error of what load changes say; assumed
CHANGE_ERROR = 0.1  # that error, relative to the resistance; assumed
CHANGE_POWER = 25.0  # least squared load change over a reading's variance: five sigma
SPLIT_SD = 0.035  # of charge: a wider component is split; assumed
# Sides of a split: where, in standard deviations, and their shares. They take 0.68 of the variance,
# so that what is left inside is about half as wide. Assumed.
SPLIT_REACH, SPLIT_SIDE = 1.3, 0.2
MOST_COMPONENTS = 100  # for the time a step takes; assumed
PRUNE_LOG_WEIGHT = -30.0  # below that of the likeliest a component is dropped; assumed
UNLIKELY_LOG_WEIGHT = -10.0  # below it is not split, and does not survive an anchor; assumed


class GaussianMixtureFilter:
    """Components' means (states, m), covariances (states, states, m), log weights (m,)."""

    def __init__(self, cell: Cell, anywhere: bool = False, start: Start | None = None) -> None:
        """From what is known where a log begins, or on from a mixture.

        Args:
            anywhere: The charge is uniform; else as it is where a log begins.
            start: Weight, mean and covariance as `load` takes them.
        """
        self.cell = cell
        self.kind = cell.kind
        self.ah = cell.params.capacity_ah
        self.model = model_of(self.kind)
        if start is None:
            self._begin(anywhere)
        else:
            self.load(*start)
        self._scratch = np.empty_like(self.cov)  # so that no step asks for memory

    def _begin(self, anywhere: bool) -> None:
        """Each part of the packs in service at each stretch of charge."""
        width = np.diff(SOC_EDGES)
        parts = prior_parts(self.cell)
        means = np.stack([mean for mean, _ in parts], axis=-1)
        covs = np.stack([cov for _, cov in parts], axis=-1)
        self.mean = np.repeat(means, STRETCHES, axis=-1)
        self.cov = np.repeat(covs, STRETCHES, axis=-1)
        middles = SOC_EDGES[:-1] + 0.5 * width
        self.mean[SOC] = np.tile(middles, len(parts))
        # wider than a uniform stretch, so that neighbours overlap
        var = (0.5 * width) ** 2
        self.cov[SOC, SOC] = np.tile(var, len(parts))
        share = np.array([weight for weight, _, _ in self.cell.capacity])
        weights = np.outer(share, width if anywhere else start_shares(SOC_EDGES))
        self.log_weight = np.log(weights.ravel())

    def load(self, weight: Floats, mean: Floats, cov: Floats) -> None:
        """Goes on from a mixture. Shapes (m,), (m, states), (m, states, states); copied."""
        self.mean = np.array(mean.T, order="C")
        self.cov = np.array(cov.transpose(1, 2, 0), order="C")
        least = np.maximum(np.asarray(weight), 1e-12)
        self.log_weight = np.log(least)

    def predict(self, step: FilterStep, noise: Floats) -> None:
        """Prediction over one step; charge moved and forgetting, both linear in the states.

        s' = s - (q - I0·t) / (3600·C·exp(ln_q)), h' = keep·h + drift, and the gap's size and the
        random walk fade by their own factors. q charge out [A·s], I0 offset [A], C capacity [Ah].

        Args:
            noise: Process noise, variances added to the states, shape (states,).
        """
        self._count(step)
        # Fading is linear: a state by its factor, its covariances by the same, row and column.
        fading = forgetting(step, self.ah)
        for state, factor in fading:
            self.mean[state] *= factor
            self.cov[state] *= factor
            self.cov[:, state] *= factor
        self.mean[HYST] += step.hyst_drift
        rows = self.cov.reshape(STATES * STATES, -1)
        diagonal = rows[:: STATES + 1]  # a view, so that the noise goes into the covariance
        diagonal += noise[:, None]

    def _count(self, step: FilterStep) -> None:
        """Coulomb counting, with its derivatives by offset and logarithm of capacity."""
        mean = self.mean
        cov = self.cov
        capacity_ah = self.ah * np.exp(mean[LN_Q])
        full_as = HOUR_S * capacity_ah
        by_offset = step.length_s / full_as
        moved = step.charge_as / full_as - mean[OFFSET] * by_offset
        # A component that counts itself out of the tables would find no slope to come back by.
        mean[SOC] = np.minimum(mean[SOC] - moved, TABLE_HIGH - MARGIN)
        # ds/d(offset) = t / C and ds/d(ln_q) = moved: row and column of the Jacobian's product
        row = by_offset * cov[OFFSET] + moved * cov[LN_Q]
        cov[SOC] += row
        column = by_offset * cov[:, OFFSET] + moved * cov[:, LN_Q]
        cov[:, SOC] += column
        below = mean[SOC] < self.kind.lowest_soc
        if below.any():
            self._cut_off(self.kind.lowest_soc, 1, np.flatnonzero(below))

    def stay_below(self, highest: Floats) -> None:
        """No component holds more charge than this, (m,)."""
        above = np.flatnonzero(self.mean[SOC] > highest)
        if len(above):
            self._cut_off(highest[above], -1, above)

    def _cut_off(self, bound: Floats | float, side: int, which: npt.NDArray[np.int64]) -> None:
        """Conditions components that counted themselves beyond a bound on charge this side of it.

        A normal distribution of mean m and sd σ cut off below a: with α = (a - m) / σ, Z = 1 - Φ(α)
        and λ = φ(α) / Z, its weight is multiplied by Z, its mean is m + λ σ, its variance
        σ² (1 - λ (λ - α)); the other states follow by their covariance with the charge. So a
        start that was too low is given up, or its capacity and offset grow. Cut off above, the
        signs of α and of λ σ turn.

        Source: truncated normal distribution (textbook); applied to a constrained Kalman filter by
        D. Simon and D. L. Simon, Int. J. Systems Science 41 (2010) 159; from memory.

        Args:
            side: 1: what lies above the bound stays; -1: what lies below.
            which: Components whose mean is beyond, (k,).
        """
        mean = self.mean[:, which]
        cov = self.cov[:, :, which]
        sd = np.sqrt(cov[SOC, SOC])
        apart = side * (bound - mean[SOC]) / sd
        alpha = np.minimum(apart, MOST_ALPHA)
        share = np.array([0.5 * math.erfc(a / math.sqrt(2)) for a in alpha.tolist()])
        density = np.exp(-0.5 * alpha**2) / math.sqrt(2 * math.pi)
        hazard = density / share
        along = cov[SOC] / sd
        mean += side * hazard * along
        # farther beyond than can be told apart: onto the bound
        mean[SOC] = bound + side * np.maximum(side * (mean[SOC] - bound), 0.0)
        cov -= hazard * (hazard - alpha) * along[:, None] * along[None]
        self.mean[:, which] = mean
        self.cov[:, :, which] = cov
        self.log_weight[which] += np.log(share)
        self.log_weight -= self.log_weight.max()

    def update(
        self,
        innovation: Floats,
        jacobian: Floats,
        noise: Floats,
        share: float,
        bias_var: Floats | float = 0,
    ) -> None:
        """Measurement update of every component with one scalar; weighs the components.

        1 / share measurements share one error. Their joint density has ln(S / noise) of each, but
        the noise's own ln only once; that of a bias is left out, since it says nothing new however
        often it comes.

        Args:
            innovation: Measured less expected, shape (m,).
            jacobian: Derivatives by the states, shape (states, m).
            noise: Variance, shape (m,), made larger by 1 / share.
            share: Of one independent measurement that this one is.
            bias_var: Variance of an error that stays (a Schmidt filter's considered bias), with
                the noise's number of copies.
        """
        cov_h = self._times(jacobian)
        unknown = noise + bias_var
        expected = (cov_h * jacobian).sum(axis=0)
        total = expected + unknown
        self._condition(innovation, cov_h, total)
        fit = innovation**2 / total
        fit += np.log(total / unknown)
        fit += share * np.log(noise)
        self.log_weight -= LIKELIHOOD_POWER * fit
        # only differences count; over days a weight must not run out of the number range
        self.log_weight -= self.log_weight.max()

    def update_state(
        self, state: int, innovation: Floats, slope: Floats | float, noise: Floats | float
    ) -> None:
        """The same for a measurement of one state alone, which does not weigh the components."""
        cov_h = self.cov[state] * slope
        total = cov_h[state] * slope + noise
        self._condition(innovation, cov_h, total)

    def _times(self, jacobian: Floats) -> Floats:
        """Covariance times Jacobian; of the knots' only the two beside a component are not 0."""
        own = self.cov[:, :CURVE] * jacobian[:CURVE]
        product = np.asarray(own.sum(axis=1))
        knots = jacobian[CURVE:] != 0
        below = CURVE + np.argmax(knots, axis=0)
        above = np.minimum(below + 1, STATES - 1)
        every = np.arange(jacobian.shape[1])
        for knot in (below, above):
            columns = self.cov[:, knot, every]
            product += columns * jacobian[knot, every]
        return product

    def _condition(self, innovation: Floats, cov_h: Floats, total: Floats) -> None:
        """Kalman gain K = P·H / S; means move by K times innovation, P by -K·(P·H)ᵀ."""
        gain = cov_h / total
        self.mean += gain * innovation
        # The products of all components are the filter's largest array: its place is kept.
        if self._scratch.shape != self.cov.shape:
            self._scratch = np.empty_like(self.cov)
        np.multiply(gain[:, None], cov_h, out=self._scratch)
        self.cov -= self._scratch

    def update_voltage(self, step: FilterStep, error_steps: float, initial_var_v2: float) -> None:
        """Measurement update with a step's mean terminal voltage.

        V = OCV(s) + g(s)·h + e(s) + shift + w - k_fast·(R0·(I - I0) + u1) - k_slow·u2, per mean
        cell: `VoltageModel.predict` has the symbols.

        Args:
            error_steps: How many steps one error of the model lasts.
            initial_var_v2: Variance from what load went before the log began. [V²]
        """
        model = self.model
        at = model.at(self.mean[SOC])
        expected_v, jacobian = model.predict(self.mean, step, at)
        # an error that lasts for many steps is taken in as one measurement: see `update`
        noise_v2 = error_steps * model.noise_v2(self.mean, step, at, initial_var_v2)
        bias_v2 = error_steps * model.bias_v2(self.cov, at)
        innovation = step.mean_v - expected_v
        self.update(innovation, jacobian, noise_v2, 1 / error_steps, bias_v2)

    def update_resistance(self, step: FilterStep, reading_sd_v: float) -> None:
        """Update of the fast factor by regression of voltage on load inside a step."""
        v0, v1, s00, s01, s11, q0, q1 = step.load_cov
        power = s00 + 2 * s01 + s11
        if power < CHANGE_POWER * reading_sd_v**2:
            return  # a load that hardly changed says nothing of the resistance
        at = self.model.at(self.mean[SOC])
        # the charge moved inside the step changes the rest voltage too
        moved = (q0 + q1) / (HOUR_S * self.ah)
        fall_v = v0 + v1 + at.slope * moved
        found = -fall_v / (power * at.fast_shape)
        factor = np.exp(self.mean[FAST])
        reading = reading_sd_v**2 / (power * at.fast_shape**2)
        noise = reading + (CHANGE_ERROR * factor) ** 2
        self.update_state(FAST, found - factor, factor, CHANGE_ERROR_STEPS * noise)

    def update_soc(self, soc: float, sd: float) -> None:
        """Update with a charge known from elsewhere: full, empty, a device."""
        var = sd * sd
        total = self.cov[SOC, SOC] + var
        self._weigh_anchor(soc - self.mean[SOC], total)
        # Components far from it are gone by now.
        left = soc - self.mean[SOC]
        self.update_state(SOC, left, 1.0, var)

    def update_full(self, soc: float, sd: float) -> None:
        """Update with the end of a charge: soc = s - b, b the state `FULL`.

        What the charger's end, or the top of the curve, lies off by is the same at every charge:
        many full charges say together where they all end no better than one does, but they say
        well that as much went in as had gone out.

        Args:
            sd: By how much one end differs from another. [frac]
        """
        innovation, _, total = self._full_end(soc, sd)
        self._weigh_anchor(innovation, total)
        # Of the components that the anchor left.
        innovation, cov_h, total = self._full_end(soc, sd)
        self._condition(innovation, cov_h, total)

    def _full_end(self, soc: float, sd: float) -> tuple[Floats, Floats, Floats]:
        """Innovation, (m,), covariance times Jacobian, (states, m), and variance, (m,)."""
        innovation = soc - self.mean[SOC] + self.mean[FULL]
        cov_h = self.cov[SOC] - self.cov[FULL]
        total = cov_h[SOC] - cov_h[FULL] + sd * sd
        return innovation, cov_h, total

    def _weigh_anchor(self, innovation: Floats, total: Floats) -> None:
        """Weighs the components by an anchor and drops those far from it."""
        self.log_weight -= 0.5 * innovation**2 / total
        self.log_weight -= self.log_weight.max()
        # a component far from an anchor would be drawn to it and pass for one that was there
        self.keep(self.log_weight > UNLIKELY_LOG_WEIGHT)

    def keep(self, chosen: npt.NDArray[np.bool_]) -> None:
        """Drops the other components. chosen: shape (m,)."""
        # contiguous, as every step goes over all of it
        self.mean = np.ascontiguousarray(self.mean[:, chosen])
        self.cov = np.ascontiguousarray(self.cov[:, :, chosen])
        self.log_weight = self.log_weight[chosen]

    def prune_and_split(self) -> None:
        """Drops hopeless components, splits those too wide for a straight line on the curve."""
        hopeless = self.log_weight < PRUNE_LOG_WEIGHT
        if hopeless.any():
            self.keep(~hopeless)
        likely = self.log_weight > UNLIKELY_LOG_WEIGHT
        wide = likely & (self.cov[SOC, SOC] > SPLIT_SD**2)
        # each becomes three
        count = len(wide) + 2 * wide.sum()
        if wide.any() and count <= MOST_COMPONENTS:
            self._split(wide)

    def _split(self, wide: npt.NDArray[np.bool_]) -> None:
        """Each wide component becomes three along its charge, of the same mean and covariance."""
        mean = self.mean[:, wide]
        cov = self.cov[:, :, wide]
        log_weight = self.log_weight[wide]
        # all other states go with the charge as the covariance has it
        along = cov[:, SOC] / np.sqrt(cov[SOC, SOC])
        # the means take 2·side·reach² of the variance, the rest stays inside
        between = 2 * SPLIT_SIDE * SPLIT_REACH**2
        outer = along[:, None] * along[None]
        inner = cov - between * outer
        self.keep(~wide)
        side = log_weight + math.log(SPLIT_SIDE)
        middle = log_weight + math.log(1 - 2 * SPLIT_SIDE)
        shift = SPLIT_REACH * along
        means = [self.mean, mean - shift, mean, mean + shift]
        covs = [self.cov, inner, inner, inner]
        log_weights = [self.log_weight, side, middle, side]
        self.mean = np.hstack(means)
        self.cov = np.concatenate(covs, axis=2)
        self.log_weight = np.concatenate(log_weights)

    def weights(self) -> Floats:
        """Shares of the components, shape (m,), sum 1."""
        share = np.exp(self.log_weight)
        return np.asarray(share / share.sum())

    def mean_var(self) -> tuple[Floats, Floats]:
        """Mean and variance of each state over the mixture, shapes (states,)."""
        weight = self.weights()
        mean = self.mean @ weight
        inside = np.diagonal(self.cov, axis1=0, axis2=1).T
        between = (self.mean - mean[:, None]) ** 2
        return mean, (inside + between) @ weight
