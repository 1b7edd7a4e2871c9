"""What a flat curve allows: an observer who knows all but the start and a few millivolts."""

import numpy as np

EVERY = 4  # steps
LASTS_S = 400.0


def hysteresis(share, gamma, start):
    """Of thevenin's cell, from charge steps as a share of capacity. (n,)"""
    out, h = np.empty(len(share)), start
    for k, part in enumerate(share.tolist()):
        toward = -np.sign(part)
        h = toward + (h - toward) * np.exp(-gamma * abs(part))
        out[k] = h
    return out


def ideal_observer(amps, soc, ah, step_s, curve, start, sd_v, gamma=30.0):
    """Mean of the charge that is left possible to who knows curve, gap, circuit and capacity.

    Not known: the charge at the start (told as `start`, 20 % wrong, sd 20 %), on which branch the
    cell stood then, and an error of the voltage of `sd_v` that lasts some minutes. By trying out
    all starts; nothing of the analyzer is in it.

    Args:
        amps, soc: The simulated cell's, shape (n,).
        curve: Functions of charge: voltage at rest, half the gap.
    Returns:
        The charge, shape (n,).
    """
    mean, half = curve
    share = amps * step_s / 3600 / ah
    moved = (soc - soc[0])[::EVERY]
    path = hysteresis(share, gamma, 0.0)[::EVERY]
    left = np.exp(-gamma * np.cumsum(np.abs(share)))[::EVERY]
    true = mean(soc[::EVERY]) + half(soc[::EVERY]) * path
    tried = [(s, h) for s in np.arange(start - 0.4, 1.0001, 0.005) for h in np.linspace(-1, 1, 9)]
    first, branch = np.array(tried).T
    at = np.clip(first[:, None] + moved, 0.0, 1.0)
    off = true - mean(at) - half(at) * (path + branch[:, None] * left)
    keep, noise = np.exp(-step_s * EVERY / LASTS_S), 0.0003**2
    chance = -0.5 * ((first - start) / 0.2) ** 2
    error, var, out = np.zeros(len(first)), sd_v**2, np.empty(len(moved))
    for k in range(len(moved)):
        error, var = keep * error, keep**2 * var + (1 - keep**2) * sd_v**2
        miss = off[:, k] - error
        chance = chance - 0.5 * miss**2 / (var + noise)
        error, var = error + var / (var + noise) * miss, var * noise / (var + noise)
        weight = np.exp(chance - chance.max())
        out[k] = float(weight @ first / weight.sum()) + moved[k]
    return np.repeat(out, EVERY)[: len(soc)]
