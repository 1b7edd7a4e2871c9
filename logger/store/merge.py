"""Joining the sealed chunks of a group to one a day: fewer bytes, faster reading."""

import sqlite3
from itertools import groupby

import numpy as np

from logger.store import chunks
from logger.store.groups import load_groups
from logger.store.transaction import transaction

DAY_US = 86400 * 1_000_000
MOST_ROWS = 2**18  # of one chunk: three days at 1 Hz, and the memory that joining takes


def to_days(db: sqlite3.Connection) -> None:
    """Joins, one transaction per joined chunk. A day is one of UTC, or of the boot if undated."""
    groups = load_groups(db)
    rows = db.execute(
        "SELECT c.group_number, c.boot_number,"
        " (c.first_us + coalesce(b.utc_offset_us, 0)) / ?, c.number, c.count"
        " FROM chunk c JOIN boot b ON b.number = c.boot_number WHERE c.thinned_s IS NULL"
        " ORDER BY 1, 2, c.first_us, c.number",
        [DAY_US],
    ).fetchall()
    for (group, boot, _), day in groupby(rows, key=lambda row: row[:3]):
        for run in _runs([(number, count) for *_, number, count in day]):
            if len(run) > 1:
                parts = [chunks.load(db, number, groups[group]) for number in run]
                joined = chunks.encode(
                    groups[group],
                    np.concatenate([t for t, _ in parts]),
                    np.concatenate([v for _, v in parts]),
                )
                with transaction(db):
                    chunks.insert(db, boot, joined)
                    for number in run:
                        chunks.delete(db, number)


def _runs(day: list[tuple[int, int]]) -> list[list[int]]:
    """Numbers in runs of at most `MOST_ROWS` rows together."""
    runs: list[list[int]] = [[]]
    rows = 0
    for number, count in day:
        if runs[-1] and rows + count > MOST_ROWS:
            runs.append([])
            rows = 0
        runs[-1].append(number)
        rows += count
    return runs
