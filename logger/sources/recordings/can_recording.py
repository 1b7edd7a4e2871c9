"""Recorded CAN traffic through a decoder: candump text, TRC, and ASC and BLF by python-can."""

import io
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, BinaryIO, cast

import numpy as np

from logger.decode.can.bus import BusDecoder
from logger.decode.can.frames import (
    EXTENDED,
    Frame,
    FrameBatch,
    batch_of,
)
from logger.decode.counters import Counters
from logger.errors import RecordingError
from logger.reading import Item
from logger.sources.recordings.candump import read_candump
from logger.sources.recordings.opened import LATEST_US, is_torn, open_bytes, text_lines
from logger.sources.recordings.trc import read_trc

DATED_US = 1_000_000_000_000_000  # a time beyond September 2001 is UTC, not a stop watch
BATCH = 50_000  # frames of a batch, assumed
# Bytes of an object of a BLF file: twice what writers put into a container, 128 kB, assumed.
# Deflate unpacks it to 270 MB at the most.
MOST_OBJECT = 1 << 18


class CanRecording:
    """A CAN log as a `Recording`.

    Args:
        path: The file.
        kind: "candump", "trc", "asc" or "blf".
        decoders: Name of a bus in the file -> decoder; "" is for every other bus.
        counters: Takes what the file reader refuses.
    """

    def __init__(
        self, path: Path, kind: str, decoders: dict[str, BusDecoder], counters: Counters
    ) -> None:
        self.path = path
        self.origin_us: int | None = None
        self.reached_us = 0
        self._decoders, self._counters = decoders, counters
        self._size = max(path.stat().st_size, 1)
        self._read_frames, self._done = 0, False
        self._batches = READERS[kind](path, counters)

    @property
    def fraction(self) -> float:
        """By frames read so far and the bytes a frame takes; exact at the end."""
        return 1.0 if self._done else min(0.99, self._read_frames * 40 / self._size)

    def batch(self) -> list[Item] | None:
        """The next items, decoded."""
        frames = next(self._batches, None)
        if frames is None:
            self._done = True
            return None
        self._read_frames += len(frames)
        late = frames.t_us >= LATEST_US
        if late.any():
            self._counters.add("syntax", int(late.sum()))
            frames = frames.picked(~late)
        if not len(frames):
            return []
        if self.origin_us is None and frames.t_us[0] >= DATED_US and not self.reached_us:
            self.origin_us = 0
        self.reached_us = max(self.reached_us, int(frames.t_us[-1]))
        items: list[Item] = []
        for number, name in enumerate(frames.names):
            decoder = self._decoders.get(name) or self._decoders.get("")
            whole = len(frames.names) == 1
            part = frames if whole else frames.picked(frames.buses == number)
            if decoder is None:
                self._counters.add("unknown_bus", len(part))
            elif len(part):
                items += decoder.feed(part)
        return items

    def close(self) -> None:
        """Lets the file go."""
        self._batches = iter(())


def read_by_library(path: Path, counters: Counters) -> Iterator[FrameBatch]:
    """Batches of an ASC or BLF file. Raises RecordingError."""
    frames: list[Frame] = []
    found = False
    try:
        for message in _messages(path, counters):
            frame = _frame(message, counters)
            if frame is not None:
                found = True
                frames.append(frame)
            if len(frames) >= BATCH:
                yield _sorted(frames)
                frames = []
    except Exception as error:
        if not _is_parsing(error):
            raise
        if not found:
            raise RecordingError(f"{path}: wants an ASC or BLF file, got: {error}") from error
        counters.add("torn")
    if frames:
        yield _sorted(frames)


def _is_parsing(error: Exception) -> bool:
    """Whether python-can's readers let an error of their parsing through."""
    known = OSError | ValueError | ArithmeticError | LookupError | TypeError
    module = type(error).__module__.split(".")[0]
    return isinstance(error, known) or module in ("can", "struct", "zlib")


def _messages(path: Path, counters: Counters) -> Iterator[Any]:
    with open_bytes(path) as stream:
        head = stream.read(4)
    with open_bytes(path) as stream:
        if head == b"LOGG":
            from can.io.blf import BLFReader

            objects = _Objects(stream)
            objects.reader = BLFReader(cast(Any, objects))
            yield from objects.reader
        else:
            yield from _asc_messages(stream, counters)
        if is_torn(stream):
            counters.add("torn")


class _Objects(io.BufferedIOBase):
    """Bytes for the library's BLF reader, which believes every length that it reads."""

    def __init__(self, stream: BinaryIO) -> None:
        self._stream = stream
        self.reader: Any = None

    def read(self, size: int | None = -1, /) -> bytes:
        """Raises ValueError where the file says what none says that was written."""
        waiting = len(getattr(self.reader, "_tail", b""))  # of an object that goes on and on
        if size is None or not 0 <= size <= MOST_OBJECT or waiting > MOST_OBJECT:
            raise ValueError(f"an object of {size} bytes, after {waiting} without an end")
        return self._stream.read(size)


class _Lines(io.TextIOBase):
    """Lines for the library's ASC reader, which forgets where it was at each damaged one."""

    def __init__(self, text: io.TextIOWrapper) -> None:
        self._text, self._again = text, False

    def __iter__(self) -> "_Lines":  # type: ignore[override]
        return self

    def __next__(self) -> str:  # type: ignore[override]
        if self._again:  # a reader that begins takes its first line for the file's head
            self._again = False
            return "\n"
        return next(self._text)

    def begin_again(self) -> None:
        """The next line is the one after the damaged one, for a reader that begins."""
        self._again = True


def _asc_messages(stream: BinaryIO, counters: Counters) -> Iterator[Any]:
    """Messages of an ASC file; a damaged line costs itself only."""
    from can.io.asc import ASCReader

    lines = _Lines(text_lines(stream, lambda: counters.add("syntax"), "latin-1"))
    reader = ASCReader(cast(Any, lines), relative_timestamp=False)
    found, first = False, None
    while True:
        try:
            for message in reader:
                found = True
                yield message
            break
        except Exception as error:
            if not _is_parsing(error) or isinstance(error, RecordingError):
                raise
            first = first or error
            counters.add("syntax")
            if "datetime" not in str(error):  # after a strange date the head goes on
                lines.begin_again()
    if first and not found:
        raise first


READERS: dict[str, Callable[[Path, Counters], Iterator[FrameBatch]]] = {
    "candump": read_candump,
    "trc": read_trc,
    "asc": read_by_library,
    "blf": read_by_library,
}


def _sorted(frames: list[Frame]) -> FrameBatch:
    batch = batch_of(frames)
    return batch.picked(np.argsort(batch.t_us, kind="stable"))


def _frame(message: Any, counters: Counters) -> Frame | None:
    if message.is_error_frame:
        counters.add("error_frame")
        return None
    if message.is_remote_frame:
        counters.add("remote")
        return None
    number, wide = message.arbitration_id, message.is_extended_id
    seconds, data = message.timestamp, bytes(message.data)
    sound = 0 <= number < (1 << 29 if wide else 1 << 11) and len(data) <= 64
    if not sound or not 0 <= seconds < LATEST_US / 1e6:
        counters.add("syntax")
        return None
    can_id = number | (EXTENDED if wide else 0)
    return Frame(round(seconds * 1e6), can_id, data, str(message.channel))
