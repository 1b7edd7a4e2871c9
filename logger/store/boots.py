"""What the log holds: boots, placed on the timeline, and the span of each channel."""

import sqlite3
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from logger import boot_clock
from logger.clock import BootTimes, Dating, place
from logger.errors import StoreError
from logger.store import spare
from logger.store.groups import load_groups
from logger.store.packing.codec import decode_times
from logger.store.packing.tick_codec import unbundle
from logger.store.records import Boot, ChannelSpan
from logger.store.transaction import transaction

REPEATED = "#"  # before the count of a boot whose name was given out before, by definition
AHEAD_US = 5 * 1_000_000  # so far a device's own times may be ahead of the clock; assumed


def boots(db: sqlite3.Connection) -> list[Boot]:
    """All boots, in the order in which the log met them, placed on the timeline."""
    tails = _tails(db)
    known = []
    for number, uid, *dating, first_us, last_us, remark, recorded in db.execute(
        "SELECT number, uid, utc_offset_us, utc_source, utc_uncertainty_s, first_us, last_us,"
        " remark, recorded FROM boot ORDER BY number"
    ):
        if number in tails:
            tail_us, tail_end_us = tails[number]
            first_us = tail_us if first_us is None else min(first_us, tail_us)
            last_us = tail_end_us if last_us is None else max(last_us, tail_end_us)
        offset_us, source, uncertainty_s = dating
        boot = Boot(number, uid, offset_us, source, uncertainty_s, first_us, last_us)
        known.append(replace(boot, remark=remark, recorded=bool(recorded)))
    offsets = place(
        [
            BootTimes(
                b.utc_offset_us,
                b.utc_source,
                b.utc_uncertainty_s,
                b.first_us,
                b.last_us,
                b.recorded,
            )
            for b in known
        ]
    )
    return [replace(b, timeline_offset_us=o) for b, o in zip(known, offsets, strict=True)]


def next_filled_us(db: sqlite3.Connection, start_us: int) -> int | None:
    """Time of the first reading at or after one on the timeline, in the tail to the flush; None:
    there is none. [µs]"""
    found = []
    for boot in boots(db):
        if boot.first_us is None or boot.last_us is None:
            continue
        offset_us = boot.timeline_offset_us
        at_us = start_us - offset_us
        if at_us <= boot.first_us:
            found.append(boot.first_us + offset_us)
        elif at_us <= boot.last_us:
            found += [us + offset_us for us in _filled(db, boot.number, at_us)]
    return min(found, default=None)


def _filled(db: sqlite3.Connection, boot: int, at_us: int) -> Iterator[int]:
    """The same of a boot, on its own clock, in its chunks and in its tail. [µs]"""
    steps_us = {number: group.time_step_us for number, group in load_groups(db).items()}
    # a chunk may reach over a silence: what its device sent last before it and first after it
    for group, first_us, time_column in db.execute(
        "SELECT group_number, first_us, time FROM chunk WHERE boot_number = ?1"
        " AND first_us <= ?2 AND last_us >= ?2",
        [boot, at_us],
    ):
        t_us = decode_times(time_column, first_us, steps_us[group])
        yield int(t_us[np.searchsorted(t_us, at_us)])
    for (reach_us,) in db.execute(
        "SELECT max(?2, first_us) FROM tick WHERE boot_number = ?1 AND last_us >= ?2"
        " UNION ALL SELECT min(first_us) FROM chunk WHERE boot_number = ?1 AND first_us > ?2",
        [boot, at_us],
    ):
        if reach_us is not None:
            yield reach_us


def _tails(db: sqlite3.Connection) -> dict[int, tuple[int, int]]:
    """First and last monotonic time in the tail, by boot. [µs]"""
    query = "SELECT boot_number, min(first_us), max(last_us) FROM tick GROUP BY 1"
    return {boot: (first_us, last_us) for boot, first_us, last_us in db.execute(query)}


def add(db: sqlite3.Connection, path: Path, boot: Boot) -> None:
    """Stores a boot as another log knew it; see `Store.add_boot`."""
    done = db.execute(
        "INSERT OR IGNORE INTO boot (uid, utc_offset_us, utc_source, utc_uncertainty_s, remark,"
        " recorded) VALUES (?, ?, ?, ?, ?, ?)",
        [
            boot.uid,
            boot.utc_offset_us,
            boot.utc_source,
            boot.utc_uncertainty_s,
            boot.remark,
            boot.recorded,
        ],
    )
    if done.rowcount != 1:
        raise StoreError(f"{path} holds the boot {boot.uid} already: it was imported before")


def enter(db: sqlite3.Connection, uid: str, now_us: int | None) -> tuple[int, Dating]:
    """A boot's number and date, by its name; stored where it is new.

    Args:
        now_us: What the boot's clock says, where it runs now: a boot of that name whose readings
            reach beyond is another one. [µs]
    """
    with transaction(db):
        uid = _unlike_earlier(db, uid, now_us)
        db.execute("INSERT OR IGNORE INTO boot (uid) VALUES (?)", [uid])
        row = db.execute(
            "SELECT number, utc_offset_us, utc_source, utc_uncertainty_s, remark,"
            " recorded FROM boot WHERE uid = ?",
            [uid],
        ).fetchone()
    number, offset_us, source, uncertainty_s, remark, recorded = row
    return number, Dating(offset_us, source, uncertainty_s, remark, bool(recorded))


def _unlike_earlier(db: sqlite3.Connection, uid: str, now_us: int | None) -> str:
    """The name, or NAME#2 and so on where the system gives out one that earlier boots had."""
    if now_us is None:
        return uid
    tails, ends = _tails(db), {}
    for number, name, last_us in db.execute("SELECT number, uid, last_us FROM boot"):
        if plain_uid(name) == uid:
            tail_us = tails.get(number, (0, 0))[1]
            ends[name] = max(last_us or 0, tail_us)
    for count in range(len(ends), 0, -1):  # the newest first: this boot may have begun it
        name = uid if count == 1 else f"{uid}{REPEATED}{count}"
        if ends.get(name, 0) <= now_us + AHEAD_US:
            return name
    return f"{uid}{REPEATED}{len(ends) + 1}" if ends else uid


def plain_uid(uid: str) -> str:
    """The system's own name of a boot, which it may have given to others too."""
    return uid.partition(REPEATED)[0]


def reach(db: sqlite3.Connection, number: int, first_us: int, last_us: int) -> None:
    """A boot has readings between these times, in the caller's transaction."""
    db.execute(
        "UPDATE boot SET first_us = min(coalesce(first_us, ?1), ?1),"
        " last_us = max(coalesce(last_us, ?2), ?2) WHERE number = ?3",
        [first_us, last_us, number],
    )


def span(db: sqlite3.Connection) -> tuple[int, int] | None:
    """First and last reading on the timeline, None in an empty log. [µs]"""
    ends = [
        (b.first_us + b.timeline_offset_us, b.last_us + b.timeline_offset_us)
        for b in boots(db)
        if b.first_us is not None and b.last_us is not None
    ]
    return (min(a for a, _ in ends), max(b for _, b in ends)) if ends else None


def age_s(db: sqlite3.Connection) -> float | None:
    """How old the newest reading is; see `Store.age_s`."""
    ends = [(b.last_us + b.timeline_offset_us, b) for b in boots(db) if b.last_us is not None]
    if not ends:
        return 0.0
    end_us, newest = max(ends, key=lambda end: end[0])
    last_us = end_us - newest.timeline_offset_us
    if plain_uid(newest.uid) == boot_clock.boot_uid() and not newest.recorded:
        return max((boot_clock.mono_us() - last_us) / 1e6, 0.0)
    if newest.utc_offset_us is None:
        return None
    return max(time.time() - (last_us + newest.utc_offset_us) / 1e6, 0.0)


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
    for boot, first_us, data in db.execute("SELECT boot_number, first_us, data FROM tick"):
        for number, section in unbundle(data):
            t_us, values = groups[number].packer.unpack(section, first_us)
            for k, channel in enumerate(groups[number].channel_numbers):
                there = t_us[~np.isnan(values[:, k])]
                if len(there):
                    yield boot, channel, int(there.min()), int(there.max()), len(there)


def forget_date(db: sqlite3.Connection, number: int) -> None:
    """A boot without its date; see `Store.forget_date`."""
    with transaction(db):
        db.execute(
            "UPDATE boot SET utc_offset_us = NULL, utc_source = NULL, utc_uncertainty_s = NULL,"
            " remark = 'Its date was taken back.' WHERE number = ?",
            [number],
        )
        spare.keep(db)


def rename(db: sqlite3.Connection, uid: str, new: str) -> None:
    """Gives a boot another name."""
    with transaction(db):
        db.execute("UPDATE boot SET uid = ? WHERE uid = ?", [new, uid])
        spare.keep(db)


def drop(db: sqlite3.Connection, uid: str) -> None:
    """Removes a boot and its readings; a boot that is not there is none."""
    row = db.execute("SELECT number FROM boot WHERE uid = ?", [uid]).fetchone()
    if row is None:
        return
    with transaction(db):
        own = "chunk_number IN (SELECT number FROM chunk WHERE boot_number = ?)"
        for table in ("chunk_value", "chunk_extreme"):
            db.execute(f"DELETE FROM {table} WHERE {own}", row)
        for table in ("chunk", "tick"):
            db.execute(f"DELETE FROM {table} WHERE boot_number = ?", row)
        db.execute("DELETE FROM boot WHERE number = ?", row)
        spare.keep(db)
