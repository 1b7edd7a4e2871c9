"""CAN log text: `(1609779922.655421) can0 12345678#1122`, one frame a line.

Blocks of lines are taken apart with numpy; a line that is laid out differently (spaced bytes,
CAN FD, remote frames, dates, no times, CRLF) goes through one pattern instead. The text format
is that of the Linux CAN tools, see reference values 4.6.
"""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import numpy.typing as npt

from logger.decode.can.frames import EXTENDED, FrameBatch, batch_of, joined
from logger.decode.counters import Counters
from logger.sources.recordings.candump_line import LONGEST, LineReader
from logger.sources.recordings.opened import open_bytes, read_piece

PIECE = 1 << 22  # bytes read at a time, assumed
HEAD = 20  # "(1609779922.655421) ", by definition of the format
DIGITS = [*range(1, 11), *range(12, 18)]  # of the time, by definition of the format
HEX = np.full(256, 255, np.uint8)
HEX[np.frombuffer(b"0123456789", np.uint8)] = np.arange(10)
HEX[np.frombuffer(b"ABCDEF", np.uint8)] = np.arange(10, 16)
HEX[np.frombuffer(b"abcdef", np.uint8)] = np.arange(10, 16)

Chars = npt.NDArray[np.uint8]
Rows = npt.NDArray[np.intp]
Bools = npt.NDArray[np.bool_]
Numbers = npt.NDArray[np.uint16]


def read_candump(path: Path, counters: Counters, piece: int = PIECE) -> Iterator[FrameBatch]:
    """Batches of frames, times in µs as the file has them.

    Args:
        path: Plain, gzip or zstd.
        counters: Takes syntax, remote, error_frame, untimed, torn.
        piece: Bytes read at a time.
    Raises:
        RecordingError: The file cannot be read.
    """
    lines = LineReader(counters)
    rest = b""
    with open_bytes(path) as stream:
        while True:
            text, torn = read_piece(stream, piece, path)
            if torn:
                counters.add("torn")
            if not text:
                break
            text = rest + text
            end = text.rfind(b"\n") + 1
            text, rest = text[:end], text[end:]
            if len(rest) > LONGEST:
                counters.add("syntax")
                rest = b""
            if text:
                batch = parse_lines(text, lines)
                if batch is not None:
                    yield batch
    if rest.strip():
        batch = parse_lines(rest + b"\n", lines)
        if batch is not None:
            yield batch


def parse_lines(text: bytes, slow: LineReader) -> FrameBatch | None:
    """Whole lines as one batch; None where no line holds a frame."""
    chars = np.frombuffer(text, np.uint8)
    ends = np.flatnonzero(chars == 10)
    starts = np.concatenate([[0], ends[:-1] + 1])
    parts, done = _regular(chars, starts, ends)
    frames = []
    for odd in np.flatnonzero(~done).tolist():
        frame = slow.read(text[starts[odd] : ends[odd]])
        if frame is not None:
            frames.append(frame)
    if frames:
        parts.append(batch_of(frames))
    return joined(parts) if parts else None


def _regular(chars: Chars, starts: Rows, ends: Rows) -> tuple[list[FrameBatch], Bools]:
    """Batches of the regular lines, one per shape of line, and which lines these were."""
    done = np.zeros(len(starts), bool)
    hashes = np.flatnonzero(chars == ord("#"))
    if not len(hashes):
        return [], done
    first = np.searchsorted(hashes, starts)
    last = len(hashes) - 1
    at = hashes[np.minimum(first, last)] - starts
    tail = ends - starts - at
    usable = first <= last
    usable &= (at > HEAD + 3) & (at < 60)
    usable &= (tail > 0) & (tail < 20)
    shape = np.where(usable, at * 64 + tail, -1)
    parts = []
    for value in np.unique(shape[usable]).tolist():
        rows = np.flatnonzero(shape == value)
        batch, good = _same_shape(chars, starts[rows], value // 64, value % 64)
        done[rows[good]] = True
        if batch is not None:
            parts.append(batch)
    return parts, done


def _same_shape(chars: Chars, starts: Rows, at: int, tail: int) -> tuple[FrameBatch | None, Bools]:
    windows = np.lib.stride_tricks.sliding_window_view(chars, at + tail)
    table = windows[starts]
    wide = at >= HEAD + 10 and np.all(table[:, at - 9] == 32)
    id_width = 8 if wide else 3
    good = _layout_holds(table, at, id_width, tail)
    numbers = HEX[table]
    ids, ids_good = _hex_number(numbers[:, at - id_width : at])
    good &= ids_good
    data = numbers[:, at + 1 :]
    good &= (data < 16).all(axis=1)
    if not good.any():
        return None, good
    if not good.all():
        table = table[good]
        ids = ids[good]
        data = data[good]
    n = len(table)
    size = data.shape[1] // 2
    high = data[:, 0::2] << 4
    low = data[:, 1::2]
    whole = np.zeros((n, 8), np.uint8)
    whole[:, :size] = high | low
    if id_width == 8:
        ids |= np.uint32(EXTENDED)
    names, buses = _names(table[:, HEAD : at - id_width - 1])
    lengths = np.full(n, size, np.uint8)
    return FrameBatch(_times(table), ids, lengths, whole, buses, names), good


def _layout_holds(table: Chars, at: int, id_width: int, tail: int) -> Bools:
    fixed = {0: "(", 11: ".", 18: ")", 19: " "}
    fixed[at - id_width - 1] = " "
    whole_bytes = tail % 2 == 1 and tail <= 17
    good = np.full(len(table), whole_bytes)
    for column, char in fixed.items():
        good &= table[:, column] == ord(char)
    digits = table[:, DIGITS] - np.uint8(48)
    good &= (digits < 10).all(axis=1)
    return good


def _hex_number(numbers: Chars) -> tuple[npt.NDArray[np.uint32], Bools]:
    value = np.zeros(len(numbers), np.uint32)
    for column in range(numbers.shape[1]):
        value = (value << np.uint32(4)) | numbers[:, column]
    highest = 2 if numbers.shape[1] == 8 else 8
    good = (numbers < 16).all(axis=1)
    good &= numbers[:, 0] < highest
    return value, good


def _times(table: Chars) -> npt.NDArray[np.int64]:
    value = np.zeros(len(table), np.int64)
    for column in DIGITS:
        digit = table[:, column] - 48
        value = value * 10 + digit
    return value


def _names(table: Chars) -> tuple[tuple[str, ...], Numbers]:
    if np.all(table == table[0]):
        one = table[0].tobytes().decode("latin-1")
        return (one,), np.zeros(len(table), np.uint16)
    rows = np.ascontiguousarray(table).view(f"S{table.shape[1]}")[:, 0]
    names, which = np.unique(rows, return_inverse=True)
    decoded = tuple(name.decode("latin-1") for name in names.tolist())
    return decoded, which.astype(np.uint16)
