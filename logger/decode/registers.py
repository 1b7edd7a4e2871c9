"""Modbus registers to values: the register map and how it is read in few requests.

Each entry of `register` in a source's options:

    address = 0x0010           # as in the frame, from 0
    function = 3               # 3 holding registers, 4 input registers, 1 coils, 2 inputs
    device = 1                 # the unit's address on the line
    type = "s32"               # u16, s16, u32, s32, u64, s64, f32, f64, bit
    word_order = "big"         # "little": the low word comes first
    scale = 0.001              # what one step means in `unit`, 1 if left out
    offset = 0.0
    unit = "V"
    channel = "pack_voltage_v"
    sign = 1
    low = 30.0                 # values outside are refused; in the channel's unit
    high = 60.0
    period_s = 1.0
"""

from dataclasses import dataclass, replace

from logger.decode.counters import Counters
from logger.decode.fields import Bits, Field, Layout, make_field
from logger.decode.rowcode import compile_row
from logger.reading import Group, Item, Row
from logger.sources.options import Options

TYPES = {
    "u16": ("u", 16),
    "s16": ("s", 16),
    "u32": ("u", 32),
    "s32": ("s", 32),
    "u64": ("u", 64),
    "s64": ("s", 64),
    "f32": ("f", 32),
    "f64": ("f", 64),
    "bit": ("u", 1),
}
MOST_REGISTERS = 100  # in one request; the standard allows 125, assumed
LARGEST_GAP = 8  # registers read for nothing rather than by a request of their own, assumed
KEYS = ("address", "function", "device", "type", "word_order", "scale", "offset", "unit",
        "channel", "sign", "low", "high", "period_s")  # fmt: skip


@dataclass(frozen=True, slots=True)
class Register:
    """One entry of the map. The field's bits say only how long and of which kind it is."""

    device: int
    function: int
    address: int
    words: int  # registers, or bits for functions 1 and 2
    low_word_first: bool
    channel: str
    field: Field
    period_s: float


class ReadPlan:
    """One request and what its answer means.

    Args:
        prefix: First part of the group's key.
        registers: Of one device, function and period, by address.
        counters: Takes missing and out_of_limits.
    """

    def __init__(self, prefix: str, registers: list[Register], counters: Counters) -> None:
        first, last = registers[0], registers[-1]
        self.device, self.function = first.device, first.function
        self.address = first.address
        self.count = last.address + last.words - first.address
        self.period_s = first.period_s
        self._registers = tuple(registers)
        key = f"{prefix}/{self.device}.{self.function}.{self.address}"
        fields, at = [], 0
        for register in registers:
            bits = register.field.bits
            fields.append(replace(register.field, bits=replace(bits, start=at + _lead(bits))))
            at += _whole(bits)
        quanta = tuple(field.quantum for field in fields)
        self.group = Group(key, tuple(r.channel for r in registers), quanta)
        self._row = compile_row(Layout(self.group, tuple(fields)), at // 8, counters)

    def values(self, answer: list[int]) -> tuple[float | None, ...] | None:
        """The registers' values; None where there is none.

        Args:
            answer: `count` registers, or bits as 0 and 1.
        """
        payload = b""
        for register in self._registers:
            start = register.address - self.address
            words = answer[start : start + register.words]
            if self.function in (1, 2):
                payload += bytes([words[0]])
                continue
            if register.low_word_first:
                words = words[::-1]
            payload += b"".join(word.to_bytes(2, "big") for word in words)
        return self._row(payload)


class RegisterLines:
    """Raw copies of answers, "device function address: words", through a register map.

    Args:
        plans: Of the source that made the copy.
        counters: Takes frames, syntax and unknown_id.
    """

    def __init__(self, plans: list[ReadPlan], counters: Counters) -> None:
        self._plans, self._counters = plans, counters

    def feed(self, line: str, t_us: int) -> list[Item]:
        """The rows of all requests that the answer covers."""
        self._counters.add("frames")
        head, _, tail = line.partition(":")
        try:
            device, function, address = (int(word) for word in head.split())
            texts = tail.split()
            words = [int(text, 16) for text in texts]
        except ValueError:
            self._counters.add("syntax")
            return []
        if not all(len(text) == 4 and word >= 0 for text, word in zip(texts, words, strict=True)):
            self._counters.add("syntax")  # a shorter word is one that was torn
            return []
        rows: list[Item] = []
        for one in self._plans:
            first = one.address - address
            fits = first >= 0 and first + one.count <= len(words)
            if (one.device, one.function) == (device, function) and fits:
                values = one.values(words[first : first + one.count])
                if values is not None:
                    rows.append(Row(one.group, t_us, values))
        if not rows:
            self._counters.add_unknown("unknown_id", f"device {device} register {address}")
        return rows


def _whole(bits: Bits) -> int:
    return max(bits.length, 8)


def _lead(bits: Bits) -> int:
    return _whole(bits) - bits.length


def read_register(entry: Options) -> Register:
    """One entry of the map. Raises BoatFileError naming the key."""
    entry.only(KEYS)
    kind, function = _kind(entry)
    order = entry.text("word_order", "big")
    if order not in ("big", "little"):
        raise entry.wrong("word_order", '"big" or "little"')
    letter, length = TYPES[kind]
    field = _field(entry, Bits(0, length, True, letter))
    return Register(
        entry.whole("device", 1, 1, 247),
        function,
        entry.whole("address", None, 0, 65535),
        max(length // 16, 1),
        order == "little",
        entry.text("channel"),
        field,
        entry.number("period_s", 1.0, 0.05, 86400),
    )


def _kind(entry: Options) -> tuple[str, int]:
    """The type and the function, which must go together."""
    kind = entry.text("type", "u16")
    if kind not in TYPES:
        raise entry.wrong("type", f"one of {', '.join(TYPES)}")
    function = entry.whole("function", 3, 1, 4)
    if (function < 3) != (kind == "bit"):
        raise entry.wrong("type", '"bit" for functions 1 and 2, and only there')
    return kind, function


def _field(entry: Options, bits: Bits) -> Field:
    """The number's meaning, with the entry's own limits inside the channel's."""
    target = entry.target(None)
    scale = entry.number("scale", 1.0, -1e9, 1e9)
    if scale == 0:
        raise entry.wrong("scale", "a number other than 0")
    field = make_field(bits, target, scale, entry.number("offset", 0.0, -1e9, 1e9))
    if "low" in entry.table:
        field = replace(field, low=max(field.low, entry.number("low", None, -1e15, 1e15)))
    if "high" in entry.table:
        field = replace(field, high=min(field.high, entry.number("high", None, -1e15, 1e15)))
    return field


def plan(prefix: str, registers: list[Register], counters: Counters) -> list[ReadPlan]:
    """Registers put together into few requests."""
    by_line: dict[tuple[int, int, float], list[Register]] = {}
    for register in sorted(registers, key=lambda r: (r.device, r.function, r.address)):
        by_line.setdefault((register.device, register.function, register.period_s), []).append(
            register
        )
    plans = []
    for line in by_line.values():
        piece: list[Register] = []
        for register in line:
            if piece and not _joins(piece, register):
                plans.append(ReadPlan(prefix, piece, counters))
                piece = []
            piece.append(register)
        plans.append(ReadPlan(prefix, piece, counters))
    return plans


def _joins(piece: list[Register], register: Register) -> bool:
    end = piece[-1].address + piece[-1].words
    whole = register.address + register.words - piece[0].address
    return register.address - end <= LARGEST_GAP and whole <= MOST_REGISTERS
