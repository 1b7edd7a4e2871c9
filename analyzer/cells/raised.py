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
LEAST_EXCESS = 0.18  # of the median: less is of no practical matter; assumed
USUAL_EXCESS = 0.4  # of the median; assumed
FAULT = 0.01  # probability of a raised resistance, of a cell that nothing is known of; assumed


def raised(excess_ohm: Floats, sd_ohm: Floats, median_ohm: float) -> Floats:
    """Probability that each is raised by more than is of no matter, (cells,).

    Args:
        excess_ohm, sd_ohm: Above the median cell, (cells,); sd infinite where nothing is known.
        median_ohm: Of the median cell.
    """
    return np.array([_one(i, excess_ohm, sd_ohm, median_ohm) for i in range(len(excess_ohm))])


def _one(cell: int, excess_ohm: Floats, sd_ohm: Floats, median_ohm: float) -> float:
    others = np.delete(excess_ohm, cell)
    middle = float(np.median(excess_ohm))
    own = float(excess_ohm[cell]) - middle
    least = LEAST_EXCESS * median_ohm
    if not math.isfinite(sd_ohm[cell]) or own <= least:
        return 0.0
    usual = 1.4826 * float(np.median(np.abs(others - np.median(others))))
    counted = MAD_EFFICIENCY * len(others)
    prior_v = COUNTS_AS * (HEALTHY_SD * median_ohm) ** 2
    freedom = COUNTS_AS + counted
    scale = math.sqrt((prior_v + counted * usual**2) / freedom + float(sd_ohm[cell]) ** 2)
    healthy = _student(own / scale, freedom) / scale
    usual_excess = USUAL_EXCESS * median_ohm
    faulty = math.exp(-own / usual_excess) / usual_excess
    # Of a raised one, only what lies above `least` counts.
    above = 0.5 * (1 + math.erf((own - least) / (math.sqrt(2) * float(sd_ohm[cell]))))
    return above * FAULT * faulty / (FAULT * faulty + (1 - FAULT) * healthy)


def _student(z: float, freedom: float) -> float:
    """Density of Student's distribution."""
    log_scale = math.lgamma((freedom + 1) / 2) - math.lgamma(freedom / 2)
    log_scale -= 0.5 * math.log(freedom * math.pi)
    return math.exp(log_scale - (freedom + 1) / 2 * math.log1p(z * z / freedom))
