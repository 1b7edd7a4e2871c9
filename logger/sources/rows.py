"""Single rows gathered into blocks, group by group."""

import numpy as np

from logger.reading import (
    Block,
    Group,
    Item,
    Row,
    UtcFix,
)


class RowGatherer:
    """Takes items one by one; gives blocks. Fixes pass through in front."""

    def __init__(self) -> None:
        self._times: dict[int, list[int]] = {}
        self._values: dict[int, list[tuple[float | None, ...]]] = {}
        self._groups: dict[int, Group] = {}
        self._others: list[Item] = []

    def add(self, items: list[Item]) -> None:
        """Takes rows, blocks and fixes."""
        for item in items:
            if isinstance(item, Row):
                key = id(item.group)
                if key not in self._groups:
                    self._groups[key] = item.group
                    self._times[key], self._values[key] = [], []
                self._times[key].append(item.t_us)
                self._values[key].append(tuple(item.values))
            else:
                self._others.append(item)

    def take(self) -> list[Item]:
        """All that was added since the last call; fixes first."""
        items = self._others
        items.sort(key=lambda item: not isinstance(item, UtcFix))
        for key, group in self._groups.items():
            t_us = np.array(self._times[key], np.int64)
            values = np.array(self._values[key], np.float64).reshape(len(t_us), -1)
            items.append(Block(group, t_us, values))
        self._times, self._values, self._groups, self._others = {}, {}, {}, []
        return items
