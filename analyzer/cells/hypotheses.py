"""Why a cell may be behind the others: a grid of hypotheses, each a cause and its size.

A cell is healthy; or it holds less (or more) charge at every level alike, by s; or it has less
capacity, by c, and falls behind as the pack empties. With D the charge given from full,

    shift(D) = s + D c / (1 - c)

is the charge that it lacks beside the median cell, all as shares of the rated capacity. Sizes have
the bounds that physics sets: s in (-1, 1), c in [0, 1). They stand in bins, the closer the smaller,
and each bin's width is carried as the standard deviation of a linear correction.

Beside each of these its resistance is usual or raised, independent of the rest before anything is
seen: a mixture over 2 x g hypotheses, of which the first row has a usual resistance.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

HEALTHY, CHARGE, CAPACITY = 0, 1, 2  # numbers of the causes: by definition
LEAST, MOST = 0.02, 0.95  # sizes of a fault, as shares of the rated capacity; assumed
RATIO = 1.12  # from one bin to the next; assumed
WIDEST = (
    0.025  # bin, so that a cell finds its place on the curve's knee, some hundredths wide; assumed
)
USUAL_FAULT = 0.1  # sizes fall off by e over so much: small faults are the commoner; assumed
FAULT = 0.01  # probability of each cause, of a cell that nothing is known of; assumed
# Standard deviation of healthy cells. New ones differ by 0.2 to 0.3 % in capacity (Wildfeuer and
# Lienkamp 2021, of earlier studies); a pack in service by more: assumed.
CHARGE_SD, CAPACITY_SD = 0.005, 0.007


@dataclass(frozen=True)
class Grid:
    """All hypotheses; arrays (g,).

    Args:
        cause: HEALTHY, CHARGE or CAPACITY.
        charge: Charge missing at every level. [frac]
        loss: Charge missing for each unit of charge given, c / (1 - c).
        charge_sd, loss_sd: What a bin, or health, leaves open of each.
        prior: Probability before anything was seen.
    """

    cause: Ints
    charge: Floats
    loss: Floats
    charge_sd: Floats
    loss_sd: Floats
    prior: Floats

    @property
    def size(self) -> Floats:
        """Charge or capacity missing. [frac]"""
        return self.charge + capacity_of(self.loss)


def capacity_of(loss: Floats) -> Floats:
    """Capacity missing for charge missing per unit given: c = k / (1 + k)."""
    return np.asarray(loss / (1.0 + loss))


def _bins() -> tuple[Floats, Floats]:
    """Middles of bins that grow by `RATIO` up to `WIDEST`, and their half widths."""
    middles = [LEAST]
    while middles[-1] < MOST:
        middles.append(middles[-1] + min((RATIO - 1) * middles[-1], WIDEST))
    size = np.array(middles)
    return size, np.gradient(size) / 2


def _grid() -> Grid:
    size, half = _bins()
    # The density of sizes times the bin's width.
    prior = np.exp(-size / USUAL_FAULT) * half
    prior *= FAULT / prior.sum()
    counts = (1, 2 * len(size), len(size))
    zero = np.zeros(len(size))
    # k = c / (1 - c), dk/dc = 1 / (1 - c)^2
    loss, loss_half = size / (1 - size), half / (1 - size) ** 2
    return Grid(
        cause=np.repeat([HEALTHY, CHARGE, CAPACITY], counts),
        charge=np.concatenate([[0.0], size, -size, zero]),
        loss=np.concatenate([np.zeros(1 + counts[CHARGE]), loss]),
        charge_sd=np.concatenate([[CHARGE_SD], half, half, zero + CHARGE_SD]),
        loss_sd=np.concatenate([np.full(1 + counts[CHARGE], CAPACITY_SD), loss_half]),
        prior=np.concatenate([[1 - 3 * FAULT], prior, prior, prior]),
    )


GRID = _grid()
USUAL, RAISED = 0, 1  # rows of the mixture: by definition
PRIOR = np.outer([1 - FAULT, FAULT], GRID.prior)  # before anything was seen, (2, g)


def after_levelling(weight: Floats) -> Floats:
    """What a full charge leaves of each hypothesis: it may level charge, it mends no capacity.

    Of the charge that a cell was found to lack, half of the probability stays where it was, for no
    balancing is known to have worked; a quarter is healthy, a quarter is levelled in part. Assumed.

    Args:
        weight: (..., g).
    """
    out = weight.copy()
    for sign in (1, -1):
        at = np.flatnonzero((GRID.cause == CHARGE) & (np.sign(GRID.charge) == sign))
        held = weight[..., at]
        out[..., at] = 0.5 * held
        out[..., 0] += 0.25 * held.sum(axis=-1)
        # In part: evenly over all bins below, from the largest down.
        share = held / np.arange(1, len(at) + 1)
        out[..., at] += 0.25 * np.cumsum(share[..., ::-1], axis=-1)[..., ::-1]
    return out
