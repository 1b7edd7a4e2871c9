"""Bits in a row, and the table of states of the code that pcodec packs symbols with.

Source: Pco Format Spec (docs/format.md of https://github.com/mwlon/pcodec) and the spreading of
symbols over states in pco/src/ans/spec.rs there, which the specification names.
"""

import numpy as np
import numpy.typing as npt

# Bits of a byte and of a word, and words of ones and of none: by definition.
_BYTE, _WORD = np.uint64(8), np.uint64(64)
_NONE, _ONE, _ALL = np.uint64(0), np.uint64(1), np.uint64(2**64 - 1)


class PcoError(ValueError):
    """Bytes that are not of this format, or of a part of it that is not read here."""


class Bits:
    """Reads numbers bit by bit, the lowest bit of the lowest byte first."""

    def __init__(self, data: bytes) -> None:
        self.data = data
        self.at = 0  # bits
        # Eight bytes beyond, so that each place has a whole word after it.
        padded = np.frombuffer(data + bytes(16), np.uint8)
        self._words = np.lib.stride_tricks.sliding_window_view(padded, 8)
        self._next = padded[8:]

    def take(self, count: int) -> int:
        """One number of so many bits."""
        first = self.at // 8
        last = (self.at + count + 7) // 8
        if last > len(self.data):
            raise PcoError("the bytes end early")
        value = int.from_bytes(self.data[first:last], "little")
        value >>= self.at % 8
        self.at += count
        return value & ((1 << count) - 1)

    def align(self) -> None:
        """On to the next whole byte."""
        self.at = -(-self.at // 8) * 8

    def ahead(self, count: int) -> int:
        """The next bits without taking them; zeros beyond the end."""
        first = self.at // 8
        last = first + count // 8 + 2
        value = int.from_bytes(self.data[first:last], "little")
        return value >> (self.at % 8)

    def take_each(self, counts: npt.NDArray[np.uint64]) -> npt.NDArray[np.uint64]:
        """Numbers one after the other, each of its own count of bits, at most 64. Shape (n,)."""
        ends = np.cumsum(counts) + np.uint64(self.at)
        starts = ends - counts
        if len(ends) and ends[-1] > 8 * len(self.data):
            raise PcoError("the bytes end early")
        places = (starts // _BYTE).astype(np.intp)
        shift = starts % _BYTE
        words = np.ascontiguousarray(self._words[places])
        found: npt.NDArray[np.uint64] = words.view("<u8")[:, 0] >> shift
        # The ninth byte. A shift by 64 is not defined: in two steps.
        high = self._next[places].astype(np.uint64)
        high <<= _WORD - _ONE - shift
        high <<= _ONE
        found |= high
        ones = _ALL >> (_WORD - counts) % _WORD
        found &= np.where(counts == 0, _NONE, ones)
        if len(ends):
            self.at = int(ends[-1])
        return found


def spread(size_log: int, weights: list[int]) -> list[tuple[int, int, int]]:
    """The decoder's table of a tANS code (J. Duda, arXiv:0902.0271) with these weights."""
    size = 1 << size_log
    if sum(weights) != size:
        raise PcoError("its weights do not add up")
    stride = 3 * size // 5
    stride += 1 - stride % 2
    symbols = [0] * size
    step = 0
    for symbol, weight in enumerate(weights):
        for _ in range(weight):
            symbols[stride * step % size] = symbol
            step += 1
    following = list(weights)
    table = []
    for symbol in symbols:
        x = following[symbol]
        following[symbol] += 1
        bits = size_log - (x.bit_length() - 1)
        table.append((symbol, bits, (x << bits) - size))
    return table
