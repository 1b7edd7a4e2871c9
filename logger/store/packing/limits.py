"""Plausible limits: a value outside is not stored, and is counted under its channel's name."""

import numpy as np

from logger import channels
from logger.reading import Quantum
from logger.store.packing.codec import Floats


class Limits:
    """The limits of one group's channels."""

    def __init__(self, names: tuple[str, ...], quanta: tuple[Quantum, ...]) -> None:
        """Less than half a step beyond a limit is inside: it is kept as the limit itself."""
        found = [channels.find(name) for name in names]
        slack = np.array([0.499 * q.step for q in quanta])
        self._names = names
        self._low = np.array([c.low if c else -np.inf for c in found]) - slack
        self._high = np.array([c.high if c else np.inf for c in found]) + slack

    def apply(self, values: Floats, refused: dict[str, int]) -> Floats:
        """The values with NaN for those outside; infinite ones are always outside.

        Args:
            values: Shape (n, channels); NaN is missing and stays so.
            refused: Channel -> how many; added to.
        """
        with np.errstate(invalid="ignore"):
            outside = (values < self._low) | (values > self._high) | np.isinf(values)
        if not outside.any():
            return values
        for k in np.flatnonzero(outside.any(axis=0)):
            name = self._names[k]
            refused[name] = refused.get(name, 0) + int(outside[:, k].sum())
        return np.where(outside, np.nan, values)
