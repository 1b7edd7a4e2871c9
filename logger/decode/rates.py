"""Thinning of frames that come more often than they need to be kept."""

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

    def kept(
        self, can_id: int, rows: npt.NDArray[np.intp], t_us: npt.NDArray[np.int64]
    ) -> npt.NDArray[np.intp]:
        """The rows to keep, of those of one identifier in time order."""
        times, half_us = t_us[rows].tolist(), self._apart_us // 2
        next_us = self._next_us.get(can_id, times[0])
        found = []
        for place, now in enumerate(times):
            if now >= next_us:
                found.append(place)
                # Keeps step with a regular sender, but does not make up for a silence.
                next_us = max(next_us + self._apart_us, now + half_us)
        if len(self._next_us) >= MOST_IDS:
            self._next_us.clear()
        self._next_us[can_id] = next_us
        return rows[found]
