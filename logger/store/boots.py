"""What the log holds: boots, placed on the timeline, and the span of each channel."""

import sqlite3
from collections.abc import Iterator
from dataclasses import astuple

import numpy as np

from logger.clock import BootTimes, place
from logger.store.groups import load_groups
from logger.store.records import Boot, ChannelSpan


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
