"""What one flush brought, as few bytes as can be packed without compressing.

A row of the tail is a bundle: for each group its number and the length of what follows, then
that: how many rows; one code for the times' integers and one per channel; the times as steps
after the bundle's first time; then, code by code, the columns of that code, row by row. Codes
are b, h, i, q for integers of 1, 2, 4, 8 bytes (the lowest number of each means missing) and d
for 64-bit floats (NaN means missing). Numbers and lengths have seven bits a byte, the lowest
first, the highest bit meaning that more follow.
"""

from collections.abc import Iterable, Iterator

import numpy as np
import numpy.typing as npt

from logger.quantum import Q_LIMIT, restore, whole_inverse
from logger.reading import Quantum
from logger.store.packing.codec import Floats, Ints

_CODES = "bhiq"
# Of whole numbers of 1, 2, 4 and 8 bytes, by definition.
_MISSING = np.array([-(2**7), -(2**15), -(2**31), -(2**63)])
_HIGHEST = np.array([2**7 - 1, 2**15 - 1, 2**31 - 1, 2**63 - 1])


def bundle(sections: Iterable[tuple[int, bytes]]) -> bytes:
    """Group numbers and their packed rows as one row of the tail."""
    whole = b""
    for group, data in sections:
        whole += _number(group) + _number(len(data))
        whole += data
    return whole


def unbundle(data: bytes) -> Iterator[tuple[int, bytes]]:
    """Inverse of `bundle`."""
    at = 0
    while at < len(data):
        group, at = _number_at(data, at)
        length, at = _number_at(data, at)
        yield group, data[at : at + length]
        at += length


def _number(value: int) -> bytes:
    head = b""
    while value >= 0x80:
        head += bytes([value & 0x7F | 0x80])
        value >>= 7
    return head + bytes([value])


def _number_at(data: bytes, at: int) -> tuple[int, int]:
    """A number and where it ends."""
    value = shift = 0
    while True:
        value |= (data[at] & 0x7F) << shift
        shift += 7
        at += 1
        if not data[at - 1] & 0x80:
            return value, at


def _factor(step: float) -> float:
    """What a value is multiplied by to give whole numbers of a step."""
    if not step:
        return 1.0
    return whole_inverse(step) or 1 / step


class Packer:
    """Packs rows of one group; holds the group's steps as arrays."""

    def __init__(self, quanta: tuple[Quantum, ...], time_step_us: int) -> None:
        self.quanta = quanta
        self.time_step_us = time_step_us
        self._exact = np.array([q.step == 0 for q in quanta], dtype=bool)
        self._factor = np.array([_factor(q.step) for q in quanta])
        self._offset = np.array([q.offset for q in quanta])

    def pack(self, t_us: Ints, values: Floats, first_us: int) -> bytes:
        """t_us shape (n,), none before first_us; values shape (n, channels)."""
        steps = (t_us - first_us) // self.time_step_us
        with np.errstate(over="ignore"):
            scaled = np.rint((values - self._offset) * self._factor)
        codes = self._codes(scaled)
        first, last = float(steps.min()), float(steps.max())
        time_code = self._code_of(first, last)
        parts = [_number(len(t_us)), (time_code + codes).encode()]
        parts.append(steps.astype(f"<{time_code}").tobytes())
        for code in sorted(set(codes)):
            columns = [k for k, c in enumerate(codes) if c == code]
            if code == "d":
                parts.append(values[:, columns].astype("<f8").tobytes())
                continue
            part = scaled[:, columns]
            missing = np.isnan(part)
            whole = np.where(missing, 0.0, part).astype(f"<{code}")
            whole[missing] = _MISSING[_CODES.index(code)]
            parts.append(whole.tobytes())
        return b"".join(parts)

    def unpack(self, data: bytes, first_us: int) -> tuple[Ints, Floats]:
        """Inverse of `pack`, values at their quantum."""
        n, at = _number_at(data, 0)
        time_code = chr(data[at])
        codes = data[at + 1 : at + 1 + len(self.quanta)].decode()
        at += 1 + len(codes)
        steps = np.frombuffer(data, f"<{time_code}", n, at)
        at += steps.nbytes
        values = np.full((n, len(codes)), np.nan)
        for code in sorted(set(codes)):
            columns = [k for k, c in enumerate(codes) if c == code]
            kind = "f8" if code == "d" else code
            count = n * len(columns)
            raw = np.frombuffer(data, f"<{kind}", count, at)
            raw = raw.reshape(n, len(columns))
            at += raw.nbytes
            for j, k in enumerate(columns):
                values[:, k] = self._column(raw[:, j], code, k)
        return steps.astype(np.int64) * self.time_step_us + first_us, values

    def _column(self, raw: npt.NDArray[np.generic], code: str, k: int) -> Floats:
        if code == "d":
            return raw.astype(np.float64)
        whole = raw.astype(np.int64)
        column = restore(whole, self.quanta[k])
        column[whole == _MISSING[_CODES.index(code)]] = np.nan
        return column

    def _codes(self, scaled: Floats) -> str:
        low = np.fmin.reduce(scaled, axis=0)
        high = np.fmax.reduce(scaled, axis=0)
        codes = ""
        for exact, lowest, highest in zip(self._exact, low, high, strict=True):
            codes += "d" if exact else self._code_of(lowest, highest)
        return codes

    @staticmethod
    def _code_of(low: float, high: float) -> str:
        """Code whose range holds both; b where all are missing, d where none does."""
        if np.isnan(low):
            return "b"
        if not abs(low) < Q_LIMIT or not abs(high) < Q_LIMIT:
            return "d"
        for code, lowest, highest in zip(_CODES, _MISSING, _HIGHEST, strict=True):
            if low > lowest and high <= highest:
                return code
        return "d"
