"""Follows what is known of each cell's charge and capacity through the log.

A stretch ends where charge may have moved unseen, where a full charge may have levelled the cells,
and after a day; what it said then becomes what is known, and the next stretch begins.
"""

import math
from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from analyzer.cells.deficit import Evidence, evidence, least_visible
from analyzer.cells.hypotheses import PRIOR, RAISED
from analyzer.cells.levels import Levels
from analyzer.cells.memory import combined, passed_on, probabilities
from analyzer.cells.ohms import Ohms
from analyzer.cells.verdict import Told, Verdict, verdict
from logger.boat import Pack
from logger.units import HOUR_S

Floats = npt.NDArray[np.float64]

ASK_S = 300.0  # of log before the evidence is weighed anew; assumed
LONGEST_S = 20 * HOUR_S  # of a stretch; assumed


class DeficitTracker:
    """Of the cells of one string.

    Args:
        resistances: Gives those of one cell, as far as known.
        known: Probability of each hypothesis by what levels have shown before the log begins,
            (cells, 2, g); None: nothing is.
        told: What each cell was called last, (cells,).
    """

    def __init__(
        self,
        pack: Pack,
        resistances: Callable[[], Ohms],
        told: list[Told],
        known: Floats | None = None,
    ) -> None:
        self.levels = Levels(pack, len(told))
        self.told = told
        self._resistances = resistances
        self._known = np.tile(PRIOR, (len(told), 1, 1)) if known is None else known
        self._time_s = self._begun_s = 0.0
        self._weighed_s = -np.inf
        self._seen = Evidence.nothing(len(told))
        self._weight = self._known

    def step(self, median_v: float, distance_v: Floats, current_a: float, dt_s: float) -> None:
        """Takes in one step. median_v: of one cell. distance_v: shape (cells,). [V]"""
        self._time_s += dt_s
        if self.levels.move(median_v, current_a, dt_s):
            self._pass_on(levelled=True)
        elif self._time_s - self._begun_s > LONGEST_S:
            self._pass_on(levelled=False)
        self.levels.add(median_v, distance_v, current_a, dt_s)

    def gap(self) -> None:
        """Charge may have moved unseen, to the top too."""
        self._pass_on(levelled=True)
        self.levels.lose_place()

    def _pass_on(self, levelled: bool) -> None:
        self._weigh()
        self._known = passed_on(self._weight, levelled)
        self.levels.clear()
        self._begun_s = self._time_s
        self._weighed_s = -np.inf

    def _weigh(self) -> None:
        """Weighs all hypotheses by the stretch so far."""
        self._weighed_s = self._time_s
        ohms = self._resistances()
        table = self.levels.table()
        if table is None:
            self._seen = Evidence.nothing(len(self.told))
            self._weight = self._known
            return
        self._seen = evidence(table, self.levels.kind, ohms)
        self._weight = combined(self._known, self._seen.log_likelihood)

    def weigh(self) -> bool:
        """Weighs the evidence anew where enough has come since. -> Whether it did."""
        due = self._time_s - self._weighed_s >= ASK_S
        if due:
            self._weigh()
        return due

    @property
    def weight(self) -> Floats:
        """Probability of each hypothesis by what levels have shown, (cells, 2, g)."""
        return self._weight

    def verdicts(self) -> list[Verdict]:
        """What is told of each cell: by levels as last weighed, and by load steps."""
        ratio = self._resistances().ratio
        weight = self._weight
        if ratio is not None:
            log_ratio = np.zeros_like(weight)
            log_ratio[:, RAISED] = np.log(ratio)[:, None]
            weight = probabilities(np.log(np.maximum(weight, 1e-300)) + log_ratio)
        found = [
            verdict(of_cell, self._seen, cell, before)
            for cell, (of_cell, before) in enumerate(zip(weight, self.told, strict=True))
        ]
        self.told = [one.told for one in found]
        return found

    def least_visible(self) -> float:
        """Smallest difference in charge that would show at the levels seen, as a share.

        Infinite on a stretch so flat that its slope is not known to be above nothing.
        """
        r_ohm = self._resistances().median
        table = self.levels.table()
        if table is None:
            return math.inf
        return least_visible(table, self.levels.kind, r_ohm)
