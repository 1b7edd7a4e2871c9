"""Recorded CAN traffic through a decoder: candump text, and ASC and BLF by python-can."""

import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

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
from logger.sources.recordings.opened import open_bytes

DATED_US = 1_000_000_000_000_000  # a time beyond September 2001 is UTC, not a stop watch
BATCH = 50_000  # frames of a batch, assumed


class CanRecording:
    """A CAN log as a `Recording`.

    Args:
        path: The file.
        kind: "candump", "asc" or "blf".
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
        reader = read_candump if kind == "candump" else read_by_library
        self._batches = reader(path, counters)

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
        if self._read_frames == len(frames) and frames.t_us[0] >= DATED_US:
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
    try:
        for message in _messages(path):
            frame = _frame(message, counters)
            if frame is not None:
                frames.append(frame)
            if len(frames) >= BATCH:
                yield _sorted(frames)
                frames = []
    except Exception as error:  # python-can's readers let their own parsing errors through
        if not isinstance(error, OSError | ValueError | KeyError | IndexError) and type(
            error
        ).__module__.split(".")[0] not in ("can", "struct", "zlib"):
            raise
        if not frames:
            raise RecordingError(f"{path}: wants an ASC or BLF file, got: {error}") from error
        counters.add("torn")
    if frames:
        yield _sorted(frames)


def _messages(path: Path) -> Iterator[Any]:
    with open_bytes(path) as stream:
        head = stream.read(4)
    with open_bytes(path) as stream:
        if head == b"LOGG":
            from can.io.blf import BLFReader

            yield from BLFReader(stream)
        else:
            from can.io.asc import ASCReader

            text = io.TextIOWrapper(stream, "latin-1")
            yield from ASCReader(text, relative_timestamp=False)


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
    can_id = message.arbitration_id | (EXTENDED if message.is_extended_id else 0)
    t_us = round(message.timestamp * 1e6)
    return Frame(t_us, can_id, bytes(message.data), str(message.channel))
