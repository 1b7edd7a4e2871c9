"""One cell's charge and capacity missing, fitted to its distances from the median cell by level."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

LEVEL_C = 0.004  # width of a level, as a share of Ah
ALIKE = 3.0  # neighbouring levels that share one error

Curve = tuple[Floats, Floats]


@dataclass(frozen=True)
class Table:
    """What was seen, per level (m), and the median cell's curves while taking and giving.

    place, depth: Charge moved, and from the fullest level on. way: 1 giving, -1 taking, 0 neither.
    slope: Of the curve. amps: Current. distance: Of each cell, (m, cells). before: 1 where it was
    seen before the last full charge, else 0.
    """

    place: Floats
    depth: Floats
    way: npt.NDArray[np.int64]
    slope: Floats
    amps: Floats
    distance: Floats
    weight: Floats
    before: Floats
    curves: tuple[Curve, ...]

    def moved(self, shift: Floats) -> tuple[Floats, Floats, Floats]:
        """What the median cell would show, less what it shows, with `shift` less charge.

        Returns:
            Volts, slope there, and whether the curve was seen there; all (m,).
        """
        volts, slope = np.asarray(-self.slope * shift), self.slope.copy()
        seen = np.ones(len(shift))
        for one, (x, y) in zip((-1, 1), self.curves, strict=True):
            at = np.flatnonzero(self.way == one)
            if len(at) == 0 or len(x) < 6:
                continue
            here, there = self.place[at], self.place[at] + shift[at]
            volts[at] = _along(there, x, y) - _along(here, x, y)
            slope[at] = (_along(there - LEVEL_C, x, y) - _along(there + LEVEL_C, x, y)) / (
                2 * LEVEL_C
            )
            seen[at] = np.where((there < x[0]) | (there > x[-1]), 0.1, 1.0)
        return volts, np.maximum(slope, 0.0), seen


def _along(at: Floats, x: Floats, y: Floats) -> Floats:
    """Linear interpolation, going on with the slope of the last few levels at both ends."""
    low = (y[3] - y[0]) / max(x[3] - x[0], 1e-9)
    high = (y[-1] - y[-4]) / max(x[-1] - x[-4], 1e-9)
    beyond = np.minimum(at - x[0], 0.0) * low + np.maximum(at - x[-1], 0.0) * high
    return np.asarray(np.interp(at, x, y) + beyond)


@dataclass(frozen=True)
class CellFit:
    """Offset, resistance, charge and capacity missing of one cell, and how much more charge before
    the last full charge, with their covariance.

    miss: half the chi-square. wide: by how much it should be less. prior: the prior's part.
    """

    found: Floats
    cov: Floats
    miss: float
    wide: float
    prior: float

    def total(self, *weights: float) -> tuple[float, float]:
        """A sum of the five, so weighted, and its sd."""
        w = np.array(weights)
        return float(w @ self.found), math.sqrt(float(w @ self.cov @ w))


@dataclass(frozen=True)
class _Look:
    """One trial of a cell's five numbers: its chi-square, the prior's part, the step from here."""

    found: Floats
    chi: float
    penalty: float
    step: Floats
    cov: Floats


def _look(table: Table, rest: Floats, prior: Floats, found: Floats) -> _Look:
    shift = found[2] + found[3] * table.depth + found[4] * table.before
    volts, slope, seen = table.moved(np.clip(shift, -0.2, 0.2))
    weight = table.weight * seen
    miss = rest - (found[0] - found[1] * table.amps + volts)
    ones = np.ones(len(rest))
    a = np.column_stack([ones, -table.amps, -slope, -slope * table.depth, -slope * table.before])
    cov = np.asarray(np.linalg.inv(a.T @ (a * weight[:, None]) + np.diag(1 / prior**2)))
    step = np.asarray(cov @ (a.T @ (miss * weight) - found / prior**2))
    chi, penalty = float((miss**2 * weight).sum()), float(((found / prior) ** 2).sum())
    return _Look(found, chi, penalty, step, cov)


def cell_fit(table: Table, rest: Floats, prior: Floats) -> CellFit:
    """Gauss-Newton along the median cell's own curve; a step that does not pay is shortened.

    Args:
        rest: The cell's distance from the median cell at each level, at rest, (m,). [V]
        prior: Standard deviations of the five numbers, about nought, (5,).
    """
    at = _look(table, rest, prior, np.zeros(5))
    for _ in range(6):
        for part in (1.0, 0.5, 0.25, 0.125):
            there = _look(table, rest, prior, at.found + part * at.step)
            if there.chi + there.penalty < at.chi + at.penalty:
                break
        else:
            break
        moved, at = part * at.step, there
        if np.abs(moved[2:]).max() < 3e-4:
            break
    wide = max(math.sqrt(at.chi * ALIKE / len(rest)), 1.0)
    return CellFit(at.found, at.cov * wide**2, 0.5 * at.chi, wide, 0.5 * at.penalty)
