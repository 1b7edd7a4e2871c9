"""How warm a load makes some bodies: an interacting multiple model filter over two-node networks.

One Kalman filter for each time constant, second node and hypothesis about the joint (sound, or
loosening: its rise wanders little or much). The network's constants do not change, so those filters
are weighed by their likelihoods alone; the hypothesis does, so the two filters that differ only in
it interact. One step (Blom and Bar-Shalom 1988, IEEE Trans. Autom. Control 33, 780):

    interact   mix the two hypotheses' posteriors by the probability of having changed over
    predict    x = F x + b; P = F P F' + Q, with F, b, Q of `transition.py`
    update     a temperature z = T + noise; weights by the likelihoods
    combine    mean and covariance of the mixture, when somebody asks (`questions.py`)

Causal and recursive: memory does not grow. A reading that no such body could have reached since
the last one is not used.
"""

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from analyzer.series.series import Floats
from analyzer.thermal.prior import HeatPrior
from analyzer.thermal.transition import (
    MOVING,
    NEIGHBOUR,
    OFFSET,
    OFFSET_TAU_S,
    PHI,
    RISE,
    SECOND,
    STATES,
    TEMP,
    LaggedLoads,
    Network,
    ProcessNoise,
    per_member,
)

Bools = npt.NDArray[np.bool_]

# Readings' errors last for some steps, so that a likelihood counts for less than their number: a
# tempered likelihood; the power is assumed.
LIKELIHOOD_POWER = 0.5
MOST_SIGMAS2 = 25.0  # an innovation beyond five sigmas counts as five: one bad reading; assumed
LEAST_LOG_WEIGHT = -12.0  # of the likeliest filter; a filter below could never come back; assumed
# How often a sound joint starts to loosen under load and a loosening one stops, and how likely a
# joint seen first is loosening. All assumed: nobody counts joints.
LOOSEN_PER_H, SETTLE_PER_H, LOOSE_AT_FIRST = 0.02, 0.5, 0.05
LOOSE_FRAC = 0.25  # how far off it then is, of what an hour of loosening brings; assumed
# What is bad when it is first loaded mostly was so before, and stays as it is: between these times
# at the reference load, by when sound bodies have shown that they are, most settle. Assumed.
FOUND_S, FOUND_PER_H = (45.0, 180.0), 60.0
DOUBTED_S = 900.0  # a jump that stays for so long is where the body, or its probe, now is; assumed
START_SD_K = 0.5  # a body seen first mostly lies still, as warm as its place; assumed
# Of what a body seen first is above the air, this much may be in its second node; both assumed.
STORED_FRAC, STORED_SD_K = 0.5, 0.1


class ThermalImm:
    """The posterior of some bodies under one load, updated reading by reading.

    Attributes:
        mean: (STATES, bodies, 2, members); cov: (STATES, STATES, bodies, 2, members). The axis of 2
            is the hypothesis (sound, loosening), members are time constants with second nodes.
        weight: Probability of each filter, (bodies, 2, members), 1 for each body.
        air_c: Ambient last given; started: whether a temperature came; doubted_s: for how long
            its readings have been refused. All (bodies,).
    """

    def __init__(self, priors: Sequence[HeatPrior]) -> None:
        self.priors = tuple(priors)
        self.network = net = Network.of(priors)
        bodies, _, members = net.tau_s.shape
        # The prior is about the settled rise; the second node's part of it is not the body's own.
        own_frac = 1 / (1 + net.share)
        self.noise = ProcessNoise(priors, own_frac)
        self._loads = LaggedLoads(priors)
        first = np.array([[1 - LOOSE_AT_FIRST], [LOOSE_AT_FIRST]])
        self.weight = first * net.weight
        self.mean = np.zeros((STATES, bodies, 2, members))
        self.cov = np.zeros((STATES, STATES, bodies, 2, members))
        self._set_prior(own_frac, 1 / (1 + PHI * net.share))
        self.started = np.zeros(bodies, bool)
        self.air_c = np.full(bodies, np.nan)
        self.doubted_s = np.zeros(bodies)
        self._loaded_s = np.zeros(bodies)
        self._reading_k2 = per_member(np.array([p.noise_k**2 for p in priors]))
        self._fastest_k_s = np.array([p.fastest_k_s for p in priors])
        self._decay = net.decay(0.0)
        self.count_neighbour = np.array([p.count_neighbour for p in priors])

    def _set_prior(self, own_frac: Floats, through_frac: Floats) -> None:
        def column(name: str) -> Floats:
            return per_member(np.array([getattr(p, name) for p in self.priors]))

        rise_sd_k = column("rise_sd_k")
        loose_sd_k = np.hypot(rise_sd_k, LOOSE_FRAC * column("loose_walk_k"))
        self.mean[RISE] = column("rise_k") * own_frac
        self.mean[NEIGHBOUR] = column("neighbour_k") * through_frac
        self.cov[RISE, RISE] = np.square(np.hstack([rise_sd_k, loose_sd_k]) * own_frac)
        self.cov[NEIGHBOUR, NEIGHBOUR] = np.square(column("neighbour_sd_k") * through_frac)
        self.cov[OFFSET, OFFSET] = np.square(column("offset_sd_k"))

    def step(self, dt_s: float, load: Floats, temp_c: Floats, ambient_c: Floats) -> None:
        """One step on: the loads over the step, and the temperatures at its end.

        Args:
            load: Means over the step in units of the reference loads, (bodies,); NaN: not known.
            temp_c: (bodies,); NaN: not measured.
            ambient_c: (bodies,); NaN: the last one holds.
        """
        self.air_c = np.where(np.isfinite(ambient_c), ambient_c, self.air_c)
        fresh = ~self.started & np.isfinite(temp_c)
        if fresh.any():
            self._start(fresh, temp_c)
        if not self.started.any():
            return
        # Time at the reference load; an unknown load may have been that.
        loaded_s = dt_s * np.clip(np.where(np.isfinite(load), load, 1.0), 0.0, 1.0)
        self._interact(loaded_s)
        self._predict(dt_s, load, loaded_s)
        self._update(self._gated(np.where(self.started, temp_c, np.nan), dt_s))

    def _start(self, fresh: Bools, temp_c: Floats) -> None:
        """Conditions the prior on the first readings: (z - T_air) = o + H + N(0, START_SD_K²).

        What a body lies above the air is its place's offset, or heat from before the log.
        """
        self.started = self.started | fresh
        self.air_c = np.where(fresh & ~np.isfinite(self.air_c), temp_c, self.air_c)
        above_k = per_member((temp_c - self.air_c)[fresh])
        share = self.network.share[fresh]
        stored_k2 = np.where(share > 0, np.square(STORED_FRAC * above_k) + STORED_SD_K**2, 0.0)
        offset_k2 = per_member(self.noise.offset_k2[fresh])
        total_k2 = offset_k2 + stored_k2 + START_SD_K**2
        offset_gain, stored_gain = offset_k2 / total_k2, stored_k2 / total_k2
        self.mean[OFFSET, fresh] = offset_gain * above_k
        self.mean[SECOND, fresh] = stored_gain * above_k
        self.cov[OFFSET, OFFSET, fresh] = offset_k2 * (1 - offset_gain)
        self.cov[SECOND, SECOND, fresh] = stored_k2 * (1 - stored_gain)
        self.cov[OFFSET, SECOND, fresh] = self.cov[SECOND, OFFSET, fresh] = -offset_gain * stored_k2
        self._set_temp(fresh, temp_c)

    def _set_temp(self, which: Bools, temp_c: Floats) -> None:
        """Takes readings for the bodies' temperatures, whatever was believed of them."""
        self.mean[TEMP, which] = per_member(temp_c[which])
        self.cov[TEMP, :, which] = self.cov[:, TEMP, which] = 0.0
        self.cov[TEMP, TEMP, which] = self._reading_k2[which]

    def _interact(self, loaded_s: Floats) -> None:
        """Interaction step, between the two hypotheses i, j of each network.

            c_j = sum_i p_ij w_i                          predicted weight
            m = p_ij w_i / c_j, i not j                   mixing probability
            x_j <- x_j + m (x_i - x_j)
            P_j <- P_j + m (P_i - P_j) + m (1 - m) (x_i - x_j)(x_i - x_j)'

        Source: Blom and Bar-Shalom 1988, equations of the interaction, written for two models.
        """
        leaving = self.weight * self._change_probability(loaded_s)
        arriving = leaving[:, ::-1]
        self.weight = self.weight - leaving + arriving
        mixing = arriving / self.weight
        apart = self.mean[:, :, ::-1] - self.mean
        between = (mixing * (1 - mixing) * apart)[:, None] * apart
        self.mean = self.mean + mixing * apart
        self.cov = self.cov + mixing * (self.cov[..., ::-1, :] - self.cov) + between

    def _change_probability(self, loaded_s: Floats) -> Floats:
        """Of leaving each hypothesis within a step, p = 1 - exp(-rate time), (bodies, 2, 1)."""
        self._loaded_s = self._loaded_s + loaded_s
        early = (self._loaded_s > FOUND_S[0]) & (self._loaded_s < FOUND_S[1])
        settle_per_h = np.where(early, FOUND_PER_H, SETTLE_PER_H)
        per_h = np.stack([np.full(len(early), LOOSEN_PER_H), settle_per_h], axis=-1)
        return np.asarray(1 - np.exp(-per_h * loaded_s[:, None] / 3600.0))[..., None]

    def _predict(self, dt_s: float, load: Floats, loaded_s: Floats) -> None:
        """Time update, x <- F x + b, P <- F P F' + Q; F differs from the identity in T and H."""
        if dt_s != self._decay.dt_s:
            self._decay = self.network.decay(dt_s)
        decay, cov = self._decay, self.cov
        own_load, neighbour_load = self._loads.advance(dt_s, load)
        self._fade_offset(dt_s)
        rows = self.network.moving_rows(decay, own_load, neighbour_load)
        air_c = per_member(np.where(self.started, self.air_c, 0.0))
        self.mean[MOVING] = np.einsum("mk...,k...->m...", rows, self.mean)
        self.mean[TEMP] += decay.gain * air_c
        cross = np.einsum("mk...,kj...->mj...", rows, cov)
        cov[MOVING], cov[:, MOVING] = cross, cross.swapaxes(0, 1)
        cov[MOVING, MOVING] = np.einsum("mk...,lk...->ml...", cross, rows)
        cov[RISE, RISE] += self.noise.rise_k2(loaded_s)
        cov[TEMP, TEMP] += self.noise.temp_k2(dt_s, self.mean[TEMP] - air_c)
        lost = ~np.isfinite(load)
        if lost.any():
            cov[TEMP, TEMP] += self.noise.unknown_load_k2(decay, lost)

    def _fade_offset(self, dt_s: float) -> None:
        """o <- f o + noise, f = exp(-dt / OFFSET_TAU_S), which keeps its variance far from data."""
        kept = math.exp(-dt_s / OFFSET_TAU_S)
        self.mean[OFFSET] *= kept
        self.cov[OFFSET] *= kept
        self.cov[:, OFFSET] *= kept
        self.cov[OFFSET, OFFSET] += per_member(self.noise.offset_k2) * (1 - kept * kept)

    def _gated(self, temp_c: Floats, dt_s: float) -> Floats:
        """The readings, NaN for those that their bodies cannot have reached within the step."""
        expected_c = (self.weight * self.mean[TEMP]).sum(axis=(1, 2))
        jumped = np.abs(temp_c - expected_c) > self._fastest_k_s * dt_s
        if jumped.any() or self.doubted_s.any():
            self.doubted_s = np.where(jumped, self.doubted_s + dt_s, self.doubted_s)
            self.doubted_s[np.isfinite(temp_c) & ~jumped] = 0.0
            stays = jumped & (self.doubted_s > DOUBTED_S)
            self._set_temp(stays, temp_c)
            self.doubted_s[stays] = 0.0
        return np.where(jumped, np.nan, temp_c)

    def _update(self, temp_c: Floats) -> None:
        """Measurement update with z = T + v, var v = R, where a body was measured.

        y = z - T; S = P_TT + R; K = P_.T / S; x <- x + K y; P <- P - K S K'
        w <- w (S^-1/2 exp(-y² / (2 S)))^LIKELIHOOD_POWER, and all weights to 1
        """
        seen = per_member(np.isfinite(temp_c))
        if not seen.any():
            return
        with_temp = self.cov[:, TEMP]
        innovation_k2 = with_temp[TEMP] + self._reading_k2
        innovation_k = np.where(seen, per_member(temp_c) - self.mean[TEMP], 0.0)
        gain = with_temp * (seen / innovation_k2)
        self.mean = self.mean + gain * innovation_k
        self.cov = self.cov - gain[:, None] * with_temp
        sigmas2 = np.minimum(np.square(innovation_k) / innovation_k2, MOST_SIGMAS2)
        cost = 0.5 * LIKELIHOOD_POWER * (np.log(innovation_k2) + sigmas2)
        weight = self.weight * np.exp(-cost * seen)
        highest = weight.max(axis=(1, 2), keepdims=True)
        weight = np.maximum(weight, np.exp(LEAST_LOG_WEIGHT) * highest)
        self.weight = weight / weight.sum(axis=(1, 2), keepdims=True)

    def revise_air(self, priors: Sequence[HeatPrior]) -> None:
        """Takes what other priors say of the air: its sensor came or went."""
        self.noise.offset_k2[: len(priors)] = [p.offset_sd_k**2 for p in priors]
        self.count_neighbour[: len(priors)] = [p.count_neighbour for p in priors]


def combine(weight: Floats, mean: Floats, variance: Floats) -> tuple[Floats, Floats]:
    """Mean and variance of a mixture, given those of its components.

        m = sum w m_i; var = sum w (var_i + (m_i - m)²)

    Args:
        weight, mean, variance: (..., 2, members).
    Returns:
        Both (...).
    """
    total = (weight * mean).sum(axis=(-2, -1))
    spread = variance + np.square(mean - np.asarray(total)[..., None, None])
    return total, (weight * spread).sum(axis=(-2, -1))
