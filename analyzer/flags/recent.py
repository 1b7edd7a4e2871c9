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
        self._row = {name: row for row, name in enumerate(channels)}
        self._step_s = step_s
        self._memory_us = memory_s * 1e6
        # Twice as wide as what is kept, so that it is moved to its front seldom.
        width = 2 * round(memory_s / step_s) + 2
        self._table = np.full((len(channels), width), np.nan)
        self._grid_s = step_s
        self._base_us = 0  # time of the first column
        self._end = 0  # columns used
        self._starts_us: deque[int] = deque()
        self._came_us: dict[str, int] = {}  # when each channel's newest chunk began

    def add(self, chunk: Series) -> None:
        """Takes the next chunk; of one step with those before."""
        every = max(round(self._step_s / chunk.step_s), 1)
        self._grid_s = chunk.step_s * every
        n = len(range(0, chunk.n, every))
        self._forget(chunk.t0_us)
        first = self._place(chunk.t0_us, n)
        last = first + n
        self._table[:, self._end : last] = np.nan
        self._end = max(self._end, last)
        self._starts_us.append(chunk.t0_us)
        for name in self._row.keys() & chunk.values.keys():
            readings = chunk.values[name][::every]
            self._table[self._row[name], first:last] = readings
            self._came_us[name] = chunk.t0_us

    def last(self, within_s: float | None = None) -> Series:
        """Chunks that began less than a time before the newest, as one; a hole is a gap. [s]"""
        first_us = self._starts_us[0]
        if within_s is not None:
            oldest_us = self._starts_us[-1] - within_s * 1e6
            first_us = min(us for us in self._starts_us if us > oldest_us)
        begin = self._column(first_us)
        values = {}
        for name, row in self._row.items():
            if self._came_us.get(name, -1) >= first_us:
                values[name] = self._table[row, begin : self._end].copy()
        return Series(first_us, self._grid_s, self._end - begin, values)

    def _forget(self, now_us: int) -> None:
        oldest_us = now_us - self._memory_us
        while self._starts_us and self._starts_us[0] < oldest_us:
            self._starts_us.popleft()

    def _column(self, t_us: int) -> int:
        return round((t_us - self._base_us) / (self._grid_s * 1e6))

    def _place(self, t0_us: int, n: int) -> int:
        """First column of a chunk of n; makes room for it."""
        if not self._starts_us:
            self._base_us = t0_us
            self._end = 0
        if self._column(t0_us) + n > self._table.shape[1]:
            self._move(n)
        return self._column(t0_us)

    def _move(self, n: int) -> None:
        """What is kept to the table's front, with room for as much again and n more."""
        first_us = self._starts_us[0] if self._starts_us else self._base_us
        kept = self._table[:, self._column(first_us) : self._end]
        rows, size = kept.shape
        width = max(self._table.shape[1], 2 * size + 2 * n)
        self._table = np.full((rows, width), np.nan)
        self._table[:, :size] = kept
        self._base_us = first_us
        self._end = size
