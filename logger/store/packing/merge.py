"""Joining the sealed chunks of a group to one a day: fewer bytes, faster reading."""

import json
import sqlite3
from dataclasses import dataclass
from itertools import groupby

import numpy as np

from logger.store.groups import load_groups
from logger.store.packing import chunks
from logger.store.packing.codec import Floats
from logger.store.transaction import transaction
from logger.units import DAY_US


@dataclass(frozen=True, slots=True)
class Run:
    """Chunks of one group, boot and day that can become one."""

    group_number: int
    boot_number: int
    chunk_numbers: tuple[int, ...]


def runs(db: sqlite3.Connection, unfinished_boot: int | None = None) -> list[Run]:
    """What can be joined. A day is one of UTC, or of the boot's own clock while it is undated.

    Args:
        unfinished_boot: The last day of this boot is left alone.
    """
    rows = db.execute(
        "SELECT c.group_number, c.boot_number,"
        " (c.first_us + coalesce(b.utc_offset_us, 0)) / ?, c.number, c.count"
        " FROM chunk c JOIN boot b ON b.number = c.boot_number WHERE c.thinned_s IS NULL"
        " ORDER BY 1, 2, c.first_us, c.number",
        [DAY_US],
    ).fetchall()
    newest = max((day for _, boot, day, *_ in rows if boot == unfinished_boot), default=None)
    found = []
    for (group, boot, day), same in groupby(rows, key=lambda row: row[:3]):
        if boot == unfinished_boot and day == newest:
            continue
        for numbers in _split([(number, count) for *_, number, count in same]):
            if len(numbers) > 1:
                found.append(Run(group, boot, tuple(numbers)))
    return found


def join(db: sqlite3.Connection, run: Run) -> None:
    """Makes one chunk of a run, in one transaction, with one channel in memory at a time.

    A run that was found earlier may have been overtaken: its chunks joined or thinned meanwhile,
    and their numbers given to others. Such a run is left alone.
    """
    if not _stands(db, run):
        return
    group = load_groups(db)[run.group_number]
    times = [chunks.load_times(db, number, group) for number in run.chunk_numbers]
    counts = [len(t_us) for t_us in times]
    t_us = np.concatenate(times)
    order = np.argsort(t_us, kind="stable") if np.any(t_us[1:] < t_us[:-1]) else None

    def column(k: int) -> Floats:
        pieces = zip(run.chunk_numbers, counts, strict=True)
        whole = np.concatenate([chunks.load_column(db, n, group, k, count) for n, count in pieces])
        return whole if order is None else whole[order]

    joined = chunks.encode_columns(group, t_us if order is None else t_us[order], column)
    with transaction(db):
        chunks.insert(db, run.boot_number, joined)
        for number in run.chunk_numbers:
            chunks.delete(db, number)


def _stands(db: sqlite3.Connection, run: Run) -> bool:
    """Whether all chunks of the run are still full ones of its group and boot."""
    (count,) = db.execute(
        "SELECT count(*) FROM chunk WHERE group_number = ? AND boot_number = ?"
        " AND thinned_s IS NULL AND number IN (SELECT value FROM json_each(?))",
        [run.group_number, run.boot_number, json.dumps(run.chunk_numbers)],
    ).fetchone()
    return bool(count == len(run.chunk_numbers))


def _split(day: list[tuple[int, int]]) -> list[list[int]]:
    """Numbers in runs of at most `chunks.MOST_ROWS` rows together."""
    found: list[list[int]] = [[]]
    rows = 0
    for number, count in day:
        if found[-1] and rows + count > chunks.MOST_ROWS:
            found.append([])
            rows = 0
        found[-1].append(number)
        rows += count
    return found
