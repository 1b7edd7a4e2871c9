"""A piece of the log as the detectors take it: extremes and ages of all channels, found at once."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from analyzer.series.series import Floats, Series


@dataclass(frozen=True)
class Piece:
    """Some seconds of the log."""

    chunk: Series

    @cached_property
    def t_s(self) -> Floats:
        """Grid times, seconds since 1970. Shape (n,)"""
        return self.chunk.t_utc_s

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Channels, in the order of the table's rows."""
        return tuple(self.chunk.values)

    @cached_property
    def table(self) -> Floats:
        """Shape (channels, n)."""
        return np.array([self.chunk.values[n] for n in self.names]).reshape(-1, self.chunk.n)

    @cached_property
    def lowest(self) -> dict[str, float]:
        """Lowest reading of each channel; NaN where there was none."""
        found = np.fmin.reduce(self.table, axis=1) if self.names else np.empty(0)
        return dict(zip(self.names, found.tolist(), strict=True))

    @cached_property
    def highest(self) -> dict[str, float]:
        """Highest reading of each channel; NaN where there was none."""
        found = np.fmax.reduce(self.table, axis=1) if self.names else np.empty(0)
        return dict(zip(self.names, found.tolist(), strict=True))

    def ages(self) -> tuple[Floats, Floats, Floats]:
        """First and last time at which each channel was read, and how often. Shape (channels,)

        NaN, NaN and 0 where it was not.
        """
        have = np.isfinite(self.table)
        count = have.sum(axis=1)
        first, last = have.argmax(axis=1), self.chunk.n - 1 - have[:, ::-1].argmax(axis=1)
        t0, step = self.chunk.t0_us / 1e6, self.chunk.step_s
        none = count == 0
        first_s, last_s = t0 + first * step, t0 + last * step
        return np.where(none, np.nan, first_s), np.where(none, np.nan, last_s), count.astype(float)
