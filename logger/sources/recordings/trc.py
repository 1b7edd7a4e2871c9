"""TRC traces of CAN adapters, text of versions 1.0 to 2.1: one message a line, columns by version.

    ;$FILEVERSION=2.1
    ;$STARTTIME=46157.4236111111
    ;$COLUMNS=N,O,T,B,I,d,R,L,D
          1      1059.900 DT 1      0300 Rx -  7    00 00 00 00 04 00 00

O: milliseconds after the start; T: what the line tells; B: bus; I: identifier, of four digits where
it has 11 bits; L: length code, l: length; D: data. The start is a date and time of day in days
since 30 December 1899, taken as UTC; without it the times are those of a stop watch. Columns and
kinds: from memory of the published format; tests hold them to python-can's reader and writer.
"""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from logger.decode.can.frames import EXTENDED, Frame, FrameBatch, batch_of
from logger.decode.counters import Counters
from logger.errors import RecordingError
from logger.sources.recordings.opened import LATEST_US, is_torn, open_bytes, text_lines
from logger.units import DAY_US

BATCH = 50_000  # frames of a batch, assumed
HEAD = ";$FILEVERSION="
# All below by the format's definition.
ZERO_US = round(datetime(1899, 12, 30, tzinfo=UTC).timestamp() * 1e6)
COLUMNS = {
    "1.0": "NOILD",
    "1.1": "NOTILD",
    "1.2": "NOBTILD",
    "1.3": "NOBTIRLD",
    "2.0": "NOTIdlD",
    "2.1": "NOTBIdRLD",
}
DATA_KINDS = frozenset({"Rx", "Tx", "DT", "FD", "FB", "FE", "BI"})
REMOTE_KINDS = frozenset({"RR"})
ERROR_KINDS = frozenset({"Error", "Warng", "ER", "EC", "ST"})
OTHER_KINDS = frozenset({"EV", "Event"})
BUS_STATE = "FFFFFFFF"  # the identifier of a line of version 1.0 that tells the bus's state
FD_LENGTHS = {9: 12, 10: 16, 11: 20, 12: 24, 13: 32, 14: 48, 15: 64}  # ISO 11898-1


class TraceLines:
    """Lines of one trace to frames.

    Args:
        counters: Takes syntax, remote and error_frame.
    Raises (by `read`):
        RecordingError: A version that is not known here.
    """

    def __init__(self, path: Path, counters: Counters) -> None:
        self._path, self._counters = path, counters
        self._columns = tuple(COLUMNS["1.0"])
        self._start_us = 0

    def read(self, line: str) -> Frame | None:
        """The line's frame; None where it has none."""
        text = line.strip()
        if not text:
            return None
        if text.startswith(";"):
            self._head(text)
            return None
        try:
            return self._frame(dict(zip(self._columns, self._split(text), strict=False)))
        except (ValueError, KeyError, OverflowError):
            self._counters.add("syntax")
            return None

    def _head(self, text: str) -> None:
        key, _, value = text.partition("=")
        if key == ";$FILEVERSION":
            if value.strip() not in COLUMNS:
                raise RecordingError(
                    f"{self._path}: wants a TRC file of version {', '.join(COLUMNS)}, got {value!r}"
                )
            self._columns = tuple(COLUMNS[value.strip()])
        elif key == ";$COLUMNS":
            self._columns = tuple(name.strip() for name in value.split(","))
        elif key == ";$STARTTIME":
            try:
                start_us = ZERO_US + round(float(value) * DAY_US)
            except (ValueError, OverflowError):
                self._counters.add("syntax")
                return
            self._start_us = start_us if 0 <= start_us < LATEST_US else 0

    def _split(self, text: str) -> list[str]:
        return text.split(maxsplit=len(self._columns) - 1)

    def _frame(self, said: dict[str, str]) -> Frame | None:
        """Raises ValueError, KeyError where it is no line of a trace."""
        kind, data = said.get("T", "DT"), said.get("D", "")
        if kind in ERROR_KINDS or ("T" not in said and said["I"] == BUS_STATE):
            self._counters.add("error_frame")
            return None
        if kind in REMOTE_KINDS or data.startswith("RTR"):
            self._counters.add("remote")
            return None
        if kind in OTHER_KINDS:
            return None
        if kind not in DATA_KINDS:
            raise ValueError(kind)
        can_id = identifier(said["I"])
        return Frame(self._time_us(said["O"]), can_id, _payload(said, data), said.get("B", "1"))

    def _time_us(self, text: str) -> int:
        t_us = self._start_us + round(float(text) * 1000)
        if not 0 <= t_us < LATEST_US:
            raise ValueError(text)
        return t_us


def identifier(text: str) -> int:
    """An identifier; bit 31 set where it has 29 bits. Raises ValueError."""
    wide, number = len(text) > 4, int(text, 16)
    if not 0 <= number < (1 << 29 if wide else 1 << 11):
        raise ValueError(text)
    return number | (EXTENDED if wide else 0)


def _payload(said: dict[str, str], data: str) -> bytes:
    """Raises ValueError where it is not as long as said, KeyError where no length is said."""
    size = int(said["l"]) if "l" in said else FD_LENGTHS.get(int(said["L"]), int(said["L"]))
    payload = bytes.fromhex(data)
    if len(payload) != size or size > 64:
        raise ValueError(data)
    return payload


def read_trc(path: Path, counters: Counters) -> Iterator[FrameBatch]:
    """Batches of frames. Raises RecordingError."""
    lines = TraceLines(path, counters)
    frames: list[Frame] = []
    with open_bytes(path) as stream:
        try:
            for line in text_lines(stream, lambda: counters.add("syntax"), "latin-1"):
                frame = lines.read(line)
                if frame is not None:
                    frames.append(frame)
                if len(frames) >= BATCH:
                    yield batch_of(frames)
                    frames = []
        except OSError as error:
            raise RecordingError(f"{path}: cannot be read further: {error}") from error
        if is_torn(stream):
            counters.add("torn")
    if frames:
        yield batch_of(frames)
