"""Columns to bytes and back: integers at the channel's resolution, compressed.

A column's bytes: one byte of kind, then, where readings are missing, the length (u32, little
endian) and the zlib-compressed bits of which are there, then those that are, by one of two
compressors: pcodec where the processor can run it (`processor.py`), else `squeeze`. Which one, the
first bytes tell; each processor reads both.
"""

import zlib
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt

from logger.errors import StoreError
from logger.quantum import quantise, restore
from logger.reading import Quantum
from logger.store.packing import pco_reader, squeeze
from logger.store.packing.processor import runs_pcodec

# Name and version of the layout above with either compressor; their own bytes carry a version too.
PCODEC, SQUEEZE = "pco 1", "zst 1"
KNOWN = (PCODEC, SQUEEZE)

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]

# Kinds of column, by definition of this layout.
_EMPTY, _INT, _FLOAT = 0, 1, 2
_HAS_MISSING = 0x80


def codec_now() -> str:
    """What new chunks are packed with on this computer."""
    return PCODEC if runs_pcodec() else SQUEEZE


@cache
def _configs() -> list[Any]:
    from pcodec import ChunkConfig, DeltaSpec

    return [ChunkConfig(delta_spec=DeltaSpec.try_consecutive(order)) for order in (0, 1, 2)]


def smallest(array: npt.NDArray[np.integer] | Floats) -> bytes:
    """The array in few bytes: by pcodec at whichever delta order gives the fewest (its own choice
    of order is wrong at some lengths), else squeezed."""
    array = np.ascontiguousarray(array)
    if not runs_pcodec():
        return squeeze.pack(array)
    from pcodec import standalone

    tried: list[bytes] = [standalone.simple_compress(array, c) for c in _configs()]
    return min(tried, key=len)


def _decompress(data: bytes) -> npt.NDArray[Any]:
    try:
        if data.startswith(squeeze.BEGIN):
            return squeeze.unpack(data)
        if not runs_pcodec():
            return pco_reader.read(data)
        from pcodec import standalone

        array: npt.NDArray[Any] | None = standalone.simple_decompress(data)
    except (RuntimeError, ValueError) as error:
        raise StoreError(f"a chunk cannot be read: {error}") from error
    if array is None:
        raise StoreError("a chunk cannot be read: it holds no numbers")
    return array


def narrow(q: Ints) -> npt.NDArray[np.integer]:
    """The same integers in 32 bits where they fit, which pcodec handles faster."""
    fits = q.size == 0 or (q.min() >= -(2**31) and q.max() < 2**31)
    return q.astype(np.int32) if fits else q


def encode_column(values: Floats, quantum: Quantum) -> bytes:
    """One channel's readings as bytes; NaN is missing. Shape (n,)."""
    there = ~np.isnan(values)
    present = values if there.all() else values[there]
    if not present.size:
        return bytes([_EMPTY])
    q = quantise(present, quantum)
    kind = _FLOAT if q is None else _INT
    body = smallest(present if q is None else narrow(q))
    if present.size == values.size:
        return bytes([kind]) + body
    bits = zlib.compress(np.packbits(there).tobytes(), 9)
    return bytes([kind | _HAS_MISSING]) + len(bits).to_bytes(4, "little") + bits + body


def decode_present(
    data: bytes, count: int, quantum: Quantum
) -> tuple[Floats, npt.NDArray[np.bool_] | None]:
    """A column's readings, and which of its `count` places they belong to (None: all).

    Raises:
        StoreError: The bytes are not a column of this length.
    """
    kind, start = data[0] & ~_HAS_MISSING, 1
    if kind == _EMPTY:
        return np.empty(0), np.zeros(count, dtype=bool)
    there: npt.NDArray[np.bool_] | None = None
    if data[0] & _HAS_MISSING:
        start = 5 + int.from_bytes(data[1:5], "little")
        bits = np.frombuffer(zlib.decompress(data[5:start]), dtype=np.uint8)
        there = np.unpackbits(bits, count=count).astype(bool)
    raw = _decompress(data[start:])
    wanted = count if there is None else int(there.sum())
    if len(raw) != wanted:
        raise StoreError(f"a chunk holds {len(raw)} values where {wanted} were expected")
    return (restore(raw, quantum) if kind == _INT else raw), there


def decode_column(data: bytes, count: int, quantum: Quantum) -> Floats:
    """Inverse of `encode_column`: shape (count,), NaN where missing. Raises StoreError."""
    values, there = decode_present(data, count, quantum)
    if there is None:
        return values
    full = np.full(count, np.nan)
    full[there] = values
    return full


def encode_times(t_us: Ints, first_us: int, step_us: int) -> bytes:
    """A time column, in steps after `first_us`. t_us: multiples of step_us, shape (n,)."""
    return smallest(narrow((t_us - first_us) // step_us))


def decode_steps(data: bytes) -> Ints:
    """A time column as whole steps after the chunk's first; 32 or 64 bits. Shape (n,)."""
    return _decompress(data)


def decode_times(data: bytes, first_us: int, step_us: int) -> Ints:
    """Inverse of `encode_times`."""
    times: Ints = np.multiply(decode_steps(data), step_us, dtype=np.int64)
    times += first_us
    return times


def unknown_codec(name: str) -> StoreError:
    """What to raise for a chunk of a codec that this version does not know."""
    known = "' and '".join(KNOWN)
    return StoreError(f"a chunk is of codec '{name}', this version of keelwatt reads '{known}'")


def works() -> None:
    """Packs and unpacks once: a processor that its compressor was not made for ends the program
    here."""
    numbers = np.arange(4096, dtype=np.int64)
    if not np.array_equal(_decompress(smallest(numbers)), numbers):
        raise StoreError("numbers do not come back from the log's compressor as they went in")
