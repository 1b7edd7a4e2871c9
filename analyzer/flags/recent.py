"""The newest stretch of some channels, thinned, as one table that is never put together anew."""

from collections import deque

import numpy as np

from analyzer.series.series import Series


class Recent:
    """Takes the log in chunks, in time order; gives what began within a time before the newest.

    Args:
        channels: That are kept; others are not.
        step_s: Kept are readings so far apart. [s]
        memory_s: Chunks that began longer than this before the newest are forgotten. [s]
    """

    def __init__(self, channels: tuple[str, ...], step_s: float, memory_s: float) -> None:
        self._row = {name: k for k, name in enumerate(channels)}
        self._step_s = step_s
        self._memory_us = memory_s * 1e6
        # Twice as wide as what is kept, so that it is moved to its front seldom.
        self._table = np.full((len(channels), 2 * round(memory_s / step_s) + 2), np.nan)
        self._grid_s = step_s
        self._base_us = self._end = 0  # time of the first column; columns used
        self._starts_us: deque[int] = deque()
        self._came_us: dict[str, int] = {}  # when each channel's newest chunk began

    def add(self, chunk: Series) -> None:
        """Takes the next chunk; of one step with those before."""
        every = max(round(self._step_s / chunk.step_s), 1)
        self._grid_s = chunk.step_s * every
        n = len(range(0, chunk.n, every))
        self._forget(chunk.t0_us)
        at = self._place(chunk.t0_us, n)
        self._table[:, self._end : at + n] = np.nan
        self._end = max(self._end, at + n)
        self._starts_us.append(chunk.t0_us)
        for name in self._row.keys() & chunk.values.keys():
            self._table[self._row[name], at : at + n] = chunk.values[name][::every]
            self._came_us[name] = chunk.t0_us

    def last(self, within_s: float | None = None) -> Series:
        """Chunks that began less than a time before the newest, as one; a hole is a gap. [s]"""
        first_us = self._starts_us[0]
        if within_s is not None:
            oldest_us = self._starts_us[-1] - within_s * 1e6
            first_us = min(us for us in self._starts_us if us > oldest_us)
        begin = self._column(first_us)
        names = [name for name in self._row if self._came_us.get(name, first_us - 1) >= first_us]
        values = {name: self._table[self._row[name], begin : self._end].copy() for name in names}
        return Series(first_us, self._grid_s, self._end - begin, values)

    def _forget(self, now_us: int) -> None:
        while self._starts_us and self._starts_us[0] < now_us - self._memory_us:
            self._starts_us.popleft()

    def _column(self, t_us: int) -> int:
        return round((t_us - self._base_us) / (self._grid_s * 1e6))

    def _place(self, t0_us: int, n: int) -> int:
        """First column of a chunk of n; makes room for it."""
        if not self._starts_us:
            self._base_us, self._end = t0_us, 0
        if self._column(t0_us) + n > self._table.shape[1]:
            self._move(n)
        return self._column(t0_us)

    def _move(self, n: int) -> None:
        """What is kept to the table's front, with room for as much again and n more."""
        begin = self._column(self._starts_us[0]) if self._starts_us else 0
        kept = self._table[:, begin : self._end]
        width = max(self._table.shape[1], 2 * kept.shape[1] + 2 * n)
        table = np.full((len(kept), width), np.nan)
        table[:, : kept.shape[1]] = kept
        self._table, self._end = table, kept.shape[1]
        self._base_us = self._starts_us[0] if self._starts_us else self._base_us
