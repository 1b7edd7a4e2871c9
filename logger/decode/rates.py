"""Thinning of what comes more often than it needs to be kept.

Frames are left out before they are decoded where each is one reading of one group. Where several
frames make a message, or one identifier carries several groups in turn, that would leave out the
same ones again and again: there the decoded readings are thinned, group by group.
"""

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from logger.reading import Block, Item, Row

MOST_IDS = 20_000  # identifiers remembered; garbage on the bus must not fill memory: assumed


class Rates:
    """Keeps at most so many frames a second of each identifier, or readings of each group.

    Args:
        most_hz: Frames or readings a second.
        spared: Identifiers that keep every frame.
    """

    def __init__(self, most_hz: float, spared: frozenset[int] = frozenset()) -> None:
        self._apart_us = round(1e6 / most_hz)
        self._spared = spared
        self._next_us: dict[int | str, int] = {}

    def spares(self, can_id: int) -> bool:
        """True for an identifier that keeps every frame."""
        return can_id in self._spared

    def kept(
        self, can_id: int, rows: npt.NDArray[np.intp], t_us: npt.NDArray[np.int64]
    ) -> npt.NDArray[np.intp]:
        """The rows to keep, of those of one identifier in time order."""
        return rows[self._places(can_id, t_us[rows].tolist())]

    def thinned(self, items: list[Item]) -> list[Item]:
        """The readings to keep; those of a group are in time order."""
        found: list[Item] = []
        for item in items:
            if isinstance(item, Row):
                found += [item] if self._places(item.group.key, [item.t_us]) else []
            elif isinstance(item, Block):
                places = self._places(item.group.key, item.t_us.tolist())
                if places:
                    found.append(replace(item, t_us=item.t_us[places], values=item.values[places]))
            else:
                found.append(item)
        return found

    def _places(self, key: int | str, times: list[int]) -> list[int]:
        """Which of some times in order are kept."""
        if not times:
            return []
        half_us = self._apart_us // 2
        next_us = self._next_us.get(key, times[0])
        found = []
        for place, now in enumerate(times):
            if now >= next_us:
                found.append(place)
                # Keeps step with a regular sender, but does not make up for a silence.
                next_us = max(next_us + self._apart_us, now + half_us)
        if len(self._next_us) >= MOST_IDS:
            self._next_us.clear()
        self._next_us[key] = next_us
        return found
