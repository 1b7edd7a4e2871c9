"""Whether a cell's resistance is raised, or within what healthy cells differ by.

Two hypotheses: the excess is a healthy cell's, of a Student distribution whose scale is that of the
others about their median; or it is raised, by an amount that falls off by e over `USUAL_EXCESS`.
"""

import math

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

# Standard deviation of healthy cells' resistance, of the median: 0.7 to 3.8 % as measured on new
# cells (Wildfeuer and Lienkamp 2021, of earlier studies), links and service on top: assumed. It
# counts as much as so many cells.
HEALTHY_SD, COUNTS_AS = 0.04, 10.0
MAD_EFFICIENCY = 0.37  # of the median absolute deviation beside the standard deviation: handbook
MAD_TO_SD = 1.4826  # of a normal distribution: handbook
LEAST_EXCESS = 0.18  # of the median: less is of no practical matter; assumed
USUAL_EXCESS = 0.4  # of the median; assumed
FAULT = 0.01  # probability of a raised resistance, of a cell that nothing is known of; assumed


def raised(excess_ohm: Floats, sd_ohm: Floats, median_ohm: float) -> Floats:
    """Probability that each is raised by more than is of no matter, (cells,).

    Args:
        excess_ohm, sd_ohm: Above the median cell, (cells,); sd infinite where nothing is known.
        median_ohm: Of the median cell.
    """
    middle = float(np.median(excess_ohm))
    out = np.zeros(len(excess_ohm))
    for cell, (excess, sd) in enumerate(zip(excess_ohm, sd_ohm, strict=True)):
        own = float(excess) - middle
        if math.isfinite(sd) and own > LEAST_EXCESS * median_ohm:
            others = np.delete(excess_ohm, cell)
            healthy = _healthy(own, float(sd), others, median_ohm)
            out[cell] = _probability(own, float(sd), healthy, median_ohm)
    return out


def _healthy(own: float, sd: float, others: Floats, median_ohm: float) -> float:
    """Density of a healthy cell's excess there; its spread by the usual one and by the others'."""
    apart = np.abs(others - np.median(others))
    usual = MAD_TO_SD * float(np.median(apart))
    counted = MAD_EFFICIENCY * len(others)
    freedom = COUNTS_AS + counted
    prior_ohm2 = COUNTS_AS * (HEALTHY_SD * median_ohm) ** 2
    spread_ohm2 = (prior_ohm2 + counted * usual**2) / freedom
    scale = math.sqrt(spread_ohm2 + sd**2)
    return _student(own / scale, freedom) / scale


def _probability(own: float, sd: float, healthy: float, median_ohm: float) -> float:
    """By Bayes' rule; of a raised one only what lies above `LEAST_EXCESS` counts."""
    usual = USUAL_EXCESS * median_ohm
    faulty = FAULT * math.exp(-own / usual) / usual
    sound = (1 - FAULT) * healthy
    over = (own - LEAST_EXCESS * median_ohm) / sd
    above = 0.5 * (1 + math.erf(over / math.sqrt(2)))
    return above * faulty / (faulty + sound)


def _student(z: float, freedom: float) -> float:
    """Density of Student's distribution."""
    half = freedom / 2
    log_scale = math.lgamma(half + 0.5) - math.lgamma(half)
    log_scale -= 0.5 * math.log(freedom * math.pi)
    return math.exp(log_scale - (half + 0.5) * math.log1p(z * z / freedom))
