"""Words beside points of a drawing, placed so that they cover neither each other nor its line."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from analyzer.faces.charts.elements import words

Point = tuple[float, float]
# Of the drawings' 12 px sans-serif; assumed, rather too wide.
LETTER_PX = 6.8
HIGH_PX = 12.0
BELOW_PX = 3.0  # of letters that reach under their line; assumed
# Where words may begin, from their point, in the order in which they are tried; assumed. [px]
_ASIDE = ((7.0, 4.0), (7.0, 16.0), (7.0, -8.0))
_BESIDE_PX = 4.0  # down to here words stand beside their point, not under it; assumed
_FURTHER_PX = (0.0, 8.0, 18.0)  # further out where that covers less; assumed
STEP_PX = 3.0  # the line is looked at this finely: finer than a letter; assumed


@dataclass(frozen=True)
class Box:
    """Where words stand. [px]"""

    left: float
    top: float
    right: float
    bottom: float

    def covers(self, other: "Box") -> bool:
        """Whether two have a point in common."""
        beside = self.right <= other.left or other.right <= self.left
        above = self.bottom <= other.top or other.bottom <= self.top
        return not (beside or above)


class Labels:
    """Places words one after the other.

    Args:
        line: The points that words should leave free, joined in order.
        wide, tall: The drawing's size. [px]
    """

    def __init__(self, line: Sequence[Point], wide: float, tall: float) -> None:
        self._line = _dense(line)
        self._wide = wide
        self._tall = tall
        self._taken: list[Box] = []

    def take(self, x: float, y: float, text: str, anchor: str) -> str:
        """Words at a place of their own; those placed later leave it free."""
        left = x
        if anchor == "end":
            left = x - _across(text)
        box = _box(left, y, text)
        self._taken.append(box)
        return words(x, y, text, anchor)

    def place(self, point: Point, text: str) -> str:
        """Words beside a point, where they cover least."""
        box = min(_tries(point, text), key=self._cost)  # the first of those that cover least
        self._taken.append(box)
        base = box.bottom - BELOW_PX
        return words(box.left, base, text, "start")

    def _cost(self, box: Box) -> float:
        past_side = box.left < 0 or box.right > self._wide
        past_end = box.top < 0 or box.bottom > self._tall
        outside = past_side or past_end
        overlaps = sum(box.covers(other) for other in self._taken)
        x, y = self._line
        in_width = (x > box.left) & (x < box.right)
        in_height = (y > box.top) & (y < box.bottom)
        covered = np.count_nonzero(in_width & in_height)
        return 1000.0 * outside + 100.0 * overlaps + float(covered)


def _across(text: str) -> float:
    """How wide words are. [px]"""
    return LETTER_PX * len(text)


def _box(left: float, base: float, text: str) -> Box:
    """Where words stand that begin at a place of their base line."""
    top = base - HIGH_PX
    right = left + _across(text)
    bottom = base + BELOW_PX
    return Box(left, top, right, bottom)


def _tries(point: Point, text: str) -> list[Box]:
    """Places beside a point, the nearest first; right of it, then left."""
    x, y = point
    found = []
    for further in _FURTHER_PX:
        for dx, dy in _ASIDE:
            after = x + dx + further
            before = x - dx - further - _across(text)
            base = y + dy + _downwards(dy, further)
            found.append(_box(after, base, text))
            found.append(_box(before, base, text))
    return found


def _downwards(dy: float, further: float) -> float:
    """How far words move down that move away from their point. [px]"""
    if dy > _BESIDE_PX:
        return further
    if dy < 0:
        return -further
    return 0.0


def _dense(line: Sequence[Point]) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Points every few pixels along a line, shapes (n,)."""
    pieces = [np.array(line, dtype=np.float64).reshape(-1, 2)]
    for before, after in pairwise(line):
        across = after[0] - before[0]
        down = after[1] - before[1]
        far = float(np.hypot(across, down))
        if far > STEP_PX:
            count = int(far / STEP_PX) + 1
            between = np.linspace(before, after, count)
            pieces.append(between)
    every = np.concatenate(pieces)
    return every[:, 0], every[:, 1]
