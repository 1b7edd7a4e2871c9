"""What load steps say of whether a cell's resistance is raised, or as healthy cells' differ.

Two hypotheses: the excess is a healthy cell's, of a Student distribution whose scale is that of the
others about their median; or it is raised by more than is of no matter, L, by an exponential
distribution of scale U. Seen with a normal error of standard deviation sd that is, at an excess x,

    p(x) = exp(sd^2 / (2 U^2) - (x - L) / U) Phi((x - L) / sd - sd / U) / U

(the exponentially modified normal distribution, textbook).
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
# What is unlikelier by both hypotheses tells nothing between them, and no ratio is beyond a number.
LEAST_DENSITY, MOST_EXPONENT = 1e-300, 700.0


def likelihood_ratio(excess_ohm: Floats, sd_ohm: Floats, median_ohm: float) -> Floats:
    """Likelihood of each excess if raised, over that of a healthy cell, (cells,).

    Args:
        excess_ohm, sd_ohm: Above the median cell, (cells,); sd infinite where nothing is known.
        median_ohm: Of the median cell.
    """
    middle = float(np.median(excess_ohm))
    out = np.ones(len(excess_ohm))
    for cell, (excess, sd) in enumerate(zip(excess_ohm, sd_ohm, strict=True)):
        if sd < median_ohm:  # more leaves all open
            own = float(excess) - middle
            others = np.delete(excess_ohm, cell)
            healthy = _healthy(own, float(sd), others, median_ohm)
            faulty = _faulty(own / median_ohm, float(sd) / median_ohm) / median_ohm
            out[cell] = (faulty + LEAST_DENSITY) / (healthy + LEAST_DENSITY)
    return out


def _faulty(own: float, sd: float) -> float:
    """Density of a raised resistance's excess there; all as shares of the median's."""
    apart = own - LEAST_EXCESS
    tail = math.erfc((sd / USUAL_EXCESS - apart / sd) / math.sqrt(2)) / 2
    exponent = (sd / USUAL_EXCESS) ** 2 / 2 - apart / USUAL_EXCESS
    return math.exp(min(exponent, MOST_EXPONENT)) * tail / USUAL_EXCESS


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


def _student(z: float, freedom: float) -> float:
    """Density of Student's distribution."""
    half = freedom / 2
    log_scale = math.lgamma(half + 0.5) - math.lgamma(half)
    log_scale -= 0.5 * math.log(freedom * math.pi)
    return math.exp(log_scale - (half + 0.5) * math.log1p(z * z / freedom))
