"""The newest stretch of some channels, thinned, as one table that is never put together anew."""

from collections import deque

import numpy as np
import numpy.typing as npt

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
        self._table = _unread(len(channels), width)
        self._grid_s = step_s
        self._base_us = 0  # time of the first column
        self._end = 0  # columns used
        self._starts_us: deque[int] = deque()
        self._came_us: dict[str, int] = {}  # when each channel's newest chunk began

    def add(self, chunk: Series) -> None:
        """Takes the next chunk; of one step with those before."""
        every = max(round(self._step_s / chunk.step_s), 1)
        self._grid_s = chunk.step_s * every
        kept = range(0, chunk.n, every)
        n = len(kept)
        self._forget(chunk.t0_us)
        first = self._place(chunk.t0_us, n)
        last = first + n
        self._table[:, self._end : last] = np.nan
        self._end = max(self._end, last)
        self._starts_us.append(chunk.t0_us)
        for name in self._row.keys() & chunk.values.keys():
            row = self._row[name]
            readings = chunk.values[name]
            self._table[row, first:last] = readings[::every]
            self._came_us[name] = chunk.t0_us

    def last(self, within_s: float | None = None) -> Series:
        """Chunks that began less than a time before the newest, as one; a hole is a gap. [s]"""
        first_us = self._starts_us[0]
        if within_s is not None:
            oldest_us = self._starts_us[-1] - within_s * 1e6
            first_us = min(us for us in self._starts_us if us > oldest_us)
        begin = self._column(first_us)
        n = self._end - begin
        values = {}
        for name, row in self._row.items():
            came_us = self._came_us.get(name, -1)
            if came_us >= first_us:
                readings = self._table[row, begin : self._end]
                values[name] = readings.copy()
        return Series(first_us, self._grid_s, n, values)

    def _forget(self, now_us: int) -> None:
        oldest_us = now_us - self._memory_us
        while self._starts_us and self._starts_us[0] < oldest_us:
            self._starts_us.popleft()

    def _column(self, t_us: int) -> int:
        since_us = t_us - self._base_us
        grid_us = self._grid_s * 1e6
        return round(since_us / grid_us)

    def _place(self, t0_us: int, n: int) -> int:
        """First column of a chunk of n; makes room for it."""
        if not self._starts_us:
            self._base_us = t0_us
            self._end = 0
        end = self._column(t0_us) + n
        if end > self._table.shape[1]:
            self._move(n)
        return self._column(t0_us)

    def _move(self, n: int) -> None:
        """What is kept to the table's front, with room for as much again and n more."""
        first_us = self._starts_us[0] if self._starts_us else self._base_us
        begin = self._column(first_us)
        kept = self._table[:, begin : self._end]
        rows, size = kept.shape
        wanted = 2 * size + 2 * n
        width = max(self._table.shape[1], wanted)
        self._table = _unread(rows, width)
        self._table[:, :size] = kept
        self._base_us = first_us
        self._end = size


def _unread(rows: int, width: int) -> npt.NDArray[np.float64]:
    return np.full((rows, width), np.nan)
