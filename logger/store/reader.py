"""Reading: tail and chunks as one, boots and groups merged, times on the log's timeline."""

import sqlite3
from collections.abc import Iterator
from dataclasses import astuple, dataclass

import numpy as np

from logger.clock import BootTimes, place
from logger.store.codec import Floats, Ints, check_codecs, decode_column, decode_times
from logger.store.groups import StoredGroup, channel_number, load_groups
from logger.store.records import Boot, ChannelSpan, Summary

_NO_TIMES: Ints = np.empty(0, dtype=np.int64)
_NO_VALUES: Floats = np.empty(0)


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Part of one boot, on its monotonic clock, half open."""

    boot: Boot
    start_us: int
    end_us: int


def boots(db: sqlite3.Connection) -> list[Boot]:
    """All boots, in the order in which the log met them, placed on the timeline."""
    rows = db.execute(
        "SELECT b.number, b.uid, b.utc_offset_us, b.utc_source, b.utc_uncertainty_s,"
        " b.first_us, b.last_us, b.remark, t.first_us, t.last_us FROM boot b LEFT JOIN"
        " (SELECT boot_number, min(first_us) AS first_us, max(last_us) AS last_us"
        " FROM tick GROUP BY boot_number) t ON t.boot_number = b.number ORDER BY b.number"
    ).fetchall()
    known = []
    for number, uid, offset_us, source, uncertainty_s, *ends, remark, tail_us, tail_end_us in rows:
        firsts = [t for t in (ends[0], tail_us) if t is not None]
        lasts = [t for t in (ends[1], tail_end_us) if t is not None]
        times = BootTimes(
            offset_us, source, uncertainty_s, min(firsts, default=None), max(lasts, default=None)
        )
        known.append((number, uid, times, remark))
    offsets = place([times for _, _, times, _ in known])
    return [
        Boot(*(number, uid, *astuple(times), offset, remark))
        for (number, uid, times, remark), offset in zip(known, offsets, strict=True)
    ]


def span(db: sqlite3.Connection) -> tuple[int, int] | None:
    """First and last reading on the timeline, None in an empty log. [µs]"""
    ends = [
        (b.first_us + b.timeline_offset_us, b.last_us + b.timeline_offset_us)
        for b in boots(db)
        if b.first_us is not None and b.last_us is not None
    ]
    return (min(a for a, _ in ends), max(b for _, b in ends)) if ends else None


def channels(db: sqlite3.Connection) -> dict[str, ChannelSpan]:
    """What the log holds, by channel name; a channel with no reading is left out."""
    offsets = {b.number: b.timeline_offset_us for b in boots(db)}
    names = {n: (name, unit) for n, name, unit in db.execute("SELECT * FROM channel")}
    found: dict[int, tuple[int, int, int]] = {}
    for boot, channel, first_us, last_us, count in _spans(db):
        first_us, last_us = first_us + offsets[boot], last_us + offsets[boot]
        a, b, n = found.get(channel, (first_us, last_us, 0))
        found[channel] = min(a, first_us), max(b, last_us), n + count
    return {
        names[channel][0]: ChannelSpan(names[channel][1], *entry)
        for channel, entry in sorted(found.items())
    }


def _spans(db: sqlite3.Connection) -> Iterator[tuple[int, int, int, int, int]]:
    """Boot, channel, first and last monotonic time, count: of chunks and of the tail."""
    yield from db.execute(
        "SELECT c.boot_number, v.channel_number, min(c.first_us), max(c.last_us), sum(v.count)"
        " FROM chunk c JOIN chunk_value v ON v.chunk_number = c.number WHERE v.count > 0"
        " GROUP BY 1, 2"
    )
    groups = load_groups(db)
    for boot, number, first_us, data in db.execute(
        "SELECT boot_number, group_number, first_us, data FROM tick"
    ):
        t_us, values = groups[number].packer.unpack(data, first_us)
        for k, channel in enumerate(groups[number].channel_numbers):
            there = t_us[~np.isnan(values[:, k])]
            if len(there):
                yield boot, channel, int(there.min()), int(there.max()), len(there)


def read(db: sqlite3.Connection, name: str, start_us: int, end_us: int) -> tuple[Ints, Floats]:
    """One channel's readings in [start, end) of the timeline, sorted; see `Store.read`."""
    channel = channel_number(db, name)
    if channel is None:
        return _NO_TIMES, _NO_VALUES
    parts: list[tuple[Ints, Floats]] = []
    for stretch, group, place_in_group in _places(db, channel, start_us, end_us):
        for t_us, values in _parts(db, channel, group, place_in_group, stretch):
            parts.append(_within(t_us, values, stretch))
    if not parts:
        return _NO_TIMES, _NO_VALUES
    t_us = np.concatenate([t for t, _ in parts])
    values = np.concatenate([v for _, v in parts])
    if np.any(t_us[1:] < t_us[:-1]):
        order = np.argsort(t_us, kind="stable")
        t_us, values = t_us[order], values[order]
    return t_us, values


def _within(t_us: Ints, values: Floats, stretch: _Stretch) -> tuple[Ints, Floats]:
    """Readings that are there and inside the stretch, on the timeline."""
    there = ~np.isnan(values)
    if len(t_us) and (t_us[0] < stretch.start_us or t_us[-1] >= stretch.end_us):
        there &= (t_us >= stretch.start_us) & (t_us < stretch.end_us)
    if not there.all():
        t_us, values = t_us[there], values[there]
    return t_us + stretch.boot.timeline_offset_us, values


def _places(
    db: sqlite3.Connection, channel: int, start_us: int, end_us: int
) -> Iterator[tuple[_Stretch, StoredGroup, int]]:
    """Every boot and group that may hold the channel in the stretch, boots in timeline order."""
    groups = [g for g in load_groups(db).values() if channel in g.channel_numbers]
    for boot in sorted(boots(db), key=lambda b: (b.first_us or 0) + b.timeline_offset_us):
        if boot.first_us is None or boot.last_us is None:
            continue
        stretch = _Stretch(
            boot, start_us - boot.timeline_offset_us, end_us - boot.timeline_offset_us
        )
        if boot.first_us < stretch.end_us and boot.last_us >= stretch.start_us:
            for group in groups:
                yield stretch, group, group.channel_numbers.index(channel)


def _parts(
    db: sqlite3.Connection, channel: int, group: StoredGroup, place_in_group: int, s: _Stretch
) -> Iterator[tuple[Ints, Floats]]:
    """Chunk by chunk, then tick by tick, what touches the stretch."""
    for first_us, count, codec, time, data in db.execute(
        "SELECT c.first_us, c.count, c.codec, c.time, v.data FROM chunk c JOIN chunk_value v"
        " ON v.channel_number = ? AND v.chunk_number = c.number"
        " WHERE c.group_number = ? AND c.boot_number = ? AND c.first_us < ? AND c.last_us >= ?"
        " ORDER BY c.first_us, c.number",
        [channel, group.number, s.boot.number, s.end_us, s.start_us],
    ):
        check_codecs([codec])
        times = decode_times(time, first_us, group.time_step_us)
        yield times, decode_column(data, count, group.quanta[place_in_group])
    for first_us, data in db.execute(
        "SELECT first_us, data FROM tick WHERE group_number = ? AND boot_number = ?"
        " AND first_us < ? AND last_us >= ? ORDER BY number",
        [group.number, s.boot.number, s.end_us, s.start_us],
    ):
        t_us, values = group.packer.unpack(data, first_us)
        if np.any(t_us[1:] < t_us[:-1]):
            order = np.argsort(t_us, kind="stable")
            t_us, values = t_us[order], values[order]
        yield t_us, values[:, place_in_group]


def last(db: sqlite3.Connection, name: str) -> tuple[int, float] | None:
    """The newest reading of a channel, None where there is none."""
    channel = channel_number(db, name)
    if channel is None:
        return None
    best: tuple[int, float] | None = None
    for stretch, group, place_in_group in _places(db, channel, -(2**62), 2**62):
        offset_us = stretch.boot.timeline_offset_us
        start_us = _newest_start(db, channel, group.number, stretch.boot.number)
        if start_us is None or (best and best[0] >= (stretch.boot.last_us or 0) + offset_us):
            continue
        near = _Stretch(stretch.boot, start_us, 2**62)
        for t_us, values in _parts(db, channel, group, place_in_group, near):
            t_us, values = _within(t_us, values, near)
            if len(t_us) and (best is None or t_us[-1] >= best[0]):
                best = int(t_us[-1]), float(values[-1])
    return best


def _newest_start(db: sqlite3.Connection, channel: int, group: int, boot: int) -> int | None:
    """A time from which the newest reading will be found: the start of the newest chunk that has
    one, else of the tail; None where there is neither."""
    row = db.execute(
        "SELECT c.first_us FROM chunk c JOIN chunk_value v"
        " ON v.channel_number = ? AND v.chunk_number = c.number"
        " WHERE c.group_number = ? AND c.boot_number = ? AND v.count > 0"
        " ORDER BY c.last_us DESC LIMIT 1",
        [channel, group, boot],
    ).fetchone()
    if row is None:
        row = db.execute(
            "SELECT min(first_us) FROM tick WHERE group_number = ? AND boot_number = ?",
            [group, boot],
        ).fetchone()
    return None if row[0] is None else int(row[0])


def summary(db: sqlite3.Connection, name: str, start_us: int, end_us: int) -> Summary:
    """Count, lowest, highest and mean in [start, end); see `Store.summary`."""
    channel = channel_number(db, name)
    tally = _Tally()
    if channel is None:
        return tally.result()
    for stretch, group, place_in_group in _places(db, channel, start_us, end_us):
        whole = [channel, group.number, stretch.boot.number, stretch.start_us, stretch.end_us]
        for row in db.execute(
            "SELECT sum(v.count), min(v.low), max(v.high), sum(v.sum) FROM chunk c"
            " JOIN chunk_value v ON v.channel_number = ? AND v.chunk_number = c.number"
            " WHERE c.group_number = ? AND c.boot_number = ? AND c.first_us >= ?"
            " AND c.last_us < ?",
            whole,
        ):
            tally.add(*row)
        for t_us, values in _cut_parts(db, channel, group, place_in_group, stretch):
            _, values = _within(t_us, values, stretch)
            if len(values):
                tally.add(len(values), values.min(), values.max(), values.sum())
    return tally.result()


def _cut_parts(
    db: sqlite3.Connection, channel: int, group: StoredGroup, place_in_group: int, s: _Stretch
) -> Iterator[tuple[Ints, Floats]]:
    """Chunks that the stretch's ends cut, and the tail."""
    for first_us, count, codec, time, data in db.execute(
        "SELECT c.first_us, c.count, c.codec, c.time, v.data FROM chunk c JOIN chunk_value v"
        " ON v.channel_number = ?1 AND v.chunk_number = c.number"
        " WHERE c.group_number = ?2 AND c.boot_number = ?3 AND c.first_us < ?5"
        " AND c.last_us >= ?4 AND (c.first_us < ?4 OR c.last_us >= ?5)",
        [channel, group.number, s.boot.number, s.start_us, s.end_us],
    ):
        check_codecs([codec])
        times = decode_times(time, first_us, group.time_step_us)
        yield times, decode_column(data, count, group.quanta[place_in_group])
    for first_us, data in db.execute(
        "SELECT first_us, data FROM tick WHERE group_number = ? AND boot_number = ?"
        " AND first_us < ? AND last_us >= ?",
        [group.number, s.boot.number, s.end_us, s.start_us],
    ):
        t_us, values = group.packer.unpack(data, first_us)
        order = np.argsort(t_us, kind="stable")
        yield t_us[order], values[order, place_in_group]


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
            self._low, self._high = min(self._low, float(low)), max(self._high, float(high))
            self._sum += float(total)

    def result(self) -> Summary:
        if not self._count:
            return Summary(0, None, None, None)
        return Summary(self._count, self._low, self._high, self._sum / self._count)
