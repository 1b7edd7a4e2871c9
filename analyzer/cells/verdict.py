"""What is told of a cell, from the probabilities of the hypotheses about it.

What is told is what is expected to cost least: to call a sound cell behind, to leave a weak one
untold, to name the wrong cause, to say that causes cannot be told apart, and to take back a name.
Who has balanced a cell for days and is then told to replace it believes neither; so a name costs in
advance what it is likely to be taken back for, and once given it stays until another is worth the
change.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.cells.deficit import Evidence
from analyzer.cells.hypotheses import CAPACITY, CHARGE, GRID, RAISED, capacity_of
from analyzer.estimation.estimate import Estimate
from analyzer.estimation.quantiles import Z80

Floats = npt.NDArray[np.float64]

CHARGE_LEAST = 0.02  # less charge than this missing is of no practical matter; assumed
CAPACITY_LEAST = 0.03  # nor is less capacity than this; assumed
# What each costs, in wrong names or false findings. A weak cell left untold costs so much that one
# is told, and counted by the run-down, from odds of two to one; that it is over is said from one to
# one. A name is given from 14 to 1, and changed at 2 to 3. A flag wants more (`flags.monitor`).
# All assumed.
UNTOLD, UNDECIDED, TAKEN_BACK, OVER = 0.6, 0.1, 0.5, 0.2
# A raised resistance is told from this probability on, until it is this likely again; assumed.
TOLD_RAISED, KEPT_RAISED = 0.9, 1 / 3


@dataclass(frozen=True)
class Share:
    """A share and its standard deviation."""

    mean: float
    sd: float

    def estimate(self, used: tuple[str, ...]) -> Estimate:
        """Of a whole: within 0 and 1."""
        low, high = self.mean - Z80 * self.sd, self.mean + Z80 * self.sd
        return Estimate(self.mean, max(low, 0.0), min(high, 1.0), "frac", used=used)


@dataclass(frozen=True)
class Told:
    """What a cell is called.

    Args:
        kind: "cell_charge", "cell_capacity"; "cell_behind" where the causes cannot be told apart;
            empty where the cell is not behind.
        raised: Whether its resistance is called raised.
    """

    kind: str = ""
    raised: bool = False

    @property
    def kinds(self) -> list[str]:
        """Of the findings that this makes."""
        return [*filter(None, [self.kind]), *(["cell_resistance"] if self.raised else [])]

    @classmethod
    def of(cls, kinds: list[str]) -> "Told":
        """The inverse of `kinds`."""
        behind = [kind for kind in kinds if kind != "cell_resistance"]
        return cls(behind[0] if behind else "", "cell_resistance" in kinds)


@dataclass(frozen=True)
class Verdict:
    """Of one cell.

    Args:
        told: What it is called.
        sureness_frac: Probability of the kind told.
        size: Charge or capacity missing. [frac]
        charge_frac, capacity_frac, raised_frac: Probabilities of the causes, alone or together.
        charge, capacity: Missing, if that is the cause. [frac]
    """

    told: Told
    sureness_frac: float
    size: Share
    charge_frac: float
    capacity_frac: float
    raised_frac: float
    charge: Share
    capacity: Share

    @property
    def kind(self) -> str:
        """As it is told."""
        return self.told.kind

    @property
    def behind_frac(self) -> float:
        """Probability that the cell is behind, by whatever cause."""
        return self.charge_frac + self.capacity_frac

    @property
    def expected(self) -> float:
        """Charge missing when the cell is empty, over all causes. [frac]"""
        by_charge = self.charge_frac * self.charge.mean
        return by_charge + self.capacity_frac * self.capacity.mean


def verdict(weight: Floats, seen: Evidence, cell: int, before: Told) -> Verdict:
    """Of one cell.

    Args:
        weight: Probability of each hypothesis, (2, g).
        before: What was told of it last.
    """
    of_cell = _Mixture(weight, seen.charge[cell], seen.loss[cell], seen.sd[cell])
    missing = capacity_of(of_cell.loss)
    charge_at = (GRID.cause == CHARGE) & (GRID.charge >= CHARGE_LEAST)
    capacity_at = (GRID.cause == CAPACITY) & (GRID.size >= CAPACITY_LEAST)
    charge_frac = float(weight[:, charge_at].sum())
    capacity_frac = float(weight[:, capacity_at].sum())
    # dc/dk of c = k / (1 + k)
    capacity_sd = of_cell.sd * (1 - missing) ** 2
    charge = of_cell.share(charge_at, of_cell.charge, of_cell.sd)
    capacity = of_cell.share(capacity_at, missing, capacity_sd)
    shares = {"cell_charge": charge_frac, "cell_capacity": capacity_frac}
    kind = _kind(shares, before.kind)
    size = {"cell_charge": charge, "cell_capacity": capacity}.get(kind)
    if size is None:
        here = of_cell.charge + of_cell.loss * seen.depth
        size = of_cell.share(charge_at | capacity_at, here, of_cell.sd)
    sureness = shares.get(kind, charge_frac + capacity_frac)
    raised_frac = float(weight[RAISED].sum())
    raised = raised_frac >= (KEPT_RAISED if before.raised else TOLD_RAISED)
    told = Told(kind, raised)
    return Verdict(told, sureness, size, charge_frac, capacity_frac, raised_frac, charge, capacity)


def _kind(shares: dict[str, float], before: str) -> str:
    """What is expected to cost least."""
    behind = sum(shares.values())
    cost = {"": UNTOLD * behind, "cell_behind": 1 - behind + UNDECIDED * behind}
    for kind, share in shares.items():
        cost[kind] = 1 - share
        if kind != before:
            cost[kind] += TAKEN_BACK * (1 - share)
    cost[""] += OVER * bool(before)
    if before in shares:
        cost["cell_behind"] += TAKEN_BACK
        for kind in shares:
            cost[kind] += TAKEN_BACK * (kind != before)
    return min(cost, key=lambda kind: cost[kind])


@dataclass(frozen=True)
class _Mixture:
    """What each hypothesis says of one cell, (2, g)."""

    weight: Floats
    charge: Floats
    loss: Floats
    sd: Floats

    def share(self, at: npt.NDArray[np.bool_], mean: Floats, sd: Floats) -> Share:
        """Mean and standard deviation over some of the hypotheses, within 0 and 1."""
        weight, mean, sd = self.weight[:, at], mean[:, at], sd[:, at]
        share = weight / max(float(weight.sum()), 1e-300)
        middle = float((share * mean).sum())
        square = float((share * (mean**2 + sd**2)).sum())
        return Share(min(max(middle, 0.0), 1.0), max(square - middle**2, 0.0) ** 0.5)
