"""THE reduction of a loaded series to steps of equal length: sums, means and products over each.

Steps are counted from the series' first grid time. Readings that come piece by piece are gathered
into steps of the clock by `resample.Gatherer`.
"""

from dataclasses import dataclass

import numpy as np

from analyzer.series.series import Bools, Floats, Ints

__all__ = [
    "Bools",
    "Ints",
    "Steps",
    "moving_mean",
    "moving_sum",
    "readings_per_step",
    "whole_steps",
]


def readings_per_step(length_s: float, step_s: float) -> int:
    """How many readings `step_s` apart make a step of about `length_s`, at least one."""
    return max(round(length_s / step_s), 1)


def whole_steps(values: Floats, per: int) -> Floats:
    """Rows of `per` readings, an incomplete last one left out. (n, ...) to (n // per, per, ...)"""
    whole = len(values) // per
    shape = (whole, per, *values.shape[1:])
    return values[: whole * per].reshape(shape)


def moving_sum(values: Floats, half: int) -> Floats:
    """Sums over `half` readings to either side and the one between, fewer at the ends. (n,)"""
    so_far = np.concatenate([[0], np.cumsum(values)])
    n = len(values)
    at = np.arange(n)
    low = np.maximum(at - half, 0)
    high = np.minimum(at + half + 1, n)
    return np.asarray(so_far[high] - so_far[low])


def moving_mean(values: Floats, half: int) -> Floats:
    """Means over the same windows of the readings that are there; NaN where none is. (n,)"""
    known = np.isfinite(values)
    count = moving_sum(known, half)
    total = moving_sum(np.where(known, values, 0.0), half)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


@dataclass(frozen=True)
class Steps:
    """Where steps lie among n readings; the last may be shorter.

    Args:
        step_s: Between readings. [s]
        first: First reading of each step, (m,).
        step_of: Each reading's step, (n,).
        count: Readings of each step, (m,).
    """

    step_s: float
    first: Ints
    step_of: Ints
    count: Ints

    @classmethod
    def of(cls, n: int, step_s: float, per: int) -> "Steps":
        """Steps of `per` readings each."""
        first = np.arange(0, n, per)
        return cls(
            step_s=step_s,
            first=first,
            step_of=np.arange(n) // per,
            count=np.diff(np.append(first, n)),
        )

    @property
    def length_s(self) -> Floats:
        """Length of each step, (m,). [s]"""
        return np.asarray(self.count * self.step_s)

    def total(self, values: Floats) -> Floats:
        """Sums over the steps, (n, ...) to (m, ...)."""
        if not len(values):
            return values
        return np.asarray(np.add.reduceat(values, self.first))

    def any(self, mask: Bools) -> Bools:
        """Whether it holds anywhere in a step, (n,) to (m,)."""
        if not len(mask):
            return mask
        return np.asarray(np.logical_or.reduceat(mask, self.first))

    def mean(self, values: Floats, ok: Bools | None = None) -> Floats:
        """Means over the readings that are `ok`, (n,); NaN where a step has none.

        Args:
            values: Shape (n,) or (n, columns).
            ok: None: over all of them, NaN where one of a step is missing.
        """
        if ok is None:
            return self.total(values) / self.count
        count = self.total(ok.astype(float))
        if values.ndim > 1:  # a mask is the same for all columns
            extra = tuple(range(1, values.ndim))
            count, ok = np.expand_dims(count, extra), np.expand_dims(ok, extra)
        known = np.where(ok, values, 0.0)
        mean = self.total(known) / np.where(count == 0, 1.0, count)
        return np.where(count == 0, np.nan, mean)

    def products(self, columns: list[Floats], ok: Bools) -> list[Floats]:
        """Sums of products of deviations from step means: 01, 02, 11, 12, 22, 13, 23. (m,) each"""
        off = []
        for values in columns:
            mean = self.mean(values, ok)
            off.append(values - mean[self.step_of])
        pairs = ((0, 1), (0, 2), (1, 1), (1, 2), (2, 2), (1, 3), (2, 3))
        return [self.total(np.where(ok, off[a] * off[b], 0.0)) for a, b in pairs]
