"""Readings gathered into even steps of time, whatever pieces they come in."""

from bisect import bisect_left
from dataclasses import dataclass

import numpy as np

from analyzer.series.series import Floats, Ints, Series
from logger.channels import find

TRIM_FROM = 5  # readings in a step, from which the two extremes may be left out; assumed


def highest(channels: tuple[str, ...]) -> dict[str, float]:
    """The size that the catalogue calls impossible, by channel; those it does not know left out."""
    found = {}
    for name in channels:
        channel = find(name)
        if channel is not None:
            found[name] = max(abs(channel.low), abs(channel.high))
    return found


@dataclass
class _Sums:
    """Of some steps: totals, counts, lowest and highest, each (k, channels)."""

    total: Floats
    count: Floats
    low: Floats
    high: Floats

    def last(self) -> "_Sums":
        """The last of them, (1, channels)."""
        return _Sums(*(table[-1:] for table in self.parts))

    def lead(self, first: "_Sums", *, same: bool) -> "_Sums":
        """With an earlier step put before these, or into the first of them."""
        if not same:
            pairs = zip(first.parts, self.parts, strict=True)
            return _Sums(*(np.vstack(pair) for pair in pairs))
        self.total[0] += first.total[0]
        self.count[0] += first.count[0]
        self.low[0] = np.fmin(self.low[0], first.low[0])
        self.high[0] = np.fmax(self.high[0], first.high[0])
        return self

    @property
    def parts(self) -> tuple[Floats, Floats, Floats, Floats]:
        """All four tables."""
        return self.total, self.count, self.low, self.high


@dataclass
class _Ahead:
    """Steps of a whole series, given out as its parts come.

    Args:
        before: The gatherer's step and sums before the first part.
        begin, at: Grid indices of the first part and of the next.
        known_at: From which index on each step is complete.
    """

    whole: Series
    before: "tuple[int | None, _Sums | None]"
    begin: int
    at: int
    known_at: list[int]
    ends_s: Floats
    means: Floats
    given: int = 0

    def take(self, stop: int) -> tuple[Floats, Floats]:
        """The steps that are complete by a grid index and were not given out."""
        first, self.given = self.given, bisect_left(self.known_at, stop)
        self.at = stop
        return self.ends_s[first : self.given], self.means[first : self.given]


class Gatherer:
    """Means over steps aligned to the timeline; a step is given out once it is complete.

    A log walked in pieces of 10 s or of hours gives the same steps; parts of one series in a row
    are gathered at once, when the first of them comes. Temperatures change slowly and sensors slip,
    so a temperature's highest and lowest reading of a step are left out of its mean where there are
    five or more.

    Args:
        step_s: Length of a step.
        channels: Wanted; a name ending in "^2" gives the mean of squares.
        most: Channel -> size beyond which a reading is no reading.
    """

    def __init__(
        self,
        step_s: float,
        channels: tuple[str, ...],
        most: dict[str, float] | None = None,
    ) -> None:
        self.step_s = step_s
        self.channels = channels
        self.most = most or {}
        self._trim = np.array([n.endswith("_temp_c") for n in channels], bool)
        self._cell: int | None = None
        self._open: _Sums | None = None
        self._ahead: _Ahead | None = None

    def add(self, chunk: Series) -> tuple[Floats, Floats]:
        """Takes readings; returns the steps now complete.

        Returns:
            Ends of the steps that had a grid time, seconds since 1970 on the timeline, shape (k,),
            and means, shape (k, channels), NaN where a channel had none.
        """
        if not chunk.n:
            nothing = np.empty((0, len(self.channels)))
            return np.empty(0), nothing
        whole, start = chunk.part or (chunk, 0)
        ahead = self._ahead
        if ahead is None or ahead.whole is not whole or ahead.at != start:
            ahead = self._ahead = self._look(whole, start)
        return ahead.take(start + chunk.n)

    def _look(self, whole: Series, start: int) -> _Ahead:
        """Gathers a series from an index on."""
        ahead = self._ahead
        if ahead is not None and ahead.at < ahead.whole.n:
            # The rest of that never came.
            self._cell, self._open = ahead.before
            self._gather(ahead.whole.cut(ahead.begin, ahead.at))
        before = self._cell, self._open
        known_at, ends_s, means = self._gather(whole.cut(start, whole.n))
        known_at = [start + k for k in known_at]
        return _Ahead(whole, before, start, start, known_at, ends_s, means)

    def _gather(self, chunk: Series) -> tuple[list[int], Floats, Floats]:
        """Steps that a series completes: at which of its indices, their ends and means."""
        table = self._table(chunk)
        after_us = np.round(np.arange(chunk.n) * (chunk.step_s * 1e6))
        t_us = chunk.t0_us + after_us.astype(np.int64)
        cell = t_us // round(self.step_s * 1e6)
        changes = np.flatnonzero(np.diff(cell)) + 1
        starts = np.concatenate([[0], changes])
        steps = cell[starts]
        sums = _sums(table, starts)
        if self._cell is not None and self._open is not None:
            same = self._cell == steps[0]
            sums = sums.lead(self._open, same=same)
            if not same:
                steps = np.concatenate([[self._cell], steps])
        self._cell = int(steps[-1])
        self._open = sums.last()
        ends_s = (steps + 1) * self.step_s
        complete = len(steps) - 1
        known_at = starts[len(starts) - complete :].tolist()
        return known_at, ends_s[:complete], self._means(sums)[:complete]

    def _means(self, sums: _Sums) -> Floats:
        trim = self._trim & (sums.count >= TRIM_FROM)
        total = sums.total - np.where(trim, sums.low + sums.high, 0.0)
        count = sums.count - 2.0 * trim
        means = np.full(total.shape, np.nan)
        np.divide(total, count, out=means, where=count > 0)
        return means

    def _table(self, chunk: Series) -> Floats:
        table = np.full((chunk.n, len(self.channels)), np.nan)
        for k, name in enumerate(self.channels):
            value = chunk.values.get(name.removesuffix("^2"))
            if value is None:
                continue
            if name in self.most:
                possible = np.abs(value) <= self.most[name]
                value = np.where(possible, value, np.nan)
            squared = name.endswith("^2")
            table[:, k] = value * value if squared else value
        return table


def _sums(table: Floats, starts: Ints) -> _Sums:
    have = np.isfinite(table)
    known = np.where(have, table, 0.0)
    return _Sums(
        total=np.add.reduceat(known, starts, axis=0),
        count=np.add.reduceat(have.astype(float), starts, axis=0),
        low=np.fmin.reduceat(table, starts, axis=0),
        high=np.fmax.reduceat(table, starts, axis=0),
    )
