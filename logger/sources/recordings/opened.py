"""Recorded files, plain or compressed, as streams of bytes.

What comes from anybody is read in pieces: a compressed file may unpack to anything, and a line may
have no end.
"""

import io
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any, BinaryIO, cast

from logger.errors import RecordingError

GZIP = b"\x1f\x8b"
ZSTD = b"\x28\xb5\x2f\xfd"
# Fed at a time, assumed: what it unpacks to, by definition of the formats up to 1032 (deflate) or
# 32768 (zstd's repeated blocks) times as much, has room in memory.
GZIP_STEP, ZSTD_STEP = 1 << 14, 1 << 10
ZSTD_WINDOW = 1 << 27  # ZSTD_WINDOWLOG_LIMIT_DEFAULT in <zstd.h>, by definition
# Recordings unpack to some 10 to 50 times their size (the demo: 5 to 9). More than this, of so many
# bytes, is no recording but a trap; assumed.
MOST_RATIO, TRAP_BYTES = 300, 1 << 28
LATEST_US = 4_102_444_800_000_000  # no recording's time is in 2100 or later, assumed
PIECE = 1 << 18  # bytes read at a time; no format has a line as long, assumed


class Unpacked(io.RawIOBase):
    """The contents of a compressed file, as far as they can be read.

    A file that was cut off (power lost while it was written), or is damaged, ends at the tear.

    Attributes:
        torn: Whether it ended so.
    """

    def __init__(self, raw: BinaryIO, path: Path, unpacker: Callable[[], Any], step: int) -> None:
        super().__init__()
        self.torn = False
        self._raw, self._path, self._step = raw, path, step
        self._make, self._unpacker = unpacker, unpacker()
        self._fresh = True  # nothing of the unpacker's own member has come yet
        self._left = b""  # packed bytes of the next member
        self._ready = memoryview(b"")
        self._packed_bytes = self._bytes = 0

    def readable(self) -> bool:
        """Always."""
        return True

    def readinto(self, buffer: Any) -> int:
        """As the io module wants it. Raises RecordingError."""
        while not self._ready and self._more():
            pass
        return _moved(self, buffer)

    def close(self) -> None:
        """Lets the file go."""
        self._raw.close()
        super().close()

    def _more(self) -> bool:
        """Unpacks a step; whether there may be more."""
        if self.torn:
            return False
        packed = self._left or self._raw.read(self._step)
        self._left = b""
        if not packed:
            self.torn = not self._fresh
            return False
        if not self._fresh or packed.strip(b"\0"):  # members may be padded to a block's length
            self._take(packed)
        return True

    def _take(self, packed: bytes) -> None:
        try:
            out = self._unpacker.decompress(packed)
        except Exception as error:
            if not type(error).__module__.startswith(("zlib", "zstandard")):
                raise
            self.torn = True
            return
        self._fresh = False
        self._ready = memoryview(out)
        self._bytes += len(out)
        self._packed_bytes += len(packed)
        if self._bytes > max(TRAP_BYTES, MOST_RATIO * self._packed_bytes):
            raise RecordingError(
                f"{self._path}: unpacks to more than {MOST_RATIO} times its size, which no "
                "recording does; it is not read"
            )
        if self._unpacker.eof:
            self._left = self._unpacker.unused_data
            self._packed_bytes -= len(self._left)
            self._unpacker, self._fresh = self._make(), True


class ShortLines(io.RawIOBase):
    """Lines of a stream, without those that have no end: of `PIECE` bytes or more.

    Args:
        stream: Any stream of bytes; it is closed with this one.
        refuse: Called for each line that is left out.
    """

    def __init__(self, stream: BinaryIO, refuse: Callable[[], None]) -> None:
        super().__init__()
        self.stream, self._refuse = stream, refuse
        self._rest = b""
        self._ready = memoryview(b"")

    def readable(self) -> bool:
        """Always."""
        return True

    def readinto(self, buffer: Any) -> int:
        """As the io module wants it. Raises RecordingError."""
        if not self._ready:
            self._ready = memoryview(self._lines())
        return _moved(self, buffer)

    def close(self) -> None:
        """Lets the file go."""
        self.stream.close()
        super().close()

    def _lines(self) -> bytes:
        skipping = False
        while piece := self.stream.read(PIECE):
            if skipping:
                piece = piece[piece.find(b"\n") + 1 or len(piece) :]
                skipping = not piece
            end = piece.rfind(b"\n") + 1
            if end:
                whole, self._rest = self._rest + piece[:end], piece[end:]
                return whole
            self._rest += piece
            if len(self._rest) >= PIECE:
                self._refuse()
                self._rest, skipping = b"", True
        whole, self._rest = self._rest, b""
        return whole


def _moved(stream: "Unpacked | ShortLines", buffer: Any) -> int:
    """Moves bytes that are ready into a buffer; how many."""
    ready = stream._ready
    n = min(len(buffer), len(ready))
    buffer[:n] = ready[:n]
    stream._ready = ready[n:]
    return n


def open_bytes(path: Path) -> BinaryIO:
    """Opens a file; .gz and .zst contents are recognised by their first bytes.

    Raises:
        RecordingError: No such file, or it cannot be read.
    """
    try:
        raw = path.open("rb")
        head = raw.read(4)
        raw.seek(0)
    except OSError as error:
        text = error.strerror or str(error)
        raise RecordingError(f"{path}: wants a recording to read, got: {text}") from error
    if head.startswith(GZIP):
        return _buffered(Unpacked(raw, path, lambda: zlib.decompressobj(31), GZIP_STEP))
    if head == ZSTD:
        import zstandard

        unpacker = zstandard.ZstdDecompressor(max_window_size=ZSTD_WINDOW)
        return _buffered(Unpacked(raw, path, unpacker.decompressobj, ZSTD_STEP))
    return raw


def _buffered(stream: io.RawIOBase) -> BinaryIO:
    return cast(BinaryIO, io.BufferedReader(stream, PIECE))


def is_torn(stream: BinaryIO) -> bool:
    """Whether a stream of `open_bytes` that was read to its end broke off there."""
    return bool(getattr(getattr(stream, "raw", None), "torn", False))


def read_piece(stream: BinaryIO, size: int, path: Path) -> tuple[bytes, bool]:
    """The next piece, empty at the end, and whether the file broke off there."""
    try:
        piece = stream.read(size)
    except OSError as error:
        raise RecordingError(f"{path}: cannot be read further: {error}") from error
    return piece, not piece and is_torn(stream)


def text_lines(stream: BinaryIO, refuse: Callable[[], None], encoding: str) -> io.TextIOWrapper:
    """A stream's lines as text, without endless ones, for which `refuse` is called."""
    short = io.BufferedReader(ShortLines(stream, refuse), PIECE)
    return io.TextIOWrapper(short, encoding, newline="", errors="replace")
