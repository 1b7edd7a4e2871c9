"""What is asked of the bodies' posterior: what a load makes in them, where they end, and when.

By the heat balance of `transition.py`, at rest dT/dt = dH/dt = 0:

    T = T_air + o + c d + load ((1 + k) r + (1 + PHI k) g + s)

The bracket without s, which is a device's, is the settled rise at the reference load.
"""

import math
from dataclasses import dataclass

import numpy as np

from analyzer.estimation.quantiles import normal_below
from analyzer.series.series import Floats
from analyzer.thermal.filter import ThermalImm, combine
from analyzer.thermal.transition import (
    DEVICE,
    NEIGHBOUR,
    OFFSET,
    PHI,
    RISE,
    SECOND,
    TEMP,
    apart_s,
)

NEVER_S = 48 * 3600.0  # no load lasts as long; assumed
RANGE_HALVINGS, CROSSING_HALVINGS = 24, 40  # to 1e-7 of what is searched, and to 1 µs; assumed
LEAST_K2 = 1e-9  # a variance that rounding made zero or less; assumed


def rise(imm: ThermalImm) -> tuple[Floats, Floats]:
    """Settled rise at the reference load: mean and standard deviation, (bodies,). [K]

    What a slow neighbour brings is part of it where the prior says so.
    """
    mean, var = combine(imm.weight, *_rises(imm, slice(None)))
    return mean, np.sqrt(np.maximum(var, 0.0))


def rise_above(imm: ThermalImm, body: int, level_k: float) -> float:
    """Probability that a body's settled rise at the reference load is above a level."""
    mean_k, var_k2 = _rises(imm, body)
    sd_k = np.sqrt(np.maximum(var_k2, LEAST_K2))
    # From the whole bank: the posterior is skewed, its mean and spread would say too little.
    above = normal_below((mean_k - level_k) / sd_k)
    return float(np.sum(imm.weight[body] * above))


def _rises(imm: ThermalImm, which: slice | int) -> tuple[Floats, Floats]:
    """Mean and variance of the settled rise in each filter, (..., 2, members)."""
    mean, cov = imm.mean[:, which], imm.cov[:, :, which]
    share = imm.network.share[which]
    own = 1 + share  # the second node gives back what it got: see the equation at rest
    through = imm.count_neighbour[which] * (1 + PHI * share)
    mean_k = own * mean[RISE] + through * mean[NEIGHBOUR]
    own_k2 = np.square(own) * cov[RISE, RISE]
    through_k2 = np.square(through) * cov[NEIGHBOUR, NEIGHBOUR]
    return mean_k, own_k2 + through_k2 + 2 * own * through * cov[RISE, NEIGHBOUR]


def settled(imm: ThermalImm, body: int, load: float) -> tuple[float, float]:
    """Temperature that a load will end in: mean and standard deviation. [°C]"""
    mean_k, var_k2 = _settled(imm, body, load)
    above_k, all_k2 = combine(imm.weight[body], mean_k, var_k2)
    sd_k = math.sqrt(max(float(all_k2), 0.0))
    return float(imm.air_c[body] + above_k), sd_k


def settled_range(imm: ThermalImm, body: int, load: float) -> tuple[float, float, float]:
    """Temperature that a load will end in: tenth, half and nine tenths of the posterior. [°C]"""
    mean_k, var_k2 = _settled(imm, body, load)
    sd_k = np.sqrt(np.maximum(var_k2, 1e-6))
    # From the whole bank: a sound body's end and a loosening one's may lie far apart.
    weight, air_c = imm.weight[body], float(imm.air_c[body])
    low = _mixture_quantile(weight, mean_k, sd_k, 0.1)
    mid = _mixture_quantile(weight, mean_k, sd_k, 0.5)
    high = _mixture_quantile(weight, mean_k, sd_k, 0.9)
    return air_c + low, air_c + mid, air_c + high


def _settled(imm: ThermalImm, body: int, load: float) -> tuple[Floats, Floats]:
    """Mean and variance above the air at rest in each filter, (2, members).

    A second node stands for those around it, so that what it has still to add is known to
    second_ln_sd only.
    """
    mean, cov = imm.mean[:, body], imm.cov[:, :, body]
    share = imm.network.share[body]
    h = np.zeros((len(mean), *share.shape))
    h[RISE] = load * (1 + share)
    h[NEIGHBOUR] = load * (1 + PHI * share)
    h[OFFSET] = 1.0
    second_end_k = load * share * (mean[RISE] + PHI * mean[NEIGHBOUR])
    if imm.on_device:
        measured, device_k = _device(imm, body)
        h[DEVICE] = device_k if measured else load
        second_end_k = second_end_k + (0.0 if measured else load * mean[DEVICE])
    var_k2 = np.einsum("i...,ij...,j...->...", h, cov, h)  # h' P h
    to_come_k = second_end_k - mean[SECOND]
    to_come_sd_k = imm.priors[body].second_ln_sd * to_come_k
    return np.sum(h * mean, axis=0), var_k2 + np.square(to_come_sd_k)


def _device(imm: ThermalImm, body: int) -> tuple[bool, float]:
    """Whether the device that a body is on is measured, and its warmth above the air. [K]

    Nobody knows where it goes from here: what it is now is the likeliest.
    """
    device_k = float(imm.device_k[body])
    return math.isfinite(device_k), device_k


def _mixture_quantile(weight: Floats, mean: Floats, sd: Floats, share: float) -> float:
    """Quantile of a mixture of normal distributions, by bisection."""
    # Beyond six deviations of every component there is nothing to find.
    low = float(np.min(mean - 6 * sd))
    high = float(np.max(mean + 6 * sd))
    for _ in range(RANGE_HALVINGS):
        middle = 0.5 * (low + high)
        below = normal_below((middle - mean) / sd)
        if np.sum(weight * below) < share:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


@dataclass(frozen=True)
class HeatSamples:
    """Joint samples of one body's posterior, (n,); see `transition.py` for what they are.

    rise_k and neighbour_k are settled, the second node's warming included; device_k is what comes
    through that alone from a device. The warmth of one that is measured is in offset_k.
    """

    temp_c: Floats
    rise_k: Floats
    offset_k: Floats
    neighbour_k: Floats
    second_k: Floats
    device_k: Floats
    share: Floats
    tau_s: Floats
    second_tau_s: Floats
    air_c: float


def samples(imm: ThermalImm, body: int, n: int, rng: np.random.Generator) -> HeatSamples:
    """Draws filters by their weights, and states from each filter's normal distribution."""
    weight = imm.weight[body]
    which = rng.choice(weight.size, size=n, p=weight.ravel())
    states = len(imm.mean)
    mean = imm.mean[:, body].reshape(states, -1).T
    cov = imm.cov[:, :, body].reshape(states, states, -1)
    cov = np.moveaxis(cov, -1, 0)
    # A square root by eigenvalues: a Cholesky factor wants them positive, and rounding leaves
    # some a little below zero.
    value, vector = np.linalg.eigh(cov)
    sd = np.sqrt(np.maximum(value, 0.0))
    root = vector * sd[:, None, :]
    normal = rng.standard_normal((n, states))
    x = mean[which] + np.einsum("nij,nj->ni", root[which], normal)
    # The two hypotheses of a member share its time constants and its second node.
    member = which % weight.shape[1]
    net = imm.network
    share = net.share[body, 0, member]
    offset_k, device_k = x[:, OFFSET], np.zeros(n)
    if imm.on_device:
        measured, above_k = _device(imm, body)
        device_k = device_k if measured else x[:, DEVICE]
        offset_k = offset_k + (x[:, DEVICE] * above_k if measured else 0.0)
    return HeatSamples(
        temp_c=x[:, TEMP],
        rise_k=x[:, RISE] * (1 + share),
        offset_k=offset_k,
        neighbour_k=x[:, NEIGHBOUR] * (1 + PHI * share),
        second_k=x[:, SECOND],
        device_k=device_k,
        share=share,
        tau_s=net.tau_s[body, 0, member],
        second_tau_s=net.second_tau_s[body, 0, member],
        air_c=float(imm.air_c[body]),
    )


def crossing_s(drawn: HeatSamples, load: float, limit_c: float) -> Floats:
    """When warming bodies pass a limit under a load; 0: they have; infinite: never. [s] (n,)

        T(t) = end - slow exp(-t / tau2) - fast exp(-t / tau1)
        slow = (H at rest - H) tau2 / (tau2 - tau1);  fast = end - slow - T(0)

    Solved by bisection; right where T rises all the way, as it does under a load that warms.
    """
    tau_s = drawn.tau_s
    second_tau_s = drawn.second_tau_s
    through = PHI * drawn.share
    settled_k = drawn.rise_k + drawn.neighbour_k + drawn.device_k
    end_c = drawn.air_c + drawn.offset_k + settled_k * load
    from_own_k = drawn.share / (1 + drawn.share) * drawn.rise_k
    from_through_k = through / (1 + through) * drawn.neighbour_k
    second_end_k = (from_own_k + from_through_k + drawn.device_k) * load
    to_come_k = second_end_k - drawn.second_k
    slow_k = to_come_k * second_tau_s / apart_s(tau_s, second_tau_s)
    fast_k = end_c - slow_k - drawn.temp_c
    low = np.zeros(len(end_c))
    high = np.full(len(end_c), NEVER_S)
    for _ in range(CROSSING_HALVINGS):
        t_s = 0.5 * (low + high)
        slow_left_k = slow_k * np.exp(-t_s / second_tau_s)
        fast_left_k = fast_k * np.exp(-t_s / tau_s)
        passed = end_c - slow_left_k - fast_left_k > limit_c
        low = np.where(passed, low, t_s)
        high = np.where(passed, t_s, high)
    # A body that cools from beyond the limit is caught below; one that never gets there, here.
    passes = (end_c > limit_c) & (high < NEVER_S)
    times_s = np.where(passes, high, np.inf)
    return np.where(drawn.temp_c >= limit_c, 0.0, times_s)
