"""Readings gathered into even steps of time, whatever pieces they come in."""

import numpy as np

from analyzer.series import Floats, Series


class Gatherer:
    """Means over steps aligned to the timeline; a step is given out once it is complete.

    A log walked in pieces of 10 s or of hours gives the same steps.

    Args:
        step_s: Length of a step.
        channels: Wanted; a name ending in "^2" gives the mean of squares.
        most: Channel -> size beyond which a reading is no reading.
    """

    def __init__(
        self, step_s: float, channels: tuple[str, ...], most: dict[str, float] | None = None
    ) -> None:
        self.step_s = step_s
        self.channels = channels
        self.most = most or {}
        self._cell: int | None = None
        self._sum = np.zeros(len(channels))
        self._count = np.zeros(len(channels))

    def add(self, chunk: Series) -> tuple[Floats, Floats]:
        """Takes readings; returns the steps now complete.

        Returns:
            Ends of the steps that had a grid time, seconds since 1970 on the timeline, shape (k,),
            and means, shape (k, channels), NaN where a channel had none.
        """
        if not chunk.n:
            return np.empty(0), np.empty((0, len(self.channels)))
        table = self._table(chunk)
        step_us = round(self.step_s * 1e6)
        t_us = chunk.t0_us + np.round(np.arange(chunk.n) * (chunk.step_s * 1e6)).astype(np.int64)
        cell = t_us // step_us
        starts = np.concatenate([[0], np.flatnonzero(cell[1:] != cell[:-1]) + 1])
        steps = cell[starts]
        have = np.isfinite(table)
        total = np.add.reduceat(np.where(have, table, 0.0), starts, axis=0)
        count = np.add.reduceat(have.astype(float), starts, axis=0)
        if self._cell is not None and self._cell == steps[0]:
            total[0] += self._sum
            count[0] += self._count
        elif self._cell is not None:
            steps = np.concatenate([[self._cell], steps])
            total, count = np.vstack([self._sum, total]), np.vstack([self._count, count])
        self._cell, self._sum, self._count = int(steps[-1]), total[-1], count[-1]
        means = np.full((len(steps) - 1, len(self.channels)), np.nan)
        np.divide(total[:-1], count[:-1], out=means, where=count[:-1] > 0)
        return (steps[:-1] + 1) * self.step_s, means

    def _table(self, chunk: Series) -> Floats:
        table = np.full((chunk.n, len(self.channels)), np.nan)
        for k, name in enumerate(self.channels):
            value = chunk.values.get(name.removesuffix("^2"))
            if value is None:
                continue
            if name in self.most:
                value = np.where(np.abs(value) > self.most[name], np.nan, value)
            table[:, k] = value * value if name.endswith("^2") else value
        return table
