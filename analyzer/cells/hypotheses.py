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


def _bins(most: float) -> Floats:
    """Middles of bins that grow by `RATIO`."""
    count = int(np.log(most / LEAST) / np.log(RATIO)) + 1
    return np.asarray(LEAST * RATIO ** np.arange(count))


def _grid() -> Grid:
    charges = _bins(MOST)
    losses = _bins(MOST / (1 - MOST))
    nothing = np.zeros(1)
    width = (RATIO - 1) / 2
    # The density of sizes times the bin's width, which grows with the size.
    by_charge = np.exp(-charges / USUAL_FAULT) * charges
    capacity = capacity_of(losses)
    by_capacity = np.exp(-capacity / USUAL_FAULT) * capacity * (1 - capacity)
    by_charge *= FAULT / by_charge.sum()
    by_capacity *= FAULT / by_capacity.sum()
    sizes = (len(charges), len(charges), len(losses))
    counts = (1, sizes[0] + sizes[1], sizes[2])
    zero = np.zeros(counts[CAPACITY])
    return Grid(
        cause=np.repeat([HEALTHY, CHARGE, CAPACITY], counts),
        charge=np.concatenate([nothing, charges, -charges, zero]),
        loss=np.concatenate([np.zeros(1 + counts[CHARGE]), losses]),
        charge_sd=np.concatenate([[CHARGE_SD], width * charges, width * charges,
                                  zero + CHARGE_SD]),
        loss_sd=np.concatenate([np.full(1 + counts[CHARGE], CAPACITY_SD), width * losses]),
        prior=np.concatenate([[1 - 3 * FAULT], by_charge, by_charge, by_capacity]),
    )  # fmt: skip


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
