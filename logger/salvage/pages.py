"""The pages of an SQLite file, read without SQLite, which refuses a damaged one whole.

Names and layout as in "Database File Format" and "WAL-mode File Format" (sqlite.org, version 3);
numbers are big-endian.
"""

import struct
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Self

HEADER = b"SQLite format 3\x00"
USUAL_PAGE_BYTES = 4096  # by definition what this program makes; the file's header may be gone
WAL_MAGIC = 0x377F0682  # by definition; the last bit tells the checksum's byte order
WAL_HEAD, FRAME_HEAD = 32, 24  # bytes, by definition of the format


class Pages:
    """Pages by number from 1, as the last complete commit left them: file, then journal over it.

    Attributes:
        size: Bytes of a page. count: Pages.
    Raises:
        OSError: The file cannot be read at all.
    """

    def __init__(self, path: Path) -> None:
        self._file = path.open("rb")
        head = self._read(0, 100)
        self.size = _page_size(head)
        self.usable = self.size - (head[20] if head.startswith(HEADER) else 0)
        length = self._file.seek(0, 2)
        self.count = -(-length // self.size)
        self._newer = _journal(path.with_name(path.name + "-wal"), self.size)
        self.count = max([self.count, *self._newer])

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._file.close()

    def page(self, number: int) -> bytes:
        """A page's bytes, shorter where the file ends within it; empty where it cannot be read."""
        if number in self._newer:
            return self._newer[number]
        return self._read((number - 1) * self.size, self.size) if number > 0 else b""

    def free(self) -> set[int]:
        """Pages on the free list: what stands in them was deleted. As far as it can be followed."""
        found: set[int] = set()
        head = self.page(1)
        trunk = _u32(head, 32) if head.startswith(HEADER) and len(head) >= 36 else 0
        while 0 < trunk <= self.count and trunk not in found:
            found.add(trunk)
            page = self.page(trunk)
            if len(page) < 8:
                break
            leaves = min(_u32(page, 4), len(page) // 4 - 2)
            found.update(struct.unpack_from(f">{leaves}I", page, 8))
            trunk = _u32(page, 0)
        return found

    def chain(self, first: int, length: int) -> Iterator[bytes]:
        """The pieces of `length` bytes that overflow from page `first` on.

        Raises:
            ValueError: The chain is broken.
        """
        number, seen = first, set[int]()
        while length > 0:
            page = self.page(number)
            if number in seen or len(page) < self.size:
                raise ValueError("a broken chain of pages")
            seen.add(number)
            piece = page[4 : min(self.usable, 4 + length)]
            yield piece
            length -= len(piece)
            number = _u32(page, 0)

    def _read(self, start: int, length: int) -> bytes:
        try:
            self._file.seek(start)
            return self._file.read(length)
        except OSError:  # a worn card: this place cannot be read, others can
            return b""


def _page_size(head: bytes) -> int:
    size = int.from_bytes(head[16:18], "big") if head.startswith(HEADER) else 0
    size = 65536 if size == 1 else size
    return size if 512 <= size <= 65536 and size & (size - 1) == 0 else USUAL_PAGE_BYTES


def _journal(path: Path, page_size: int) -> dict[int, bytes]:
    """The newest version of each page in the journal, up to its last complete commit."""
    try:
        data = path.read_bytes()
    except OSError:
        return {}
    if len(data) < WAL_HEAD or _u32(data, 0) & ~1 != WAL_MAGIC or _u32(data, 8) != page_size:
        return {}
    order = ">" if _u32(data, 0) & 1 else "<"
    salts = data[16:24]
    checksum = _checksum(data[:24], (0, 0), order)
    if checksum != struct.unpack_from(">2I", data, 24):
        return {}
    committed: dict[int, bytes] = {}
    waiting: dict[int, bytes] = {}
    for start in range(WAL_HEAD, len(data) - FRAME_HEAD - page_size + 1, FRAME_HEAD + page_size):
        head = data[start : start + FRAME_HEAD]
        page = data[start + FRAME_HEAD : start + FRAME_HEAD + page_size]
        checksum = _checksum(head[:8] + page, checksum, order)
        if head[8:16] != salts or checksum != struct.unpack_from(">2I", head, 16):
            break
        waiting[_u32(head, 0)] = page
        if _u32(head, 4):  # the size after a commit: this frame ends one
            committed |= waiting
            waiting = {}
    return committed


def _checksum(data: bytes, start: tuple[int, int], order: str) -> tuple[int, int]:
    """s0 += x[i] + s1; s1 += x[i+1] + s0, all modulo 2^32, over pairs of 32-bit words x."""
    s0, s1 = start
    words = struct.unpack(f"{order}{len(data) // 4}I", data)
    for x, y in zip(words[::2], words[1::2], strict=True):
        s0 = (s0 + x + s1) & 0xFFFFFFFF
        s1 = (s1 + y + s0) & 0xFFFFFFFF
    return s0, s1


def _u32(data: bytes, at: int) -> int:
    return int.from_bytes(data[at : at + 4], "big")
