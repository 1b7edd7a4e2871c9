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
from analyzer.thermal.prior import HeatPrior, column, per_member
from analyzer.thermal.transition import (
    DEVICE,
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
)

Bools = npt.NDArray[np.bool_]
BANK = (-2, -1)  # axes of one body's filters, by definition

STEP_S = 10.0  # readings are gathered into; a probe's own time constant is longer. Assumed

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
        mean: (states, bodies, 2, members); cov: (states, states, bodies, 2, members). The axis of 2
            is the hypothesis (sound, loosening), members are time constants with second nodes.
            States are STATES, and one more if a body is on a device: `on_device`.
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
        self.on_device = any(p.device_sd > 0 for p in priors)
        states = STATES + self.on_device
        self.mean = np.zeros((states, bodies, 2, members))
        self.cov = np.zeros((states, states, bodies, 2, members))
        self._set_prior(own_frac, 1 / (1 + PHI * net.share))
        self.started = np.zeros(bodies, bool)
        self.air_c = np.full(bodies, np.nan)
        self.device_k = np.full(bodies, np.nan)
        self.doubted_s = np.zeros(bodies)
        self._loaded_s = np.zeros(bodies)
        self._reading_k2 = np.square(column(priors, "noise_k"))
        self._fastest_k_s = column(priors, "fastest_k_s").ravel()
        self.count_neighbour = column(priors, "count_neighbour")
        self._decay = net.decay(0.0)

    def _set_prior(self, own_frac: Floats, through_frac: Floats) -> None:
        def of(name: str) -> Floats:
            return column(self.priors, name)

        # One that is loosening has done so for a while: it may be off by part of an hour's walk.
        loose_sd_k = np.hypot(of("rise_sd_k"), LOOSE_FRAC * of("loose_walk_k"))
        rise_sd_k = np.hstack([of("rise_sd_k"), loose_sd_k])
        self.mean[RISE] = of("rise_k") * own_frac
        self.mean[NEIGHBOUR] = of("neighbour_k") * through_frac
        self.cov[RISE, RISE] = np.square(rise_sd_k * own_frac)
        self.cov[NEIGHBOUR, NEIGHBOUR] = np.square(of("neighbour_sd_k") * through_frac)
        self.cov[OFFSET, OFFSET] = self.noise.offset_k2
        if self.on_device:
            self.mean[DEVICE] = of("device")
            self.cov[DEVICE, DEVICE] = np.square(of("device_sd"))

    def step(
        self,
        dt_s: float,
        load: Floats,
        temp_c: Floats,
        ambient_c: Floats,
        device_k: Floats | None = None,
    ) -> None:
        """One step on: the loads over the step, and the temperatures at its end.

        Args:
            load: Means over the step in units of the reference loads, (bodies,); NaN: not known.
            temp_c: (bodies,); NaN: not measured.
            ambient_c: (bodies,); NaN: the last one holds.
            device_k: Above the air, of the devices that they are on, (bodies,); NaN: not measured.
        """
        if device_k is not None:
            self.device_k = device_k
        self.air_c = np.where(np.isfinite(ambient_c), ambient_c, self.air_c)
        fresh = ~self.started & np.isfinite(temp_c)
        if fresh.any():
            self._start(fresh, temp_c)
        if not self.started.any():
            return
        # Time at the reference load; an unknown load may have been that.
        loaded_frac = np.where(np.isfinite(load), load, 1.0)
        loaded_s = dt_s * np.clip(loaded_frac, 0.0, 1.0)
        change = self._change_probability(loaded_s)
        self.weight, self.mean, self.cov = interact(self.weight, self.mean, self.cov, change)
        self._predict(dt_s, load, loaded_s)
        reached_c = self._gated(temp_c, dt_s)
        self._update(reached_c)

    def _start(self, fresh: Bools, temp_c: Floats) -> None:
        """Conditions the prior on the first readings.

        z - T_air = o + H + c d + N(0, START_SD_K²)

        What a body lies above the air is its place's offset, or heat from before the log.
        """
        self.started = self.started | fresh
        # Where nobody measures the air, the first body is the only sign of it.
        no_air = fresh & ~np.isfinite(self.air_c)
        self.air_c = np.where(no_air, temp_c, self.air_c)
        above_k = per_member((temp_c - self.air_c)[fresh])
        stored_k2 = np.square(STORED_FRAC * above_k) + STORED_SD_K**2
        stored_k2 = np.where(self.network.share[fresh] > 0, stored_k2, 0.0)
        # Of each state in z: its part there, and its prior's mean and variance.
        parts: dict[int, tuple[Floats | float, Floats | float, Floats]] = {
            OFFSET: (1.0, 0.0, self.noise.offset_k2[fresh]),
            SECOND: (1.0, 0.0, stored_k2),
        }
        if self.on_device:
            device_k = per_member(np.nan_to_num(self.device_k[fresh]))
            known = self.mean[DEVICE, fresh], self.cov[DEVICE, DEVICE, fresh]
            parts[DEVICE] = (device_k, *known)
        total_k2 = START_SD_K**2 + sum(var * part**2 for part, _, var in parts.values())
        innovation_k = above_k - sum(mean * part for part, mean, _ in parts.values())
        for i, (part, mean, var) in parts.items():
            gain = var * part / total_k2
            self.mean[i, fresh] = mean + gain * innovation_k
            for j, (other_part, _, other_var) in parts.items():
                own_k2 = var if i == j else 0.0
                self.cov[i, j, fresh] = own_k2 - gain * other_part * other_var
        self._set_temp(fresh, temp_c)

    def _set_temp(self, which: Bools, temp_c: Floats) -> None:
        """Takes readings for the bodies' temperatures, whatever was believed of them."""
        self.mean[TEMP, which] = per_member(temp_c[which])
        self.cov[TEMP, :, which] = 0.0
        self.cov[:, TEMP, which] = 0.0
        self.cov[TEMP, TEMP, which] = self._reading_k2[which]

    def _change_probability(self, loaded_s: Floats) -> Floats:
        """Of leaving each hypothesis within a step, p = 1 - exp(-rate time), (bodies, 2, 1)."""
        self._loaded_s = self._loaded_s + loaded_s
        after_s, before_s = FOUND_S
        early = (self._loaded_s > after_s) & (self._loaded_s < before_s)
        settle_per_h = np.where(early, FOUND_PER_H, SETTLE_PER_H)
        rates_per_h = np.array([np.full(settle_per_h.shape, LOOSEN_PER_H), settle_per_h])
        kept = np.exp(-rates_per_h * (loaded_s / 3600.0))
        return np.asarray((1 - kept).T[..., None])

    def _predict(self, dt_s: float, load: Floats, loaded_s: Floats) -> None:
        """Time update, x <- F x + b, P <- F P F' + Q; F differs from the identity in T and H."""
        if dt_s != self._decay.dt_s:  # most steps are of one length
            self._decay = self.network.decay(dt_s)
        decay = self._decay
        own_load, neighbour_load = self._loads.advance(dt_s, load)
        self._fade_offset(dt_s)
        rows = self.network.moving_rows(decay, own_load, neighbour_load)
        if self.on_device:
            device = self.network.device_rows(decay, own_load, self.device_k)
            rows = np.concatenate([rows, device[:, None]], axis=1)
        air_c = per_member(np.where(self.started, self.air_c, 0.0))
        self._propagate(rows)
        self.mean[TEMP] += decay.gain * air_c
        above_k = self.mean[TEMP] - air_c
        self.cov[RISE, RISE] += self.noise.rise_k2(loaded_s)
        self.cov[TEMP, TEMP] += self.noise.temp_k2(dt_s, above_k)
        lost = ~np.isfinite(load)
        if lost.any():
            self.cov[TEMP, TEMP] += self.noise.unknown_load_k2(decay, lost)

    def _propagate(self, rows: Floats) -> None:
        """x <- F x and P <- F P F' in place, given the rows M of F that are not the identity's.

        P_M. <- M P;  P_MM <- (M P) M'
        """
        mean, cov = self.mean, self.cov
        mean[MOVING] = np.einsum("mk...,k...->m...", rows, mean)
        cross = np.einsum("mk...,kj...->mj...", rows, cov)
        both = np.einsum("mk...,lk...->ml...", cross, rows)
        cov[MOVING] = cross
        cov[:, MOVING] = cross.swapaxes(0, 1)
        cov[MOVING, MOVING] = both

    def _fade_offset(self, dt_s: float) -> None:
        """o <- f o + noise, f = exp(-dt / OFFSET_TAU_S), which keeps its variance far from data."""
        kept = math.exp(-dt_s / OFFSET_TAU_S)
        self.mean[OFFSET] *= kept
        self.cov[OFFSET] *= kept
        self.cov[:, OFFSET] *= kept
        lost_frac = 1 - kept * kept
        self.cov[OFFSET, OFFSET] += lost_frac * self.noise.offset_k2

    def _gated(self, temp_c: Floats, dt_s: float) -> Floats:
        """The readings, NaN for those that their bodies cannot have reached within the step."""
        expected_c = (self.weight * self.mean[TEMP]).sum(axis=BANK)
        jump_k = np.abs(temp_c - expected_c)
        most_k = self._fastest_k_s * dt_s
        jumped = self.started & (jump_k > most_k)
        believed = self.started & (jump_k <= most_k)
        # A probe that says nothing neither gains nor loses trust.
        self.doubted_s = np.where(jumped, self.doubted_s + dt_s, self.doubted_s)
        stays = jumped & (self.doubted_s > DOUBTED_S)
        if stays.any():
            self._set_temp(stays, temp_c)
        self.doubted_s[believed | stays] = 0.0
        return np.where(believed, temp_c, np.nan)

    def _update(self, temp_c: Floats) -> None:
        """Measurement update with z = T + v, var v = R, where a body was measured.

        y = z - T; S = P_TT + R; K = P_.T / S; x <- x + K y; P <- P - K S K'
        w <- w (S^-1/2 exp(-y² / (2 S)))^LIKELIHOOD_POWER, and all weights to 1
        """
        seen = per_member(np.isfinite(temp_c))
        if not seen.any():
            return
        with_temp = self.cov[:, TEMP]  # P_.T
        innovation_k2 = with_temp[TEMP] + self._reading_k2
        innovation_k = per_member(temp_c) - self.mean[TEMP]
        innovation_k = np.where(seen, innovation_k, 0.0)
        gain = with_temp * (seen / innovation_k2)
        self.mean += gain * innovation_k
        self.cov -= gain[:, None] * with_temp
        sigmas2 = np.square(innovation_k) / innovation_k2
        sigmas2 = np.minimum(sigmas2, MOST_SIGMAS2)
        cost = 0.5 * LIKELIHOOD_POWER * (np.log(innovation_k2) + sigmas2)
        self._reweigh(self.weight * np.exp(-cost * seen))

    def _reweigh(self, weight: Floats) -> None:
        """Weights to 1 for each body, none so small that its filter could never come back."""
        highest = weight.max(axis=BANK, keepdims=True)
        weight = np.maximum(weight, math.exp(LEAST_LOG_WEIGHT) * highest)
        self.weight = weight / weight.sum(axis=BANK, keepdims=True)

    def revise_air(self, priors: Sequence[HeatPrior]) -> None:
        """Takes what other priors say of the air: its sensor came or went."""
        first = slice(len(priors))
        self.noise.offset_k2[first] = np.square(column(priors, "offset_sd_k"))
        self.count_neighbour[first] = column(priors, "count_neighbour")

    def revise_device(self, priors: Sequence[HeatPrior]) -> None:
        """Begins anew with what devices bring: a sensor of theirs came or went."""
        self.mean[DEVICE] = column(priors, "device")
        self.cov[DEVICE] = 0.0
        self.cov[:, DEVICE] = 0.0
        self.cov[DEVICE, DEVICE] = np.square(column(priors, "device_sd"))


def interact(
    weight: Floats, mean: Floats, cov: Floats, change: Floats
) -> tuple[Floats, Floats, Floats]:
    """Interaction step, between the two hypotheses i, j of each member.

        c_j = sum_i p_ij w_i                          predicted weight
        m = p_ij w_i / c_j, i not j                   mixing probability
        x_j <- x_j + m (x_i - x_j)
        P_j <- P_j + m (P_i - P_j) + m (1 - m) (x_i - x_j)(x_i - x_j)'

    Args:
        weight: (..., 2, members); mean: (states, ..., 2, members); cov: (states, states, ...).
        change: Probability of leaving each hypothesis, (..., 2, 1).
    Source: Blom and Bar-Shalom 1988, equations of the interaction, written for two models.
    """
    leaving = weight * change
    arriving = leaving[..., ::-1, :]
    after = weight - leaving + arriving
    mixing = arriving / after
    apart = mean[..., ::-1, :] - mean
    spread = mixing * (1 - mixing) * apart
    mixed = cov[..., ::-1, :] - cov
    mixed *= mixing
    mixed += cov
    mixed += spread[:, None] * apart
    return after, mean + mixing * apart, mixed


def combine(weight: Floats, mean: Floats, variance: Floats) -> tuple[Floats, Floats]:
    """Mean and variance of a mixture, given those of its components.

        m = sum w m_i; var = sum w (var_i + (m_i - m)²)

    Args:
        weight, mean, variance: (..., 2, members).
    Returns:
        Both (...).
    """
    total = (weight * mean).sum(axis=BANK, keepdims=True)
    spread = variance + np.square(mean - total)
    return total[..., 0, 0], (weight * spread).sum(axis=BANK)
