"""Readings gathered into even steps of time, whatever pieces they come in."""

import numpy as np

from analyzer.series import Floats, Series


class Gatherer:
    """Means over steps aligned to the timeline; a step is given out once it is complete.

    A log walked in pieces of 10 s or of hours gives the same steps.

    Args:
        step_s: Length of a step.
        channels: Wanted; a name ending in "^2" gives the mean of squares.
    """

    def __init__(self, step_s: float, channels: tuple[str, ...]) -> None:
        self.step_s = step_s
        self.channels = channels
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
        t_us = chunk.t0_us + np.round(np.arange(chunk.n) * chunk.step_s * 1e6).astype(np.int64)
        cell = t_us // round(self.step_s * 1e6)
        if self._cell is not None:
            cell = np.concatenate([[self._cell], cell])
        steps, place = np.unique(cell, return_inverse=True)
        n = len(steps)
        total, count = np.zeros((n, len(self.channels))), np.zeros((n, len(self.channels)))
        if self._cell is not None:
            place = place[1:]
            total[0], count[0] = self._sum, self._count
        for k, name in enumerate(self.channels):
            value = chunk.get(name.removesuffix("^2"))
            value = value**2 if name.endswith("^2") else value
            ok = np.isfinite(value)
            total[:, k] += np.bincount(place[ok], weights=value[ok], minlength=n)
            count[:, k] += np.bincount(place[ok], minlength=n)
        self._cell, self._sum, self._count = int(steps[-1]), total[-1], count[-1]
        means = np.full((n - 1, len(self.channels)), np.nan)
        np.divide(total[:-1], count[:-1], out=means, where=count[:-1] > 0)
        return (steps[:-1] + 1) * self.step_s, means
