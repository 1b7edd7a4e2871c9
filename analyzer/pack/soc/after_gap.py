"""What may have become of the charge while nothing was measured: three hypotheses.

- rested: the pack is as it was left, less what a sleeping boat draws;
- charged: a charger was on, most likely to the end;
- anything: the boat was used and the recorder was not.

Each becomes components of the mixture. The voltage afterwards tells them apart, on the flat part by
the branch of hysteresis that a charge leaves behind.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from analyzer.estimation.quantiles import normal_below
from analyzer.pack.soc.filter import (
    MOST_COMPONENTS,
    SOC_EDGES,
    SPLIT_SD,
    GaussianMixtureFilter,
)
from analyzer.pack.soc.noise import CHARGED, FULL_SHARE, WALK_REST_V
from analyzer.pack.soc.states import HYST, SOC, WALK
from logger.units import HOUR_S

Floats = npt.NDArray[np.float64]

# All of these: assumed.
LONG_GAP_S = 900.0  # from then on; before, the load beside the gap says enough
CHARGED_H = 12.0  # and after how long that is to be thought of
ANYTHING = 0.05  # how often something else happened
LEFT_C, MOST_LEFT = 0.01, 0.25  # sd of what a sleeping boat draws, as a share of Ah; at the most
CHARGER_C = 0.5  # the strongest charger, likewise
AFTER_CHARGE, AFTER_CHARGE_SD = 0.9, 0.3  # hysteresis
AFTER_ANYTHING_SD = 0.7  # of hysteresis
GAUGE_RIGHT = 0.8  # how often a device's gauge is right where readings were missed
LEAST_WEIGHT = 1e-5  # of a component that is kept


class Hypothesis(NamedTuple):
    """Components of one hypothesis: weight (m,), mean (states, m), cov (states, states, m)."""

    weight: Floats
    mean: Floats
    cov: Floats


def reset_after_gap(mixture: GaussianMixtureFilter, gap_s: float, drift_sd: float) -> None:
    """Changes the mixture to the prior after a time without readings.

    What was learned of the cell stays; that the charge was this or that stays as one possibility.

    Args:
        drift_sd: What counting alone had lost before, beside the components' own doubt. [frac]
    """
    hours = gap_s / HOUR_S
    long = 1.0 - float(np.exp(-hours / CHARGED_H))
    charged = CHARGED * long
    anything = ANYTHING * long
    # a sleeping boat's draw is one unknown for all of the gap: it grows with its length
    mixture.cov[SOC, SOC] += min(LEFT_C * hours, MOST_LEFT) ** 2 + drift_sd**2
    put_in = charged * (mixture.weights() @ _charged_shares(mixture.mean[SOC], hours))
    other = anything * np.diff(SOC_EDGES)
    hypotheses = (
        _rested(mixture, 1 - charged - anything),
        _charged_or_anything(mixture, put_in, other),
    )
    _replace(mixture, hypotheses)


def _rested(mixture: GaussianMixtureFilter, probability: float) -> Hypothesis:
    """The pack as it was left; laid over the stretches where that is too wide."""
    weight = mixture.weights()
    charge = mixture.mean[SOC]
    sd = np.sqrt(mixture.cov[SOC, SOC])
    if weight @ sd <= SPLIT_SD:
        return Hypothesis(probability * weight, mixture.mean, mixture.cov)
    # too wide for straight lines on the curve
    mean, var = mixture.mean_var()
    share = probability * (weight @ _normal_shares(charge, sd))
    same = np.ones(len(share))
    return _stretches(mixture, share, mean[HYST] * same, var[HYST] * same)


def _charged_or_anything(
    mixture: GaussianMixtureFilter, charged: Floats, anything: Floats
) -> Hypothesis:
    """Both by stretches of charge, their hysteresis joined to the mixture's two moments.

    Args:
        charged, anything: Probability of each that the charge ends in each stretch, (m,).
    """
    by_charge = charged / (charged + anything)
    hyst = by_charge * AFTER_CHARGE
    hyst_var = by_charge * (AFTER_CHARGE_SD**2 + (1 - by_charge) * AFTER_CHARGE**2)
    hyst_var += (1 - by_charge) * AFTER_ANYTHING_SD**2
    return _stretches(mixture, charged + anything, hyst, hyst_var)


def _replace(mixture: GaussianMixtureFilter, hypotheses: tuple[Hypothesis, ...]) -> None:
    """The hypotheses' heaviest components become the mixture."""
    weight = np.concatenate([one.weight for one in hypotheses])
    mean = np.hstack([one.mean for one in hypotheses])
    cov = np.concatenate([one.cov for one in hypotheses], axis=2)
    likely = np.sort(np.argsort(weight)[-MOST_COMPONENTS:])
    likely = likely[weight[likely] > LEAST_WEIGHT]
    mixture.mean = np.ascontiguousarray(mean[:, likely])
    mixture.cov = np.ascontiguousarray(cov[:, :, likely])
    mixture.log_weight = np.log(weight[likely] / weight.max())


def weigh_by_gauge(mixture: GaussianMixtureFilter, soc: float, sd: float) -> None:
    """Weighs the components by a device's gauge, which may have lost count itself."""
    z = (mixture.mean[SOC] - soc) / sd
    right = GAUGE_RIGHT * np.exp(-0.5 * z * z)
    mixture.log_weight += np.log(right + 1 - GAUGE_RIGHT)
    mixture.log_weight -= mixture.log_weight.max()


def _stretches(
    mixture: GaussianMixtureFilter, weight: Floats, hyst: Floats, hyst_var: Floats
) -> Hypothesis:
    """A component for each stretch between `SOC_EDGES`, all else as the mixture's two moments.

    Args:
        weight, hyst, hyst_var: Of each stretch, (m,).
    """
    before = mixture.weights()
    centre = mixture.mean @ before
    off = mixture.mean - centre[:, None]
    joint = np.einsum("ijk,k->ij", mixture.cov, before)
    joint += np.einsum("ik,jk,k->ij", off, off, before)
    for state in (SOC, HYST, WALK):
        joint[state] = joint[:, state] = 0.0
    width = np.diff(SOC_EDGES)
    mean = np.repeat(centre[:, None], len(width), axis=1)
    cov = np.repeat(joint[:, :, None], len(width), axis=2)
    mean[SOC] = 0.5 * (SOC_EDGES[1:] + SOC_EDGES[:-1])
    cov[SOC, SOC] = (0.5 * width) ** 2
    mean[HYST] = hyst
    cov[HYST, HYST] = hyst_var
    mean[WALK] = 0.0
    cov[WALK, WALK] = WALK_REST_V**2
    return Hypothesis(weight, mean, cov)


def _charged_shares(charge: Floats, hours: float) -> Floats:
    """Where a charge from `charge` ends: shares between `SOC_EDGES`, (m, stretches)."""
    start = np.clip(charge, 0.0, 1.0)[:, None]
    reach = np.maximum(CHARGER_C * hours, 1e-6)
    reach = np.minimum(reach, (1.0 - start) / (1.0 - FULL_SHARE) + 1e-6)
    upto = np.clip((SOC_EDGES - start) / reach, 0.0, 1.0)
    upto[:, -1] = 1.0  # a charger stops there
    return np.asarray(np.diff(upto, axis=1))


def _normal_shares(charge: Floats, sd: Floats) -> Floats:
    """Shares of normal distributions between `SOC_EDGES`; tails go to the ends. (m, stretches)"""
    upto = normal_below((SOC_EDGES - charge[:, None]) / sd[:, None])
    upto[:, 0], upto[:, -1] = 0.0, 1.0
    return np.asarray(np.diff(upto, axis=1))
