"""Readings of one channel: tail and chunks as one, boots and groups merged, on the timeline."""

import sqlite3
from collections import OrderedDict
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain
from typing import NamedTuple

import numpy as np

from logger.store.boots import boots
from logger.store.groups import StoredGroup, load_groups
from logger.store.packing.chunks import in_order
from logger.store.packing.codec import (
    KNOWN,
    Floats,
    Ints,
    decode_present,
    decode_steps,
    decode_times,
    unknown_codec,
)
from logger.store.packing.tick_codec import unbundle
from logger.store.records import Boot, Summary

ALL_US = 2**62  # beyond any time, by definition
_CACHED_STEPS = 4_000_000  # decoded time steps kept: 32 MB at most, mostly 16, assumed


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a channel may have been in one boot: its group, its position, and the stretch asked
    for on the boot's monotonic clock, half open."""

    boot: Boot
    group: StoredGroup
    position: int
    start_us: int
    end_us: int


class _Piece(NamedTuple):
    """Readings that are there and inside the stretch, sorted, on the timeline."""

    t_us: Ints
    values: Floats


@dataclass(frozen=True, slots=True)
class _State:
    """One state of the log.

    boots: In the order of the timeline, those with readings only.
    groups: By channel name.
    numbers: Channel name -> number.
    """

    boots: tuple[Boot, ...]
    groups: dict[str, tuple[StoredGroup, ...]]
    numbers: dict[str, int]


class _Catalogue:
    """Loads the state when the log has changed; to be asked within a transaction."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db
        self._version: tuple[int, int] | None = None
        self._state = _State((), {}, {})

    def state(self) -> _State:
        """The state that the transaction sees."""
        (others,) = self._db.execute("PRAGMA data_version").fetchone()
        version = others, self._db.total_changes
        if version != self._version:
            self._state, self._version = _load(self._db), version
        return self._state


def _load(db: sqlite3.Connection) -> _State:
    numbers = dict(db.execute("SELECT name, number FROM channel").fetchall())
    groups: dict[int, list[StoredGroup]] = {}
    for group in load_groups(db).values():
        for number in set(group.channel_numbers):
            groups.setdefault(number, []).append(group)
    with_readings = [b for b in boots(db) if b.first_us is not None]
    with_readings.sort(key=lambda b: (b.first_us or 0) + b.timeline_offset_us)
    by_name = {name: tuple(groups.get(number, ())) for name, number in numbers.items()}
    return _State(tuple(with_readings), by_name, numbers)


class Readings:
    """Reads single channels. Remembers decoded time columns, as channels share them."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db
        self._catalogue = _Catalogue(db)
        self._steps: OrderedDict[bytes, Ints] = OrderedDict()
        self._cached = 0

    def read(
        self, name: str, start_us: int, end_us: int, boot: int | None = None
    ) -> tuple[Ints, Floats]:
        """See `Store.read`."""
        places = [
            place
            for place in self._places(name, start_us, end_us)
            if boot is None or place.boot.number == boot
        ]
        tail = [list(self._tail_pieces(place)) for place in places]
        room = sum(len(p.t_us) for pieces in tail for p in pieces)
        room += sum(self._chunk_count(place) for place in places)
        joined = _Joined(room)
        for place, pieces in zip(places, tail, strict=True):
            for piece in chain(self._chunk_pieces(place, whole=True), pieces):
                joined.add(piece)
        return joined.result()

    def extremes(
        self, name: str, start_us: int, end_us: int
    ) -> tuple[Ints, Floats, Floats, Floats]:
        """See `Store.extremes`."""
        t_us, values = self.read(name, start_us, end_us)
        low, high = values.copy(), values.copy()
        for place in self._places(name, start_us, end_us):
            for piece_us, lows, highs in self._thinned_pieces(place):
                at = np.searchsorted(t_us, piece_us)
                low[at], high[at] = lows, highs
        return t_us, low, values, high

    def last(self, name: str) -> tuple[int, float] | None:
        """See `Store.last`."""
        best: tuple[int, float] | None = None
        for place in self._places(name, -ALL_US, ALL_US):
            end_us = (place.boot.last_us or 0) + place.boot.timeline_offset_us
            start_us = self._newest_start(place)
            if start_us is None or (best is not None and best[0] > end_us):
                continue
            near = _Place(place.boot, place.group, place.position, start_us, ALL_US)
            for piece in chain(self._chunk_pieces(near, whole=True), self._tail_pieces(near)):
                if len(piece.t_us) and (best is None or piece.t_us[-1] >= best[0]):
                    best = int(piece.t_us[-1]), float(piece.values[-1])
        return best

    def summary(self, name: str, start_us: int, end_us: int) -> Summary:
        """See `Store.summary`."""
        tally = _Tally()
        for place in self._places(name, start_us, end_us):
            tally.add(
                *self._db.execute(
                    "SELECT sum(v.count), min(v.low), max(v.high), sum(v.sum) FROM chunk c"
                    " JOIN chunk_value v ON v.channel_number = ? AND v.chunk_number = c.number"
                    " WHERE c.group_number = ? AND c.boot_number = ? AND c.first_us >= ?"
                    " AND c.last_us < ?",
                    self._key(place),
                ).fetchone()
            )
            for piece in chain(self._chunk_pieces(place, whole=False), self._tail_pieces(place)):
                if len(piece.values):
                    v = piece.values
                    tally.add(len(v), float(v.min()), float(v.max()), float(v.sum()))
        return tally.result()

    def _places(self, name: str, start_us: int, end_us: int) -> Iterator[_Place]:
        """Boots in the order of the timeline, and in each the groups that have the channel."""
        state = self._catalogue.state()
        for boot in state.boots:
            start, end = start_us - boot.timeline_offset_us, end_us - boot.timeline_offset_us
            if (boot.first_us or 0) < end and (boot.last_us or 0) >= start:
                for group in state.groups.get(name, ()):
                    position = group.channel_numbers.index(state.numbers[name])
                    yield _Place(boot, group, position, start, end)

    @staticmethod
    def _key(place: _Place) -> list[int]:
        return [
            place.group.channel_numbers[place.position],
            place.group.number,
            place.boot.number,
            place.start_us,
            place.end_us,
        ]

    def _chunk_count(self, place: _Place) -> int:
        """Readings in the chunks that touch the stretch."""
        (count,) = self._db.execute(
            "SELECT coalesce(sum(v.count), 0) FROM chunk c JOIN chunk_value v"
            " ON v.channel_number = ?1 AND v.chunk_number = c.number"
            " WHERE c.group_number = ?2 AND c.boot_number = ?3 AND c.last_us >= ?4"
            " AND c.first_us < ?5",
            self._key(place),
        ).fetchone()
        return int(count)

    def _chunk_pieces(self, place: _Place, *, whole: bool) -> Iterator[_Piece]:
        """Readings from chunks that touch the stretch, or only from those that its ends cut."""
        cut = "" if whole else " AND (c.first_us < ?4 OR c.last_us >= ?5)"
        quantum = place.group.quanta[place.position]
        for first_us, count, codec, time, data in self._db.execute(
            "SELECT c.first_us, c.count, c.codec, c.time, v.data FROM chunk c JOIN chunk_value v"
            " ON v.channel_number = ?1 AND v.chunk_number = c.number"
            " WHERE c.group_number = ?2 AND c.boot_number = ?3 AND c.last_us >= ?4"
            f" AND c.first_us < ?5{cut} ORDER BY c.first_us, c.last_us",
            self._key(place),
        ):
            if codec not in KNOWN:
                raise unknown_codec(codec)
            values, there = decode_present(data, count, quantum)
            steps = self._steps_of(time)
            t_us = np.multiply(
                steps if there is None else steps[there],
                place.group.time_step_us,
                dtype=np.int64,
            )
            t_us += first_us
            yield _cut(t_us, values, place)

    def _thinned_pieces(self, place: _Place) -> Iterator[tuple[Ints, Floats, Floats]]:
        quantum = place.group.quanta[place.position]
        for first_us, count, time, *columns in self._db.execute(
            "SELECT c.first_us, c.count, c.time, e.low, e.high FROM chunk c JOIN chunk_extreme e"
            " ON e.channel_number = ?1 AND e.chunk_number = c.number"
            " WHERE c.group_number = ?2 AND c.boot_number = ?3 AND c.last_us >= ?4"
            " AND c.first_us < ?5",
            self._key(place),
        ):
            t_us = decode_times(time, first_us, place.group.time_step_us)
            (low, there), (high, _) = (decode_present(c, count, quantum) for c in columns)
            t_us = t_us if there is None else t_us[there]
            inside = slice(*np.searchsorted(t_us, [place.start_us, place.end_us]))
            yield t_us[inside] + place.boot.timeline_offset_us, low[inside], high[inside]

    def _tail_pieces(self, place: _Place) -> Iterator[_Piece]:
        for first_us, data in self._db.execute(
            "SELECT first_us, data FROM tick WHERE boot_number = ? AND last_us >= ?"
            " AND first_us < ? ORDER BY number",
            [place.boot.number, place.start_us, place.end_us],
        ):
            for number, section in unbundle(data):
                if number == place.group.number:
                    yield _cut(*in_order(*_column(section, first_us, place)), place)

    def _steps_of(self, time: bytes) -> Ints:
        """The decoded column; keyed by its bytes, so that nothing stale can be found."""
        steps = self._steps.get(time)
        if steps is not None:
            self._steps.move_to_end(time)
            return steps
        steps = self._steps[time] = decode_steps(time)
        self._cached += len(steps)
        while self._cached > _CACHED_STEPS and len(self._steps) > 1:
            self._cached -= len(self._steps.popitem(last=False)[1])
        return steps

    def _newest_start(self, place: _Place) -> int | None:
        """A time from which the newest reading will be found: the start of the newest chunk that
        has one, else of the tail; None where there is neither."""
        channel, group, boot, *_ = self._key(place)
        row = self._db.execute(
            "SELECT c.first_us FROM chunk c JOIN chunk_value v"
            " ON v.channel_number = ? AND v.chunk_number = c.number"
            " WHERE c.group_number = ? AND c.boot_number = ? AND v.count > 0"
            " ORDER BY c.last_us DESC LIMIT 1",
            [channel, group, boot],
        ).fetchone()
        if row is None:
            row = self._db.execute(
                "SELECT min(first_us) FROM tick WHERE boot_number = ?", [boot]
            ).fetchone()
        return None if row[0] is None else int(row[0])


def _column(section: bytes, first_us: int, place: _Place) -> tuple[Ints, Floats]:
    t_us, rows = place.group.packer.unpack(section, first_us)
    values = rows[:, place.position]
    there = ~np.isnan(values)
    return t_us[there], values[there]


def _cut(t_us: Ints, values: Floats, place: _Place) -> _Piece:
    """Sorted readings inside the stretch, moved to the timeline. t_us may be changed."""
    if len(t_us) and (t_us[0] < place.start_us or t_us[-1] >= place.end_us):
        inside = slice(*np.searchsorted(t_us, [place.start_us, place.end_us]))
        t_us, values = t_us[inside], values[inside]
    t_us += place.boot.timeline_offset_us
    return _Piece(t_us, values)


class _Joined:
    """Pieces one after the other in memory that was taken once."""

    def __init__(self, room: int) -> None:
        self._t_us: Ints = np.empty(room, dtype=np.int64)
        self._values: Floats = np.empty(room)
        self._n = 0
        self._sorted = True

    def add(self, piece: _Piece) -> None:
        if not len(piece.t_us):
            return
        if self._n and piece.t_us[0] < self._t_us[self._n - 1]:
            self._sorted = False
        there = slice(self._n, self._n + len(piece.t_us))
        self._t_us[there] = piece.t_us
        self._values[there] = piece.values
        self._n = there.stop

    def result(self) -> tuple[Ints, Floats]:
        t_us, values = self._t_us[: self._n], self._values[: self._n]
        return (t_us, values) if self._sorted else in_order(t_us, values)


class _Tally:
    """Adds up counts, extremes and sums."""

    def __init__(self) -> None:
        self._count, self._sum = 0, 0.0
        self._low, self._high = np.inf, -np.inf

    def add(
        self, count: int | None, low: float | None, high: float | None, total: float | None
    ) -> None:
        if count and low is not None and high is not None and total is not None:
            self._count += count
            self._low, self._high = min(self._low, low), max(self._high, high)
            self._sum += total

    def result(self) -> Summary:
        if not self._count:
            return Summary(0, None, None, None)
        return Summary(self._count, self._low, self._high, self._sum / self._count)
