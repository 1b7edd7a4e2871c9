"""Thinning of frames that come more often than they need to be kept."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

MOST_IDS = 20_000


class Rates:
    """Keeps at most so many frames a second of each identifier.

    Args:
        most_hz: Frames a second.
        spared: Identifiers that keep every frame.
    """

    def __init__(self, most_hz: float, spared: frozenset[int] = frozenset()) -> None:
        self._apart_us = round(1e6 / most_hz)
        self._spared = spared
        self._next_us: dict[int, int] = {}

    def spares(self, can_id: int) -> bool:
        """True for an identifier that keeps every frame."""
        return can_id in self._spared

    def kept(self, can_id: int, rows: Sequence[int], t_us: npt.NDArray[np.int64]) -> list[int]:
        """The rows to keep, of those of one identifier in time order."""
        next_us = self._next_us.get(can_id, -1)
        found = []
        for row in rows:
            now = int(t_us[row])
            if now >= next_us:
                found.append(row)
                # Keeps step with a regular sender, but does not make up for a silence.
                next_us = max(next_us + self._apart_us, now + self._apart_us // 2)
        if len(self._next_us) >= MOST_IDS:
            self._next_us.clear()
        self._next_us[can_id] = next_us
        return found
