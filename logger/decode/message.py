"""What decodes one CAN identifier: frames in blocks, or one by one."""

from typing import Literal, Protocol

import numpy as np
import numpy.typing as npt

from logger.decode.counters import Counters
from logger.decode.fields import Bytes, Layout, decode_block, holding
from logger.decode.rowcode import RowFunction, compile_row
from logger.reading import Group, Item, Row

Times = npt.NDArray[np.int64]

# What of a message may be left out where it comes too often: whole frames, before they are
# decoded; readings of each group, after it; or nothing, as each tells of an event.
Thinning = Literal["frames", "readings", "nothing"]


class Handler(Protocol):
    """Decodes the frames of one identifier."""

    thinning: Thinning

    def block(self, t_us: Times, lengths: npt.NDArray[np.uint8], data: Bytes) -> list[Item]:
        """Frames in time order; arrays of n rows. Refused ones are counted."""

    def row(self, t_us: int, data: bytes) -> list[Item]:
        """One frame."""


class MessageHandler:
    """Fixed layouts of a message of fixed length.

    Args:
        layouts: Groups of fields; with conditions where the message is multiplexed.
        size: Bytes the message has.
        counters: Takes "length" and what the fields count.
        longer: True accepts frames longer than `size`, as some devices pad theirs.
        event: True where each frame tells of an event.
    """

    def __init__(
        self,
        layouts: list[Layout],
        size: int,
        counters: Counters,
        longer: bool = False,
        event: bool = False,
    ) -> None:
        single = all(not layout.conditions for layout in layouts)
        self.thinning: Thinning = "nothing" if event else "frames" if single else "readings"
        self._layouts, self._size, self._counters, self._longer = layouts, size, counters, longer
        self._rows: list[tuple[Group, RowFunction]] | None = None

    def block(self, t_us: Times, lengths: npt.NDArray[np.uint8], data: Bytes) -> list[Item]:
        good = lengths >= self._size if self._longer else lengths == self._size
        if not good.all():
            self._counters.add("length", int(np.count_nonzero(~good)))
            t_us, data = t_us[good], data[good]
        blocks: list[Item] = []
        for layout in self._layouts:
            met = holding(layout, data)
            whole = met is None or bool(met.all())
            times, rows = (t_us, data) if whole else (t_us[met], data[met])
            block = decode_block(layout, times, rows, self._counters) if len(times) else None
            if block:
                blocks.append(block)
        return blocks

    def row(self, t_us: int, data: bytes) -> list[Item]:
        if len(data) != self._size:
            if len(data) < self._size or not self._longer:
                self._counters.add("length")
                return []
            data = data[: self._size]
        if self._rows is None:
            self._rows = [
                (layout.group, compile_row(layout, self._size, self._counters))
                for layout in self._layouts
            ]
        rows: list[Item] = []
        for group, function in self._rows:
            values = function(data)
            if values is not None:
                rows.append(Row(group, t_us, values))
        return rows
