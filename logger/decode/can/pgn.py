"""NMEA 2000 parameter groups from CAN frames, single or fast packet.

A ready-made decoder library exists for these groups, but gives one Python object per message;
the table here shares the block decoder of DBC files and needs no further package. Tests use
published messages of that library as outside values.
"""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from logger.channels import find
from logger.decode.can import deviation
from logger.decode.can.fast_packet import FastPacket
from logger.decode.can.frames import EXTENDED
from logger.decode.can.pgn_channels import PgnNames
from logger.decode.can.pgn_id import split
from logger.decode.can.pgn_table import GROUPS, UTC_FIELDS, ParameterGroup
from logger.decode.counters import Counters
from logger.decode.fields import Bits, Bytes, Field, Layout, decode_block, make_field, raw_words
from logger.decode.message import Handler, Thinning, Times
from logger.decode.rowcode import RowFunction, compile_row
from logger.decode.signal_map import Target
from logger.decode.unit_names import channel_name
from logger.decode.utc_fix import FixSieve, utc_us
from logger.errors import BoatFileError
from logger.reading import (
    Group,
    Item,
    Row,
    UtcFix,
)

MOST_GROUPS = 2000  # garbage must not fill the log with groups, assumed


class PgnDecoder:
    """Finds the handler for an identifier.

    Args:
        prefix: First part of the groups' keys.
        counters: Takes what is refused.
        names: Which instance is what.
    """

    def __init__(self, prefix: str, counters: Counters, names: PgnNames | None = None) -> None:
        self._prefix = prefix
        self._counters = counters
        self._names = names or PgnNames()
        for channel in self._names.temperatures.values():
            if find(channel) is None:
                raise BoatFileError(f"temperatures: wants the name of a channel, got {channel!r}")
        self._groups = 0
        self._sieve = FixSieve()

    def handler(self, can_id: int) -> Handler | None:
        """What decodes frames of this identifier; None where the group is not known here."""
        if not can_id & EXTENDED:
            return None
        identifier = split(can_id)
        group = GROUPS.get(identifier.pgn)
        if group is None:
            return None
        key = f"{self._prefix}/{group.pgn}.{identifier.source:02X}"
        return PgnHandler(group, key, self._layout, self._counters, self._sieve)

    def _layout(
        self, group: ParameterGroup, key: str, words: dict[str, int], size: int
    ) -> Layout | None:
        if self._groups >= MOST_GROUPS:
            self._counters.add("too_many_kinds")
            return None
        if any(says_nothing(group.pgn, name, bits, words[name]) for name, bits in group.selectors):
            self._counters.add("missing")
            return None
        if group.pgn == 129029 and words["method"] == 0:  # the receiver has no position
            self._counters.add("void")
            return None
        found = []
        for item in group.fields:
            if item.bits.last_byte < size:
                found.append(self._field(group, item.name, words))
        if not found:
            return None
        self._groups += 1
        channels, fields = zip(*found, strict=True)
        end = "".join(f"/{value}" for value in words.values())
        whole = "" if len(found) == len(group.fields) else f"/{size}"
        quanta = tuple(item.quantum for item in fields)
        return Layout(Group(f"{key}{end}{whole}", channels, quanta), fields)

    def _field(self, group: ParameterGroup, name: str, words: dict[str, int]) -> tuple[str, Field]:
        item = next(f for f in group.fields if f.name == name)
        parts = self._names.channel(group.pgn, name, words, group.name)
        single = len(parts) == 1
        channel = parts[0] if single else channel_name(*parts, unit=item.unit)
        target = Target(channel, item.unit, self._names.sign(group.pgn, name))
        return channel, make_field(
            item.bits, target, item.scale, item.offset, (None, item.highest_raw)
        )


def says_nothing(pgn: int, name: str, bits: Bits, value: int) -> bool:
    """True for a selector of all ones; the kind in 127506 may be left open."""
    return value == (1 << bits.length) - 1 and (pgn, name) != (127506, "kind")


LayoutMaker = Callable[[ParameterGroup, str, dict[str, int], int], Layout | None]


class PgnHandler:
    """One parameter group from one sender; a layout per value of its selectors."""

    def __init__(
        self,
        group: ParameterGroup,
        key: str,
        make: LayoutMaker,
        counters: Counters,
        sieve: FixSieve,
    ) -> None:
        self._group = group
        self._key = key
        self._make = make
        self._counters = counters
        self._sieve = sieve
        self._packet = FastPacket(counters) if group.fast else None
        several = group.fast or group.selectors or group.pgn in UTC_FIELDS
        self.thinning: Thinning = "readings" if several else "frames"
        self._layouts: dict[tuple[int, ...], Layout | None] = {}
        self._rows: dict[tuple[int, ...], tuple[Group, RowFunction] | None] = {}

    def block(self, t_us: Times, lengths: npt.NDArray[np.uint8], data: Bytes) -> list[Item]:
        if self._packet:
            t_us, lengths, data = self._assembled(t_us, lengths, data)
        items: list[Item] = []
        for size in np.unique(lengths):
            rows = lengths == size
            items += self._one_size(t_us[rows], data[rows], int(size))
        return items

    def _assembled(
        self, t_us: Times, lengths: npt.NDArray[np.uint8], data: Bytes
    ) -> tuple[Times, npt.NDArray[np.uint8], Bytes]:
        assert self._packet
        done: list[tuple[int, bytes]] = []
        raw = data.tobytes()
        width = data.shape[1]
        for row, (when, length) in enumerate(zip(t_us.tolist(), lengths.tolist(), strict=True)):
            payload = self._packet.feed(raw[row * width : row * width + length])
            if payload is not None:
                done.append((when, payload))
        padded = b"".join(payload.ljust(224, b"\0") for _, payload in done)
        whole = np.frombuffer(padded, np.uint8).reshape(len(done), 224)
        times = np.fromiter((when for when, _ in done), np.int64, len(done))
        sizes = np.fromiter((len(payload) for _, payload in done), np.uint8, len(done))
        return times, sizes, whole

    def _one_size(self, t_us: Times, data: Bytes, size: int) -> list[Item]:
        items: list[Item] = list(self._fixes(t_us, data, size))
        if any(bits.last_byte >= size for _, bits in self._group.selectors):
            self._counters.add("length", len(t_us))
            return items
        if not self._group.fields:
            return items
        columns = [raw_words(data, bits, {}) for _, bits in self._group.selectors]
        if not columns:
            return items + self._selected((), size, t_us, data)
        table = np.stack(columns, axis=1)
        for chosen in np.unique(table, axis=0):
            rows = (table == chosen).all(axis=1)
            items += self._selected(tuple(chosen.tolist()), size, t_us[rows], data[rows])
        return items

    def _selected(self, chosen: tuple[int, ...], size: int, t_us: Times, data: Bytes) -> list[Item]:
        layout = self._layout(chosen, size)
        if layout is None:
            return []
        block = decode_block(layout, t_us, data, self._counters)
        if block and deviation.wants_it(block.group):
            block = deviation.applied(block)
        return [block] if block else []

    def _layout(self, chosen: tuple[int, ...], size: int) -> Layout | None:
        key = (size, *chosen)
        if key not in self._layouts:
            if len(self._layouts) > MOST_GROUPS:
                self._counters.add("too_many_kinds")
                return None
            names = (name for name, _ in self._group.selectors)
            words = dict(zip(names, chosen, strict=True))
            self._layouts[key] = self._make(self._group, self._key, words, size)
        return self._layouts[key]

    def _fixes(self, t_us: Times, data: Bytes, size: int) -> list[UtcFix]:
        where = UTC_FIELDS.get(self._group.pgn)
        if where is None or where[1].last_byte >= size:
            return []
        date, time, kind = where
        days = raw_words(data, date, {})
        ticks = raw_words(data, time, {})
        good = (days < 0xFFFD) & (ticks <= 864_010_000)
        if kind is not None:
            clock = raw_words(data, kind, {})
            good &= (clock <= 1) | (clock == 15)  # a satellite clock, or not said
        fixes = []
        for row in np.flatnonzero(good):
            utc = utc_us(int(days[row]), int(ticks[row]) / 10_000)
            fix = self._sieve.offer(int(t_us[row]), utc, "gnss", 1.0)
            if fix:
                fixes.append(fix)
        return fixes

    def row(self, t_us: int, data: bytes) -> list[Item]:
        if self._packet:
            payload = self._packet.feed(data)
            if payload is None:
                return []
            data = payload
        size = len(data)
        items: list[Item] = []
        if self._group.pgn in UTC_FIELDS:
            wide = np.frombuffer(data.ljust(224, b"\0"), np.uint8).reshape(1, 224)
            items += self._fixes(np.array([t_us], np.int64), wide, size)
        if any(bits.last_byte >= size for _, bits in self._group.selectors):
            self._counters.add("length")
            return items
        made = self._row_function(data, size)
        values = made[1](data) if made else None
        if made and values is not None:
            row = Row(made[0], t_us, values)
            items.append(deviation.applied_to_row(row) if deviation.wants_it(row.group) else row)
        return items

    def _row_function(self, data: bytes, size: int) -> tuple[Group, RowFunction] | None:
        whole = int.from_bytes(data, "little")
        chosen = tuple(
            (whole >> bits.start) & ((1 << bits.length) - 1) for _, bits in self._group.selectors
        )
        key = (size, *chosen)
        if key not in self._rows:
            if len(self._rows) > MOST_GROUPS:
                self._counters.add("too_many_kinds")
                return None
            layout = self._layout(chosen, size) if self._group.fields else None
            self._rows[key] = (
                (layout.group, compile_row(layout, size, self._counters)) if layout else None
            )
        return self._rows[key]
