"""Numbers to bytes for every processor: differences, bytes sorted by their place, Zstandard.

Form: "kwz1"; a letter for the numbers (i, q: integers of 32, 64 bits; d: floats of 64); how many
times differences were taken (one byte); how many numbers (u32, little endian); one Zstandard frame
(RFC 8878) of the lowest bytes of all numbers, then the next, and so on. Before that a difference d
became 2 d, or -2 d - 1 where it is negative, so that small ones have high bytes of 0. A float goes
as the integer of its bits. Differences wrap around: every number comes back to the last bit.
"""

import struct
from typing import Any

import numpy as np
import numpy.typing as npt
import zstandard

BEGIN = b"kwz1"
_HEAD = struct.Struct("<4scBI")
_TYPES = {b"i": "<i4", b"q": "<i8", b"d": "<f8"}
_ORDERS = (0, 1, 2)  # as with the other compressor; assumed
# Of 22; 15 saves 6 % of the bytes for ten times the time: measured on bench_codecs.py's columns.
_LEVEL = 1
MOST = 2**24  # numbers, a hundred times chunks.MOST_ROWS; assumed


class SqueezeError(ValueError):
    """Bytes that are not of this form."""


def pack(array: npt.NDArray[Any]) -> bytes:
    """Integers of 32 or 64 bits or 64-bit floats as bytes, at the order that gives the fewest."""
    letter = next(k for k, kind in _TYPES.items() if np.dtype(kind) == array.dtype)
    whole = np.ascontiguousarray(array).view(f"<i{array.dtype.itemsize}")
    packer = zstandard.ZstdCompressor(level=_LEVEL)
    tried = []
    for order in _ORDERS:
        frame = packer.compress(_planes(whole))
        tried.append(_HEAD.pack(BEGIN, letter, order, len(array)) + frame)
        whole = np.concatenate([whole[:1], whole[1:] - whole[:-1]])
    return min(tried, key=len)


def _planes(whole: npt.NDArray[Any]) -> bytes:
    size = whole.dtype.itemsize
    sign = whole >> (8 * size - 1)
    folded = (whole << 1) ^ sign
    rows = folded.view(np.uint8).reshape(-1, size)
    return rows.T.tobytes()


def unpack(data: bytes) -> npt.NDArray[Any]:
    """The numbers. Shape (n,).

    Raises:
        SqueezeError: It is none, or not whole.
    """
    try:
        begin, letter, order, count = _HEAD.unpack_from(data)
        kind = np.dtype(_TYPES[letter])
        frame = data[_HEAD.size :]
        wanted = count * kind.itemsize
        if begin != BEGIN or count > MOST or order not in _ORDERS:
            raise SqueezeError("its beginning is wrong")
        # What a frame says of its own size is not trusted with memory.
        if zstandard.frame_content_size(frame) != wanted:
            raise SqueezeError("it is not as long as it says")
        planes = zstandard.ZstdDecompressor().decompress(frame, max_output_size=wanted)
    except (struct.error, KeyError, zstandard.ZstdError) as error:
        raise SqueezeError(f"it cannot be read ({error})") from error
    folded = np.frombuffer(planes, np.uint8).reshape(kind.itemsize, count).T
    unsigned = np.ascontiguousarray(folded).view(f"<u{kind.itemsize}")[:, 0]
    signed = f"<i{kind.itemsize}"
    sign = -(unsigned & 1).view(signed)
    whole = (unsigned >> 1).view(signed) ^ sign
    for _ in range(order):
        whole = np.cumsum(whole, dtype=whole.dtype)
    found: npt.NDArray[Any] = whole.view(kind)
    return found
