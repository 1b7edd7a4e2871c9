"""What all recorded files have in common, and which kind a file is."""

import re
from pathlib import Path
from typing import Protocol

from logger.decode.nmea.sentences import looks_like_sentence
from logger.errors import RecordingError
from logger.reading import Item
from logger.sources.recordings.opened import open_bytes
from logger.sources.recordings.trc import HEAD as TRACE

_TIMED = re.compile(rb"^\s*\([^)]{1,40}\)\s+\S+\s+")
_FRAME = re.compile(rb"^\s*(?:\([^)]{1,40}\)\s+)?\S+\s+(?:[0-9A-Fa-f]{3,8}(?:#|\s+\[\d)|ERROR\b)")

FIRST_LINES = 20  # before what they look like is held to be a table, assumed


class Recording(Protocol):
    """A recorded file as batches of items, in the file's own time.

    origin_us: UTC of the file's time 0, None where the file does not say; known after a batch.
    reached_us: All items up to this time have been given.
    fraction: How much of the file has been read, 0 to 1.
    """

    path: Path
    origin_us: int | None
    reached_us: int

    @property
    def fraction(self) -> float: ...

    def batch(self) -> list[Item] | None:
        """The next items; None at the end. Raises RecordingError."""

    def close(self) -> None: ...


def kind_of(path: Path) -> str:
    """What a file is: "candump", "asc", "blf", "trc", "nmea0183", "lines" (others that are led by a
    time and a source's name) or "csv", by its contents.

    Raises:
        RecordingError: None of these.
    """
    with open_bytes(path) as stream:
        head = stream.read(65536)
    if not head:
        raise RecordingError(f"{path}: holds nothing that can be read")
    if head.startswith(b"LOGG"):
        return "blf"
    names = [part.lower() for part in path.suffixes]
    if ".asc" in names or head[:5].lower() == b"date " or b"\nbase " in head[:300]:
        return "asc"
    if ".trc" in names or TRACE.encode() in head[:300]:
        return "trc"
    lines = [line.rstrip(b"\r") for line in head.split(b"\n") if line.strip()]
    first, later = lines[:FIRST_LINES], lines[FIRST_LINES:]
    if kind := _by_its_lines(first):
        return kind
    if ".csv" in names or ".tsv" in names or _is_table(first):
        return "csv"
    if kind := _by_its_lines(later):  # after a long header
        return kind
    raise RecordingError(
        f"{path}: wants a candump log, an ASC, BLF or TRC file, NMEA 0183 lines or a CSV table, "
        f"but the first lines look like none of them"
    )


def _by_its_lines(lines: list[bytes]) -> str:
    """The kind of the first line that has one; empty where none has."""
    for line in lines:
        if looks_like_sentence(_TIMED.sub(b"", line).strip()):
            return "nmea0183"
        if _FRAME.match(line):
            return "candump"
        if _TIMED.match(line):
            return "lines"
    return ""


def _is_table(lines: list[bytes]) -> bool:
    return len(lines) > 2 and any(
        lines[0].count(mark) > 0 and len({line.count(mark) for line in lines[:-1]}) == 1
        for mark in (b",", b";", b"\t")
    )
