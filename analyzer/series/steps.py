"""THE reduction of a loaded series to steps of equal length: sums, means and products over each.

Steps are counted from the series' first grid time. Readings that come piece by piece are gathered
into steps of the clock by `resample.Gatherer`.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.series.series import Floats

Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]


def readings_per_step(length_s: float, step_s: float) -> int:
    """How many readings `step_s` apart make a step of about `length_s`, at least one."""
    return max(round(length_s / step_s), 1)


def whole_steps(values: Floats, per: int) -> Floats:
    """Rows of `per` readings, an incomplete last one left out. (n, ...) to (n // per, per, ...)"""
    whole = len(values) // per
    return values[: whole * per].reshape(whole, per, *values.shape[1:])


def moving_sum(values: Floats, half: int) -> Floats:
    """Sums over `half` readings to either side and the one between, fewer at the ends. (n,)"""
    so_far = np.concatenate([[0], np.cumsum(values)])
    at = np.arange(len(values))
    low, high = np.maximum(at - half, 0), np.minimum(at + half + 1, len(values))
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
        return cls(step_s, first, np.arange(n) // per, np.diff(np.append(first, n)))

    @property
    def length_s(self) -> Floats:
        """Length of each step, (m,). [s]"""
        return np.asarray(self.count * self.step_s)

    def total(self, values: Floats) -> Floats:
        """Sums over the steps, (n, ...) to (m, ...)."""
        return np.asarray(np.add.reduceat(values, self.first)) if len(values) else values

    def any(self, mask: Bools) -> Bools:
        """Whether it holds anywhere in a step, (n,) to (m,)."""
        return np.asarray(np.logical_or.reduceat(mask, self.first)) if len(mask) else mask

    def mean(self, values: Floats, ok: Bools | None = None) -> Floats:
        """Means over the readings that are `ok`, (n,); NaN where a step has none.

        Args:
            values: Shape (n,) or (n, columns).
            ok: None: over all of them, NaN where one of a step is missing.
        """
        if ok is None:
            return self.total(values) / self.count
        column = (slice(None), *[None] * (values.ndim - 1))
        known = self.total(ok.astype(float))
        summed = self.total(np.where(ok[column], values, 0.0))
        mean = summed / np.where(known == 0, 1.0, known)[column]
        return np.where((known == 0)[column], np.nan, mean)

    def products(self, columns: list[Floats], ok: Bools) -> list[Floats]:
        """Sums of products of deviations from step means: 01, 02, 11, 12, 22, 13, 23. (m,) each"""
        deviation = [values - self.mean(values, ok)[self.step_of] for values in columns]
        pairs = ((0, 1), (0, 2), (1, 1), (1, 2), (2, 2), (1, 3), (2, 3))
        return [self.total(np.where(ok, deviation[a] * deviation[b], 0.0)) for a, b in pairs]
