"""What may have become of the charge while nothing was measured.

Mostly the pack is as it was left, less what a sleeping boat draws. It may have been charged, then
most likely to the end; or she was used and the recorder was not. Each is a guess of the bank's; the
voltage afterwards tells them apart, on the flat part by the branch of hysteresis that a charge
leaves behind.
"""

import numpy as np
import numpy.typing as npt

from analyzer.estimation.quantiles import normal_below
from analyzer.pack.soc_filter import (
    EDGES,
    HYST,
    MOST,
    SOC,
    WANDER,
    WANDER_REST_V,
    WIDE_SD,
    Guesses,
)
from logger.units import HOUR_S

Floats = npt.NDArray[np.float64]

UNSEEN_S = 900.0  # from then on; before, the load beside the gap says enough
# All of these: assumed.
CHARGED = 0.5  # how often a pack that lay unseen for long was charged
CHARGED_H = 12.0  # and after how long that is to be thought of
ANYTHING = 0.05  # how often something else happened
LEFT_C, MOST_LEFT = 0.01, 0.25  # sd of what a sleeping boat draws, as a share of Ah; at the most
CHARGER_C = 0.5  # the strongest charger, likewise
FULL_SHARE = 0.5  # of the charges, at the least, that go on to the end
AFTER_CHARGE, AFTER_CHARGE_SD = 0.9, 0.3  # hysteresis
AFTER_ANYTHING_SD = 0.7
BELIEVED = 0.8  # how often a device's gauge is right where readings were missed
LEAST = 1e-5  # weight of a guess that is kept


def unseen(bank: Guesses, gap_s: float, drift_sd: float) -> None:
    """Changes the bank to what can be known after a time without readings.

    What was learned of the cell stays; that the charge was this or that stays as one possibility.

    Args:
        drift_sd: What counting alone had lost before, beside the guesses' own doubt. [frac]
    """
    hours = gap_s / HOUR_S
    long = 1.0 - float(np.exp(-hours / CHARGED_H))
    charged, anything = CHARGED * long, ANYTHING * long
    weight = bank.weights()
    bank.p[SOC, SOC] += min(LEFT_C * hours, MOST_LEFT) ** 2 + drift_sd**2
    charge, sd = bank.x[SOC].copy(), np.sqrt(bank.p[SOC, SOC])
    put_in = charged * (weight @ _charged(charge, hours))
    other = anything * np.diff(EDGES)
    after = put_in / (put_in + other)
    branch = after * AFTER_CHARGE
    branch_var = after * (AFTER_CHARGE_SD**2 + (1 - after) * AFTER_CHARGE**2)
    branch_var += (1 - after) * AFTER_ANYTHING_SD**2
    x, p = _afresh(bank, branch, branch_var)
    left = (1 - charged - anything) * weight
    if weight @ sd > WIDE_SD:  # too wide for straight lines on the curve
        mean, var = bank.mean_var()
        cells = weight @ _normal(charge, sd)
        still, still_p = _afresh(
            bank, np.full(len(cells), mean[HYST]), np.full(len(cells), var[HYST])
        )
        left = (1 - charged - anything) * cells
    else:
        still, still_p = bank.x, bank.p
    share = np.concatenate([left, put_in + other])
    x, p = np.hstack([still, x]), np.concatenate([still_p, p], axis=2)
    likely = np.sort(np.argsort(share)[-MOST:])
    likely = likely[share[likely] > LEAST]
    bank.x, bank.p = np.ascontiguousarray(x[:, likely]), np.ascontiguousarray(p[:, :, likely])
    bank.logw = np.log(share[likely] / share.max())


def told(bank: Guesses, soc: float, sd: float) -> None:
    """Weighs the guesses by what a device's gauge says, which may have lost count itself."""
    z = (bank.x[SOC] - soc) / sd
    bank.logw += np.log(BELIEVED * np.exp(-0.5 * z * z) + 1 - BELIEVED)
    bank.logw -= bank.logw.max()


def _afresh(bank: Guesses, branch: Floats, branch_var: Floats) -> tuple[Floats, Floats]:
    """A guess for each stretch between `EDGES`, with all else as the bank has it on the whole.

    Returns:
        Means (states, m) and covariances (states, states, m).
    """
    weight = bank.weights()
    mean = bank.x @ weight
    off = bank.x - mean[:, None]
    cov = np.einsum("ijk,k->ij", bank.p, weight) + np.einsum("ik,jk,k->ij", off, off, weight)
    for state in (SOC, HYST, WANDER):
        cov[state] = cov[:, state] = 0.0
    wide = np.diff(EDGES)
    x, p = np.repeat(mean[:, None], len(wide), axis=1), np.repeat(cov[:, :, None], len(wide), 2)
    x[SOC], p[SOC, SOC] = 0.5 * (EDGES[1:] + EDGES[:-1]), (0.5 * wide) ** 2
    x[HYST], p[HYST, HYST] = branch, branch_var
    x[WANDER], p[WANDER, WANDER] = 0.0, WANDER_REST_V**2
    return x, p


def _charged(charge: Floats, hours: float) -> Floats:
    """Where a charge from `charge` ends: shares between `EDGES`, (m, cells)."""
    start = np.clip(charge, 0.0, 1.0)[:, None]
    reach = np.maximum(CHARGER_C * hours, 1e-6)
    reach = np.minimum(reach, (1.0 - start) / (1.0 - FULL_SHARE) + 1e-6)
    upto = np.clip((EDGES - start) / reach, 0.0, 1.0)
    upto[:, -1] = 1.0  # a charger stops there
    return np.asarray(np.diff(upto, axis=1))


def _normal(charge: Floats, sd: Floats) -> Floats:
    """Shares of normal distributions between `EDGES`; tails belong to the ends. (m, cells)"""
    upto = normal_below((EDGES - charge[:, None]) / sd[:, None])
    upto[:, 0], upto[:, -1] = 0.0, 1.0
    return np.asarray(np.diff(upto, axis=1))
