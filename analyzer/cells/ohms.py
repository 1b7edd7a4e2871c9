"""Resistances of the cells beside the median cell's, and what is left open of them.

Load steps give a resistance as a mean over the charges at which the load changed. Below a steady
load it is another one: it grows towards empty and full, and polarises over minutes, as far as it
lies within the cell; in a link it does neither. Both are left open in proportion to how far it is
raised, so that a bad link is not taken for a cell behind.

Load steps tell between two hypotheses: the excess is a healthy cell's, of a Student distribution
whose scale is that of the others about their median; or it is raised by more than is of no matter,
L, by an exponential distribution of scale U. Seen with a normal error of standard deviation sd the
latter is, at an excess x,

    p(x) = exp(sd^2 / (2 U^2) - (x - L) / U) Phi((x - L) / sd - sd / U) / U

(the exponentially modified normal distribution, textbook).
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analyzer.pack.cell_model import Chemistry

Floats = npt.NDArray[np.float64]

# Standard deviation of healthy cells' resistance, of the median: 0.7 to 3.8 % as measured on new
# cells (Wildfeuer and Lienkamp 2021, of earlier studies), links and service on top: assumed. It
# counts as much as so many cells.
HEALTHY_SD, COUNTS_AS = 0.04, 10.0
MAD_EFFICIENCY = 0.37  # of the median absolute deviation beside the standard deviation: handbook
MAD_TO_SD = 1.4826  # of a normal distribution: handbook
LEAST_EXCESS = 0.18  # of the median: less is of no practical matter; assumed
USUAL_EXCESS = 0.4  # of the median; assumed
# What is unlikelier by both hypotheses tells nothing between them; no exponential is beyond a float
# (common practice, no source).
LEAST_DENSITY, MOST_EXPONENT = 1e-300, 700.0
# Slow polarisation, which load steps do not show: of the median's resistance, as far as healthy
# cells differ; of the cell's own excess, as usual circuits have it (0.45 / 1.0); assumed.
SLOW_SHARE, SLOW_EXCESS = 0.05, 0.45
KNOTS = np.array([0.0, 0.3, 1.0])  # charges where usual cells' slow resistance bends; assumed
ROUND = 1.2  # ratio to which standard deviations are rounded; assumed
VARIES = 0.15  # of a raised resistance, by current and temperature; assumed
# Of the median's resistance: what usual cells differ by where no load step was seen, and what load
# steps must leave open at least for it to matter whether one is raised; assumed.
UNSEEN_SD, TOLD_SD = 0.2, 0.05


@dataclass(frozen=True)
class Ohms:
    """Resistances of one cell. [ohm]

    Args:
        median: Of the median cell.
        excess, excess_sd: Of each above it, (cells,); sd infinite where nothing is known.
        ratio: Likelihood of what load steps showed, if raised over if usual, (cells,); None: 1.
    """

    median: float
    excess: Floats
    excess_sd: Floats
    ratio: Floats | None = None

    @property
    def known(self) -> bool:
        """Whether load steps tell more than whether a resistance is raised does."""
        return bool((self.excess_sd < TOLD_SD * self.median).all())

    def if_usual(self) -> "Ohms":
        """Where no resistance is raised."""
        return self._if(0.0, UNSEEN_SD * self.median)

    def if_raised(self) -> "Ohms":
        """Where each is: by the moments of how much one is raised."""
        mean = LEAST_EXCESS + USUAL_EXCESS
        return self._if(mean * self.median, USUAL_EXCESS * self.median)

    def _if(self, mean: float, sd: float) -> "Ohms":
        """By load steps and a normal prior."""
        seen = self.excess_sd**-2.0
        precision = seen + sd**-2.0
        excess = (self.excess * seen + mean * sd**-2.0) / precision
        return replace(self, excess=excess, excess_sd=precision**-0.5)

    def slow(self) -> tuple[Floats, Floats]:
        """Of what a lagged current drops beside the median cell: mean and sd, (cells,).

        All of a raised resistance may lie within the cell, which polarises with it, or in its link.
        """
        half = SLOW_EXCESS * self.excess / 2
        own = SLOW_EXCESS * self._beyond() / 2
        return half, _alike(np.hypot(own, SLOW_SHARE * self.median))

    def left_open_sd(self, kind: Chemistry) -> Floats:
        """What load steps leave open of what a steady load drops, at `KNOTS`, (cells, k)."""
        own = self._beyond()[:, None] * varies(kind)
        steps = np.hypot(self.excess_sd, SLOW_SHARE * self.median)
        return _alike(np.hypot(steps[:, None], own))

    def _beyond(self) -> Floats:
        """How far each is off the median by more than healthy cells are, (cells,)."""
        return np.maximum(np.abs(self.excess) - 2 * HEALTHY_SD * self.median, 0.0)


def _alike(sd: Floats) -> Floats:
    """Rounded up, so that like cells have one prior and are fitted as one."""
    steps = np.log(sd) / np.log(ROUND)
    return np.asarray(ROUND ** np.ceil(steps))


def varies(kind: Chemistry) -> Floats:
    """How far a raised resistance may lie off its mean at `KNOTS`, as a share of itself, (k,).

    Cells polarise more towards empty and full, links do not.
    """
    shape = np.interp(KNOTS, kind.soc, kind.slow_shape)
    return np.asarray(np.hypot(VARIES, SLOW_EXCESS * (shape - 1.0)))


def hats(charge: Floats) -> Floats:
    """Share of each knot at a charge, one piecewise linear function each, (k, m)."""
    unit = np.eye(len(KNOTS))
    return np.array([np.interp(charge, KNOTS, row) for row in unit])


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
    tail = math.log1p(z * z / freedom)
    return math.exp(log_scale - (half + 0.5) * tail)
