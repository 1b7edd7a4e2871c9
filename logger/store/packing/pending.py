"""What has come of each group and is not yet in a chunk."""

from collections.abc import Sequence

import numpy as np

from logger.store.groups import StoredGroup
from logger.store.packing import chunks
from logger.store.packing.codec import Floats, Ints
from logger.store.packing.limits import Limits
from logger.store.packing.tick_codec import bundle

Part = tuple[Ints, Floats]  # times shape (n,), values shape (n, channels)
Tick = tuple[int, int, bytes]  # first and last time, bundle


def tick(pending: list["Pending"]) -> Tick:
    """What is fresh of some groups, each of which has something, as one row of the tail."""
    parts = [(p.stored, *p.fresh()) for p in pending]
    first_us = min(int(t_us.min()) for _, t_us, _ in parts)
    last_us = max(int(t_us.max()) for _, t_us, _ in parts)
    sections = []
    for group, t_us, values in parts:
        packed = group.packer.pack(t_us, values, first_us)
        sections.append((group.number, packed))
    return first_us, last_us, bundle(sections)


def joined(parts: list[Part]) -> Part:
    """Parts one after the other; at least one."""
    if len(parts) == 1:
        return parts[0]
    times, values = zip(*parts, strict=True)
    return np.concatenate(times), np.concatenate(values)


class Pending:
    """One group's readings on their way: rows, then arrays not yet in the tail, then safe ones."""

    def __init__(self, stored: StoredGroup, names: tuple[str, ...]) -> None:
        self.stored = stored
        self.width = len(names)
        self.row_t: list[int] = []
        self.row_values: list[Sequence[float | None]] = []
        self._limits = Limits(names, stored.quanta)
        self._fresh: list[Part] = []  # not yet in the tail
        self._safe: list[Part] = []  # in the tail

    def gather(self, refused: dict[str, int]) -> None:
        """Rows to arrays. `refused`: counts of values outside their limits, added to."""
        if self.row_t:
            t_us = np.array(self.row_t, dtype=np.int64)
            values = np.array(self.row_values, dtype=np.float64)
            self.row_t = []
            self.row_values = []
            self.take(t_us, values, refused)

    def take(self, t_us: Ints, values: Floats, refused: dict[str, int]) -> None:
        """Arrays in; times go to the group's step, values outside their limits to NaN."""
        step = self.stored.time_step_us
        t_us = (t_us + step // 2) // step * step
        self._fresh.append((t_us, self._limits.apply(values, refused)))

    @property
    def fresh_rows(self) -> int:
        """Rows that are not yet in the tail."""
        return len(self.row_t) + sum(len(t) for t, _ in self._fresh)

    @property
    def size(self) -> int:
        """Values in memory."""
        parts = self._fresh + self._safe
        rows = sum(len(t_us) for t_us, _ in parts)
        return (rows + len(self.row_t)) * self.width

    def fresh(self) -> Part:
        """What is not yet in the tail; there must be some."""
        return joined(self._fresh)

    def sealed(self) -> list[chunks.Sealed]:
        """All that there is, as chunks."""
        parts = self._safe + self._fresh
        return chunks.encode_all(self.stored, *joined(parts)) if parts else []

    def rest(self) -> None:
        """What was fresh is now in the tail; many small arrays become one."""
        self._safe += self._fresh
        self._fresh = []
        if len(self._safe) > 64:
            self._safe = [joined(self._safe)]

    def clear(self) -> None:
        """All of it is in a chunk now."""
        self._fresh = []
        self._safe = []
