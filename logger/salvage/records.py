"""Rows of tables from the pages of an SQLite file; see `pages.py` for the format's papers."""

import struct
from collections.abc import Iterator
from dataclasses import dataclass, field

from logger.salvage.pages import Pages

LEAF, INTERIOR = 13, 5  # kinds of pages of a table's tree, by definition of the format
WHOLE_BYTES = {1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8}  # serial type -> bytes; by definition

Value = int | float | str | bytes | None
Row = tuple[int, tuple[Value, ...]]  # rowid, columns as stored


@dataclass
class Tree:
    """Reads the rows of tables, and remembers which pages it has seen.

    Attributes:
        seen: Pages that were read as part of a table. broken: Those that could not be.
        lost: Rows of readable pages that could not be read.
    """

    pages: Pages
    seen: set[int] = field(default_factory=set)
    broken: set[int] = field(default_factory=set)
    lost: int = 0

    def rows(self, root: int) -> Iterator[Row]:
        """All readable rows of the table whose tree begins at page `root`."""
        todo = [root]
        while todo:
            number = todo.pop()
            if number in self.seen:
                continue
            self.seen.add(number)
            page = self.pages.page(number)
            kind = self._kind(number, page)
            if kind == LEAF:
                yield from self._leaf(number, page)
            elif kind == INTERIOR:
                todo += reversed(self._children(number, page))
            else:
                self.broken.add(number)

    def strays(self, without: set[int]) -> Iterator[tuple[int, list[Row]]]:
        """Leaves that no tree has led to, by page: the page above them is damaged."""
        for number in range(1, self.pages.count + 1):
            if number in self.seen or number in without:
                continue
            page = self.pages.page(number)
            if self._kind(number, page) == LEAF:
                yield number, self._leaf(number, page)

    def _kind(self, number: int, page: bytes) -> int:
        at = 100 if number == 1 else 0
        return page[at] if len(page) > at + 12 else 0

    def _cells(self, number: int, page: bytes, head: int) -> list[int]:
        at = 100 if number == 1 else 0
        count = int.from_bytes(page[at + 3 : at + 5], "big")
        room = (len(page) - at - head) // 2
        return list(struct.unpack_from(f">{min(count, room)}H", page, at + head))

    def _children(self, number: int, page: bytes) -> list[int]:
        at = 100 if number == 1 else 0
        cells = self._cells(number, page, 12)
        below = [int.from_bytes(page[c : c + 4], "big") for c in cells]
        return [*below, int.from_bytes(page[at + 8 : at + 12], "big")]

    def _leaf(self, number: int, page: bytes) -> list[Row]:
        rows, lost = [], 0
        for cell in self._cells(number, page, 8):
            try:
                rows.append(self._row(page, cell))
            except (ValueError, IndexError, struct.error):  # UnicodeDecodeError is a ValueError
                lost += 1
        if lost > len(rows):  # noise that happens to begin like a leaf, its count of rows included
            self.broken.add(number)
        else:
            self.lost += lost
        return rows

    def _row(self, page: bytes, at: int) -> Row:
        length, at = _varint(page, at)
        rowid, at = _varint(page, at)
        if length > self.pages.count * self.pages.size:
            raise ValueError("a row longer than the file")
        local = _local_bytes(length, self.pages.usable)
        payload = page[at : at + local]
        if len(payload) < local:
            raise ValueError("a row beyond its page")
        if local < length:
            first = int.from_bytes(page[at + local : at + local + 4], "big")
            payload = b"".join([payload, *self.pages.chain(first, length - local)])
        return _signed(rowid), _columns(payload)


def _local_bytes(length: int, usable: int) -> int:
    """Bytes of a row that stand in its leaf; the others overflow (format, section 1.6)."""
    if length <= usable - 35:
        return length
    least = (usable - 12) * 32 // 255 - 23
    some = least + (length - least) % (usable - 4)
    return some if some <= usable - 35 else least


def _columns(payload: bytes) -> tuple[Value, ...]:
    head, at = _varint(payload, 0)
    kinds = []
    while at < head:
        kind, at = _varint(payload, at)
        kinds.append(kind)
    if at != head:
        raise ValueError("a row's head does not end where it says")
    values = []
    for kind in kinds:
        value, at = _value(payload, at, kind)
        values.append(value)
    if at != len(payload):
        raise ValueError("a row does not end where it says")
    return tuple(values)


def _value(payload: bytes, at: int, kind: int) -> tuple[Value, int]:
    if kind in WHOLE_BYTES:
        end = at + WHOLE_BYTES[kind]
        return int.from_bytes(_piece(payload, at, end), "big", signed=True), end
    if kind == 7:
        return struct.unpack_from(">d", payload, at)[0], at + 8
    if kind in (0, 8, 9):
        return (None if kind == 0 else kind - 8), at
    if kind < 12:
        raise ValueError("a kind of value that is reserved")
    end = at + (kind - 12) // 2
    piece = _piece(payload, at, end)
    return (piece.decode() if kind % 2 else piece), end


def _piece(payload: bytes, at: int, end: int) -> bytes:
    if end > len(payload):
        raise ValueError("a value beyond its row")
    return payload[at:end]


def _varint(data: bytes, at: int) -> tuple[int, int]:
    """Seven bits a byte, the highest first; the ninth byte counts whole."""
    value = 0
    for n in range(8):
        byte = data[at + n]
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            return value, at + n + 1
    return value << 8 | data[at + 8], at + 9


def _signed(value: int) -> int:
    return value - 2**64 if value >= 2**63 else value
