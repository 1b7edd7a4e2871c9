"""Bits of a frame to values: one description of a field, decoded in blocks with numpy.

DBC signals, parameter groups and CANopen mappings all become `Layout`s; `rowcode.py` turns the
same layouts into straight-line Python for single frames. Both give the same numbers.
"""

from dataclasses import dataclass, field
from decimal import Decimal

import numpy as np
import numpy.typing as npt

from logger.channels import find
from logger.decode.counters import Counters
from logger.decode.signal_map import Target
from logger.decode.unit_names import inside
from logger.quantum import restore
from logger.reading import EXACT, Block, Group, Quantum

Bytes = npt.NDArray[np.uint8]
Words = npt.NDArray[np.uint64]
Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Bits:
    """Where a number sits in a frame.

    Args:
        start: First bit. Little endian: the lowest bit, counted from bit 0 of byte 0 upwards.
            Big endian: the highest bit, counted from the top bit of byte 0 downwards.
        length: Number of bits, 1 to 64.
        big_endian: Byte order.
        kind: "u" unsigned, "s" two's complement, "f" IEEE 754 (16, 32 or 64 bits).
    """

    start: int
    length: int
    big_endian: bool = False
    kind: str = "u"

    @property
    def last_byte(self) -> int:
        """Number of the last byte touched, from 0."""
        return (self.start + self.length - 1) // 8


@dataclass(frozen=True, slots=True)
class Field:
    """A number with its meaning.

    Args:
        bits: Where it sits.
        quantum: value = ±raw * step + offset, in the unit used inside; EXACT for floats.
        negative: True where the raw number counts against our sign.
        raw_low, raw_high: Raw numbers outside say "not available" or "error"; None: no such rule.
        low, high: Plausible limits of the value; infinite where no raw number can pass them.
        factor, shift: For floats: value = ±(raw * factor + shift).
    """

    bits: Bits
    quantum: Quantum
    negative: bool = False
    raw_low: int | None = None
    raw_high: int | None = None
    low: float = -np.inf
    high: float = np.inf
    factor: float = 1.0
    shift: float = 0.0


@dataclass(frozen=True, slots=True)
class Layout:
    """The fields of a frame that arrive together.

    Args:
        group: Channels and quanta, one per field.
        fields: In the group's order.
        conditions: Selector bits and the raw values under which this layout holds.
    """

    group: Group
    fields: tuple[Field, ...]
    conditions: tuple[tuple[Bits, frozenset[int]], ...] = field(default=())


def decimal_product(a: float, b: float) -> float:
    """a * b, without the rounding of binary fractions where both are short decimals."""
    if b == 1.0:
        return a
    if len(repr(b)) > 10:
        return a * b
    return float(Decimal(repr(a)) * Decimal(repr(b)))


def make_field(
    bits: Bits,
    target: Target,
    scale: float = 1.0,
    offset: float = 0.0,
    raw_range: tuple[int | None, int | None] = (None, None),
) -> Field:
    """A field that lands in a channel.

    Args:
        bits: Where the number sits.
        target: Its channel, whose plausible limits are applied, and what raw * scale + offset is
            in.
        raw_range: Lowest and highest raw number that is a measurement.
    """
    _, factor, shift = inside(target.unit)
    known = find(target.channel)
    low, high = (known.low, known.high) if known else (-np.inf, np.inf)
    step = decimal_product(scale, factor)
    whole_shift = target.sign * (decimal_product(offset, factor) + shift)
    negative = target.sign * step < 0
    quantum = EXACT if bits.kind == "f" else Quantum(abs(step), whole_shift)
    if always_inside(bits, quantum, negative, low, high):
        low = -np.inf
        high = np.inf
    return Field(bits, quantum, negative, *raw_range, low, high, abs(step), whole_shift)


def always_inside(bits: Bits, quantum: Quantum, negative: bool, low: float, high: float) -> bool:
    """True where no raw number gives a value outside the limits, so that nobody need look."""
    if bits.kind == "f":
        return False
    span = 1 << (bits.length - (bits.kind == "s"))
    ends = np.array([-span if bits.kind == "s" else 0, span - 1], float)
    values = restore(-ends if negative else ends, quantum)
    return bool(values.min() >= low and values.max() <= high)


def window(data: Bytes, first: int, big_endian: bool) -> Words:
    """Eight bytes from `first` as one number per frame. shape (n,)"""
    if first == 0 and data.shape[1] == 8:
        part = np.ascontiguousarray(data)
    else:
        part = np.zeros((len(data), 8), np.uint8)
        piece = data[:, first : first + 8]
        part[:, : piece.shape[1]] = piece
    return part.view(">u8" if big_endian else "<u8")[:, 0].astype(np.uint64, copy=False)


def raw_words(data: Bytes, bits: Bits, cache: dict[tuple[int, bool], Words]) -> Words:
    """The field's bits as unsigned numbers. shape (n,)"""
    end = bits.start + bits.length
    first = 0 if end <= 64 else bits.start // 8
    key = (first, bits.big_endian)
    word = cache.get(key)
    if word is None:
        word = cache[key] = window(data, first, bits.big_endian)
    begin = bits.start - 8 * first
    over = end - 8 * first - 64
    mask = np.uint64((1 << bits.length) - 1)
    if over > 0:  # 57 to 64 bits across nine bytes
        extra = data[:, first + 8].astype(np.uint64)
        if bits.big_endian:
            return ((word << np.uint64(over)) | (extra >> np.uint64(8 - over))) & mask
        return ((word >> np.uint64(begin)) | (extra << np.uint64(64 - begin))) & mask
    shift = -over if bits.big_endian else begin
    return (word >> np.uint64(shift)) & mask


def measured(raw: Words, item: Field) -> tuple[Floats, Bools | None]:
    """Raw bits as values, and where they say "not available". Each of shape (n,)"""
    bits = item.bits
    if bits.kind == "f":
        kinds = {16: (np.uint16, np.float16), 32: (np.uint32, np.float32)}
        whole, real = kinds.get(bits.length, (np.uint64, np.float64))
        with np.errstate(all="ignore"):
            number = raw.astype(whole).view(real).astype(np.float64)
            value = number * item.factor * (-1 if item.negative else 1) + item.shift
        return value, ~np.isfinite(value)
    if bits.kind == "s":
        top = np.int64(1 << (bits.length - 1)) if bits.length < 64 else np.int64(0)
        signed = raw.view(np.int64) if raw.dtype == np.uint64 else raw.astype(np.int64)
        whole_number = (signed ^ top) - top if bits.length < 64 else signed
        missing = _outside(whole_number, item)
        number = whole_number.astype(np.float64)
    else:
        missing = _outside(raw, item)
        number = raw.astype(np.float64)
    return restore(-number if item.negative else number, item.quantum), missing


def _outside(raw: npt.NDArray[np.integer], item: Field) -> Bools | None:
    low = item.raw_low
    high = item.raw_high
    if low is None and high is None:
        return None
    missing = np.zeros(len(raw), bool)
    if low is not None:
        missing |= raw < low
    if high is not None:
        missing |= raw > high
    return missing


def holding(layout: Layout, data: Bytes) -> Bools | None:
    """Which frames meet the layout's conditions; None: all. shape (n,)"""
    result: Bools | None = None
    for bits, wanted in layout.conditions:
        raw = raw_words(data, bits, {})
        met = np.isin(raw, np.fromiter(wanted, np.uint64, len(wanted)))
        result = met if result is None else result & met
    return result


def decode_block(
    layout: Layout, t_us: npt.NDArray[np.int64], data: Bytes, counters: Counters
) -> Block | None:
    """Many frames of one layout, its conditions already met.

    Args:
        t_us: shape (n,) [µs]
        data: shape (n, width), at least as wide as the layout's last byte.
    Returns:
        Rows that carry at least one value; None where there is none.
    """
    cache: dict[tuple[int, bool], Words] = {}
    values = np.empty((len(t_us), len(layout.fields)))
    holes = False
    for column, item in enumerate(layout.fields):
        value, missing = measured(raw_words(data, item.bits, cache), item)
        if missing is None and item.low == -np.inf and item.high == np.inf:
            values[:, column] = value
            continue
        good = (value >= item.low) & (value <= item.high)
        if missing is not None:
            counters.add("missing", int(np.count_nonzero(missing)))
            counters.add("out_of_limits", int(np.count_nonzero(~good & ~missing)))
            good &= ~missing
        elif not good.all():
            counters.add("out_of_limits", int(np.count_nonzero(~good)))
        if not good.all():
            value[~good] = np.nan
            holes = True
        values[:, column] = value
    if not holes:
        return Block(layout.group, t_us, values) if len(t_us) else None
    kept = ~np.isnan(values).all(axis=1)
    if kept.all():
        return Block(layout.group, t_us, values) if len(t_us) else None
    return Block(layout.group, t_us[kept], values[kept]) if kept.any() else None
