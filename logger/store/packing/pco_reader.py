"""pcodec's bytes read without pcodec, for processors that its wheels were not made for.

Slow beside it (some hundred times), and the same numbers to the last bit. Reads what this project
writes: 32 and 64 bit integers and 64 bit floats, consecutive differences or none.
Source: Pco Format Spec, versions 3 to 4.1 (docs/format.md of https://github.com/mwlon/pcodec).
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from logger.store.packing.pco_bits import Bits, PcoError, spread

BEGIN = b"pco!"
Latents = npt.NDArray[np.unsignedinteger[Any]]
# By the byte that names them in the format.
_TYPES: dict[int, str] = {1: "<u4", 2: "<u8", 3: "<i4", 4: "<i8", 6: "<f8"}
_BATCH = 256  # numbers; source: the specification above
_CLASSIC, _INT_MULT, _FLOAT_MULT, _FLOAT_QUANT, _DICT = range(5)
_MOST_SIZE_LOG = 14  # source: the same
_MANTISSA_BITS = 52  # of a 64-bit float, by definition (IEEE 754)
_MOST = 2**24  # numbers, as in squeeze.py; assumed


@dataclass(frozen=True, slots=True)
class _Latent:
    """How one of a chunk's columns of numbers is coded.

    Args:
        size_log: Of the table of states.
        table: For each state: symbol, how many bits to read, what the next state is without them.
        lower: Of each bin. offset_bits: the same.
        delta: How many times differences were taken.
        kind: The integers it is made of.
    """

    size_log: int
    table: list[tuple[int, int, int]]
    lower: Latents
    offset_bits: npt.NDArray[np.uint64]
    delta: int
    kind: str


def _latent(bits: Bits, kind: str, delta: int) -> _Latent:
    width = 8 * np.dtype(kind).itemsize
    size_log, count = bits.take(4), bits.take(15)
    if size_log > _MOST_SIZE_LOG or count > 1 << size_log:
        raise PcoError("its table is too large")
    weights, lower, offset_bits = [], [], []
    for _ in range(count):
        weights.append(bits.take(size_log) + 1)
        lower.append(bits.take(width))
        offset_bits.append(bits.take(width.bit_length()))
    if max(offset_bits, default=0) > width:
        raise PcoError("its offsets are too long")
    return _Latent(
        size_log,
        spread(size_log, weights or [1]),
        np.array(lower or [0], dtype=kind),
        np.array(offset_bits or [0], dtype=np.uint64),
        delta,
        kind,
    )


@dataclass(frozen=True, slots=True)
class _Chunk:
    """One chunk's own words. extra: what its mode wants beside: factor, bits, or a dictionary."""

    mode: int
    extra: Any
    latents: list[_Latent]


def _chunk(bits: Bits, unsigned: str, floats: bool) -> _Chunk:
    width = 8 * np.dtype(unsigned).itemsize
    mode = bits.take(4)
    extra: Any = None
    if mode in (_INT_MULT, _FLOAT_MULT):
        extra = bits.take(width)
    elif mode == _FLOAT_QUANT:
        extra = bits.take(8)
    elif mode == _DICT:
        length = bits.take(25)
        bits.align()
        if length * width > 8 * len(bits.data):
            raise PcoError("its dictionary is too long")
        extra = np.array([bits.take(width) for _ in range(length)], dtype=unsigned)
    elif mode != _CLASSIC:
        raise PcoError(f"mode {mode} of it is not read here")
    if (mode in (_FLOAT_MULT, _FLOAT_QUANT) and not floats) or (mode == _INT_MULT and floats):
        raise PcoError("its mode is of another kind of numbers")
    if mode == _FLOAT_QUANT and not 0 < extra <= _MANTISSA_BITS:
        raise PcoError("its mode has a wrong factor")
    order, second = 0, False
    variant = bits.take(4)
    if variant == 1:
        order, second = bits.take(3), bool(bits.take(1))
    elif variant:
        raise PcoError(f"differences of kind {variant} are not read here")
    latents = [_latent(bits, "<u4" if mode == _DICT else unsigned, order)]
    if mode in (_INT_MULT, _FLOAT_MULT, _FLOAT_QUANT):
        latents.append(_latent(bits, unsigned, order if second else 0))
    bits.align()
    return _Chunk(mode, extra, latents)


def _page(bits: Bits, chunk: _Chunk, count: int) -> list[Latents]:
    """The latents of a page. Shape (count,) each."""
    moments, states = [], []
    for latent in chunk.latents:
        width = 8 * np.dtype(latent.kind).itemsize
        moments.append([bits.take(width) for _ in range(latent.delta)])
        states.append([bits.take(latent.size_log) for _ in range(4)])
    bits.align()
    pieces: list[list[Latents]] = [[] for _ in chunk.latents]
    for start in range(0, count, _BATCH):
        for k, latent in enumerate(chunk.latents):
            wanted = min(_BATCH, count - latent.delta - start)
            if wanted > 0:
                pieces[k].append(_batch(bits, latent, states[k], wanted))
    bits.align()
    return [
        _summed(np.concatenate([np.empty(0, latent.kind), *piece]), moment, count)
        for latent, piece, moment in zip(chunk.latents, pieces, moments, strict=True)
    ]


def _batch(bits: Bits, latent: _Latent, states: list[int], count: int) -> Latents:
    """Some numbers: their bins' symbols, then what each adds to its bin's lower bound."""
    if latent.size_log == 0:
        symbols = np.zeros(count, dtype=np.intp)
    else:
        symbols = np.array(_symbols(bits, latent, states, count), dtype=np.intp)
    offsets = bits.take_each(latent.offset_bits[symbols]).astype(latent.kind)
    found: Latents = latent.lower[symbols] + offsets
    return found


def _symbols(bits: Bits, latent: _Latent, states: list[int], count: int) -> list[int]:
    """Four decoders take turns on one stream; their states are left as they are at the end."""
    table = latent.table
    word = bits.ahead(count * latent.size_log)
    read = 0
    found = []
    for k in range(count):
        symbol, length, base = table[states[k & 3]]
        found.append(symbol)
        states[k & 3] = base + (word & ((1 << length) - 1))
        word >>= length
        read += length
    bits.at += read
    if bits.at > 8 * len(bits.data):
        raise PcoError("the bytes end early")
    return found


def _summed(deltas: Latents, moments: list[int], count: int) -> Latents:
    """Undoes differences: from the last moment to the first, each begins a sum."""
    if not moments:
        return deltas
    # Differences are stored about the middle, so that small ones of either sign are neighbours
    # (found by comparing with pcodec itself).
    deltas = deltas ^ deltas.dtype.type(1 << (8 * deltas.dtype.itemsize - 1))
    with np.errstate(over="ignore"):
        for moment in reversed(moments):
            first = np.array([moment], dtype=deltas.dtype)
            deltas = np.cumsum(np.concatenate([first, deltas]), dtype=deltas.dtype)
    return deltas[:count]


def _joined(chunk: _Chunk, latents: list[Latents], kind: str) -> npt.NDArray[Any]:
    """The numbers that a mode makes of its latents."""
    first, unsigned = latents[0], latents[0].dtype
    with np.errstate(over="ignore"):
        if chunk.mode == _INT_MULT:
            first = first * unsigned.type(chunk.extra) + latents[1]
        elif chunk.mode == _DICT:
            if len(first) and int(first.max()) >= len(chunk.extra):
                raise PcoError("it names what is not in its dictionary")
            first = chunk.extra[first]
        elif chunk.mode == _FLOAT_MULT:
            return _float_mult(first, latents[1], chunk.extra)
        elif chunk.mode == _FLOAT_QUANT:
            shift, middle = unsigned.type(chunk.extra), unsigned.type(1 << 63)
            most = unsigned.type((1 << chunk.extra) - 1)
            high = first << shift
            first = high + np.where(high >= middle, latents[1], most - latents[1])
    return _ordered(first, kind)


def _ordered(latent: Latents, kind: str) -> npt.NDArray[Any]:
    """Unsigned integers in the order of the numbers they stand for, as those numbers."""
    top = latent.dtype.type(1 << (8 * latent.dtype.itemsize - 1))
    if "u" in kind:
        return latent.astype(kind)
    if "i" in kind:
        return (latent ^ top).view(kind)
    return np.where(latent & top, latent ^ top, ~latent).astype("<u8").view(kind)


def _float_mult(first: Latents, second: Latents, factor: int) -> npt.NDArray[np.float64]:
    """Whole numbers times a factor, then so many of the last place away."""
    middle = np.uint64(1 << 63)
    # Whole floats in order: below 2^53 the integers themselves, beyond it each next float.
    whole = (first ^ middle).view("<i8")
    exact = np.int64(1 << 53)
    size = np.where(whole < 0, ~whole, whole)  # there are two zeros, one of each sign
    beyond = np.array([2.0**53]).view("<u8") + (size - exact).astype("<u8")
    floats = np.where(size < exact, size.astype("<f8"), beyond.view("<f8"))
    floats = np.where(whole < 0, -floats, floats)
    by = _ordered(np.array([factor], dtype="<u8"), "<f8")[0]
    bits = (floats * by).view("<u8")
    ordered = np.where(bits & middle, ~bits, bits ^ middle)
    return _ordered(ordered + (second ^ middle), "<f8").astype(np.float64)


def read(data: bytes) -> npt.NDArray[Any]:
    """The numbers of one standalone file of pcodec's. Shape (n,).

    Raises:
        PcoError: It is none, not whole, or of a part of the format that is not read here.
    """
    bits = Bits(data)
    if data[: len(BEGIN)] != BEGIN:
        raise PcoError("it does not begin as pcodec's bytes do")
    bits.at = 8 * len(BEGIN)
    version = bits.take(8)
    if version not in (2, 3):
        raise PcoError(f"standalone version {version} is not read here")
    if version == 3:
        bits.take(8)
    bits.take(bits.take(6) + 1)
    bits.align()
    major = bits.take(8)
    if major not in (3, 4):
        raise PcoError(f"format version {major} is not read here")
    if major == 4:
        bits.take(8)
    pieces: list[npt.NDArray[Any]] = []
    total = 0
    while (kind := _TYPES.get(number := bits.take(8))) or number:
        if kind is None:
            raise PcoError(f"numbers of type {number} are not read here")
        count = bits.take(24) + 1
        total += count
        if total > _MOST:
            raise PcoError("it holds more numbers than any chunk")
        chunk = _chunk(bits, f"<u{np.dtype(kind).itemsize}", kind == "<f8")
        pieces.append(_joined(chunk, _page(bits, chunk, count), kind))
    return np.concatenate(pieces) if pieces else np.empty(0, np.int64)
