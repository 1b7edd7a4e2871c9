"""How much resistance a joint has too much, by its heat and by the voltage drop.

By heat, per joint: excess = (rise - due) / (path I²), with the rise at the reference current I and
the path from the joint's heat to the probe, which nobody measures: right within a factor of two.

By the drop between pack and controller: the loop's resistance has grown by G since it was known,
in all its joints together. Two hypotheses, weighed by their likelihoods:

    here        the joints found have grown by G together
    elsewhere   they have grown by less, another joint of the loop by the rest

The drop is far the better witness: under the first, heat only says how G divides among the joints.
"""

import math

import numpy as np
from numpy.random import Generator

from analyzer.estimation.estimate import Estimate
from analyzer.estimation.quantiles import Z80
from analyzer.series.series import Floats
from analyzer.thermal.joints import Joint
from analyzer.thermal.loop_resistance import Known

SAMPLES = 2000  # of each joint; a tenth of them is known to 7 %, by definition
# Of the path's logarithm: a factor of two either way in eight of ten, as `joints.Joint` has it; and
# of a healthy joint's rise, which is little beside a bad one's. Assumed.
PATH_LN_SD, HEALTHY_LN_SD = math.log(2.0) / Z80, 0.35
# How likely it is that nothing but the joints found has grown, and by how much another joint of the
# loop would have. Assumed.
NOTHING_ELSE, ELSEWHERE_OHM = 0.9, 1e-3
ROOT_2PI = math.sqrt(2 * math.pi)  # of the normal density, by definition
LEAST_OHM = 1e-7  # a joint's excess below that is none; assumed


def by_heat(joint: Joint, rise_k: Floats, due_k: float, rng: Generator) -> Floats:
    """Samples of the excess resistance, (n,). [ohm]

    Args:
        rise_k: Samples of the settled rise at the reference current that arises at the place, (n,).
        due_k: What of it a healthy joint makes.
    """
    normal = rng.standard_normal((2, len(rise_k)))
    healthy_k = due_k * np.exp(HEALTHY_LN_SD * normal[0])
    path_k_w = joint.path_k_w * np.exp(PATH_LN_SD * normal[1])
    # What the healthy part takes back below nothing is doubt of that part, no negative resistance.
    excess_k = np.maximum(rise_k - healthy_k, 0.0)
    watts = excess_k / path_k_w
    return np.asarray(watts / joint.ref_a**2)


def by_drop(heat_ohm: Floats, grown: Known, rng: Generator) -> tuple[Floats, float]:
    """Samples of the excess by heat and by the loop's growth together.

        p(here)      ~ NOTHING_ELSE E[q(G)]
        p(elsewhere) ~ (1 - NOTHING_ELSE) E[[T < G] exp(-(G - T) / m) / m],  m = ELSEWHERE_OHM

    with T the joints' sum by heat, its density q taken for lognormal.

    Args:
        heat_ohm: Samples by heat of all joints found on the loop, (joints, n).
        grown: Of the loop.
    Returns:
        Samples, (joints, n), and the probability of "here".
    """
    # Never zero, so that a joint which heat says nothing of still has a share.
    heat_ohm = np.maximum(heat_ohm, LEAST_OHM)
    total_ohm = heat_ohm.sum(axis=0)
    normal = rng.standard_normal(len(total_ohm))
    # A resistance does not shrink: what lies below nothing is the meters' noise.
    grown_ohm = np.maximum(grown.ohm + grown.sd_ohm * normal, LEAST_OHM)
    here = NOTHING_ELSE * _lognormal(np.log(total_ohm), grown_ohm)
    # Samples by heat that leave room for another joint, by how likely that one is.
    rest_ohm = grown_ohm - total_ohm
    fits = np.exp(-np.abs(rest_ohm) / ELSEWHERE_OHM)
    fits[rest_ohm <= 0] = 0.0
    something_else = (1 - NOTHING_ELSE) / ELSEWHERE_OHM
    elsewhere = something_else * float(fits.mean())
    probability = here / (here + elsewhere)
    found_ohm = grown_ohm
    if elsewhere > 0:
        # Resampled by those weights: the posterior of the joints if another one grew too.
        weight = fits / fits.sum()
        smaller_ohm = rng.choice(total_ohm, len(fits), p=weight)
        is_here = rng.random(len(fits)) < probability
        found_ohm = np.where(is_here, grown_ohm, smaller_ohm)
    share = heat_ohm / total_ohm
    return share * found_ohm, probability


def _lognormal(ln_samples: Floats, at: Floats) -> float:
    """Mean density, over some points, of the lognormal that fits samples given as logarithms."""
    sd = ln_samples.std()
    apart = np.log(at) - ln_samples.mean()
    normal = np.exp(-0.5 * np.square(apart / sd))
    density = normal / (sd * at)
    return float(density.mean()) / ROOT_2PI


def estimate(ohm: Floats, used: tuple[str, ...]) -> Estimate:
    """Median and 80 % range of samples. [ohm]"""
    low, mid, high = np.quantile(ohm, [0.1, 0.5, 0.9]).tolist()
    return Estimate(mid, low, high, "ohm", used=used)
