"""Words beside points of a drawing, placed so that they cover neither each other nor its line."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from analyzer.faces.charts.elements import words

Point = tuple[float, float]
LETTER_PX, HIGH_PX = 6.8, 12.0  # of the drawings' 12 px sans-serif; assumed, rather too wide
# Where words may begin, from their point, in the order in which they are tried. [px]
_ASIDE = ((7.0, 4.0), (7.0, 16.0), (7.0, -8.0))
STEP_PX = 3.0  # the line is looked at this finely


@dataclass(frozen=True)
class Box:
    """Where words stand. [px]"""

    left: float
    top: float
    right: float
    bottom: float

    def covers(self, other: "Box") -> bool:
        """Whether two have a point in common."""
        apart = self.right <= other.left or other.right <= self.left
        return not (apart or self.bottom <= other.top or other.bottom <= self.top)


class Labels:
    """Places words one after the other.

    Args:
        line: The points that words should leave free, joined in order.
        wide, tall: The drawing's size. [px]
    """

    def __init__(self, line: Sequence[Point], wide: float, tall: float) -> None:
        self._line = _dense(line)
        self._wide, self._tall = wide, tall
        self._taken: list[Box] = []

    def take(self, x: float, y: float, text: str, anchor: str) -> str:
        """Words at a place of their own; those placed later leave it free."""
        across = LETTER_PX * len(text)
        left = x - across if anchor == "end" else x
        self._taken.append(Box(left, y - HIGH_PX, left + across, y + 3))
        return words(x, y, text, anchor)

    def place(self, point: Point, text: str) -> str:
        """Words beside a point, where they cover least."""
        tries = [(self._cost(box), k, box) for k, box in enumerate(self._tries(point, text))]
        box = min(tries, key=lambda one: one[:2])[2]
        self._taken.append(box)
        return words(box.left, box.bottom - 3, text, "start")

    def _tries(self, point: Point, text: str) -> list[Box]:
        across = LETTER_PX * len(text)
        found = []
        for further in (0.0, 8.0, 18.0):
            for dx, dy in _ASIDE:
                for left in (point[0] + dx + further, point[0] - dx - further - across):
                    base = point[1] + dy + (further if dy > 4 else -further if dy < 0 else 0.0)
                    found.append(Box(left, base - HIGH_PX, left + across, base + 3))
        return found

    def _cost(self, box: Box) -> float:
        outside = box.left < 0 or box.top < 0 or box.right > self._wide or box.bottom > self._tall
        overlaps = sum(box.covers(other) for other in self._taken)
        x, y = self._line
        inside = (x > box.left) & (x < box.right) & (y > box.top) & (y < box.bottom)
        return 1000.0 * outside + 100.0 * overlaps + float(np.count_nonzero(inside))


def _dense(line: Sequence[Point]) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Points every few pixels along a line, shapes (n,)."""
    pieces = [np.array(line, dtype=np.float64).reshape(-1, 2)]
    for before, after in pairwise(line):
        far = float(np.hypot(after[0] - before[0], after[1] - before[1]))
        if far > STEP_PX:
            pieces.append(np.linspace(before, after, int(far / STEP_PX) + 1))
    every = np.concatenate(pieces)
    return every[:, 0], every[:, 1]
