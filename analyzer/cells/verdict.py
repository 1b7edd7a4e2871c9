"""What is told of a cell, from the probabilities of the hypotheses about it."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.cells.deficit import Evidence
from analyzer.cells.hypotheses import CAPACITY, CHARGE, GRID, capacity_of

Floats = npt.NDArray[np.float64]

CHARGE_LEAST = 0.02  # less charge than this missing is of no practical matter; assumed
CAPACITY_LEAST = 0.03  # nor is less capacity than this; assumed
# A cell is told to be behind, and counted by the run-down, from odds of two to one, until it is as
# likely sound; a flag wants more (`flags.monitor`). Assumed.
TOLD, DOUBTED = 2 / 3, 0.5
# A cause is told from odds of four to one, and kept until the other is the likelier; assumed.
CAUSE, CAUSE_KEPT = 0.8, 0.5


@dataclass(frozen=True)
class Share:
    """A share and its standard deviation."""

    mean: float
    sd: float


@dataclass(frozen=True)
class Verdict:
    """Of one cell.

    Args:
        kind: "cell_charge", "cell_capacity"; "cell_behind" where the causes cannot be told apart;
            empty where the cell is not behind.
        sureness_frac: Probability of what is told.
        size: Charge or capacity missing. [frac]
        charge_frac, capacity_frac: Probabilities of the causes.
        charge, capacity: Missing, if that is the cause. [frac]
    """

    kind: str
    sureness_frac: float
    size: Share
    charge_frac: float
    capacity_frac: float
    charge: Share
    capacity: Share

    @property
    def behind_frac(self) -> float:
        """Probability that the cell is behind, by whatever cause."""
        return self.charge_frac + self.capacity_frac

    @property
    def expected(self) -> float:
        """Charge missing when the cell is empty, over all causes. [frac]"""
        by_charge = self.charge_frac * self.charge.mean
        return by_charge + self.capacity_frac * self.capacity.mean


def verdict(weight: Floats, seen: Evidence, cell: int, before: str) -> Verdict:
    """Of one cell.

    Args:
        weight: Probability of each hypothesis, (g,).
        before: What was told of it last; empty: nothing.
    """
    missing = capacity_of(seen.loss[cell])
    charge_at = (GRID.cause == CHARGE) & (GRID.charge >= CHARGE_LEAST)
    capacity_at = (GRID.cause == CAPACITY) & (capacity_of(GRID.loss) >= CAPACITY_LEAST)
    charge_frac = float(weight[charge_at].sum())
    capacity_frac = float(weight[capacity_at].sum())
    # dc/dk of c = k / (1 + k)
    capacity_sd = seen.sd[cell] * (1 - missing) ** 2
    charge = _mixture(weight, charge_at, seen.charge[cell], seen.sd[cell])
    capacity = _mixture(weight, capacity_at, missing, capacity_sd)
    shares = {"cell_charge": charge_frac, "cell_capacity": capacity_frac}
    kind = _kind(shares, before)
    size = {"cell_charge": charge, "cell_capacity": capacity}.get(kind)
    if size is None:
        here = seen.charge[cell] + seen.loss[cell] * seen.depth
        size = _mixture(weight, charge_at | capacity_at, here, seen.sd[cell])
    sureness = shares.get(kind, charge_frac + capacity_frac)
    return Verdict(kind, sureness, size, charge_frac, capacity_frac, charge, capacity)


def _kind(shares: dict[str, float], before: str) -> str:
    """Told from so much probability on, and as before until there is less than so much."""
    behind = sum(shares.values())
    if behind < (DOUBTED if before else TOLD):
        return ""
    if before in shares and shares[before] >= CAUSE_KEPT * behind:
        return before
    likelier = max(shares, key=lambda kind: shares[kind])
    return likelier if shares[likelier] >= CAUSE else "cell_behind"


def _mixture(weight: Floats, at: npt.NDArray[np.bool_], mean: Floats, sd: Floats) -> Share:
    """Mean and standard deviation over some of the hypotheses, within 0 and 1."""
    share = weight[at] / max(float(weight[at].sum()), 1e-300)
    middle = float(share @ mean[at])
    square = float(share @ (mean[at] ** 2 + sd[at] ** 2))
    return Share(min(max(middle, 0.0), 1.0), max(square - middle**2, 0.0) ** 0.5)
