"""Old readings as lowest, mean and highest of each ten seconds: a tenth of the points.

A thinned chunk has the mean time of each cell in its time column, the means in its value
columns, and lowest and highest beside them. Count, lowest, highest and sum of the chunk stay
those of the full readings. Courses and other angles get the mean direction; codes and counters,
of which a mean says nothing, the last value.
"""

import sqlite3
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from logger import channels
from logger.store.boots import boots
from logger.store.groups import StoredGroup, load_groups
from logger.store.packing import chunks
from logger.store.packing.codec import (
    Floats,
    Ints,
    encode_column,
    encode_times,
)
from logger.store.transaction import transaction

STEP_S = 10.0  # length of a point of thinned readings, assumed


@dataclass(frozen=True, slots=True)
class Cells:
    """One channel by cells, shape (cells,) each; NaN where a cell has no reading."""

    low: Floats
    mean: Floats
    high: Floats


def candidates(db: sqlite3.Connection, before_us: int) -> list[int]:
    """Chunks of full readings that end before a time of the timeline, oldest first."""
    offsets = {b.number: b.timeline_offset_us for b in boots(db)}
    rows = db.execute("SELECT number, boot_number, last_us FROM chunk WHERE thinned_s IS NULL")
    ends = [(last_us + offsets[boot], number) for number, boot, last_us in rows]
    return [number for end_us, number in sorted(ends) if end_us < before_us]


def thin(db: sqlite3.Connection, number: int, step_s: float = STEP_S) -> None:
    """Puts a thinned chunk in the place of a full one, in one transaction."""
    boot, group_number = db.execute(
        "SELECT boot_number, group_number FROM chunk WHERE number = ?", [number]
    ).fetchone()
    group = load_groups(db)[group_number]
    t_us = chunks.load_times(db, number, group)
    cell = _cells_of(t_us, step_s)
    columns = [
        by_cells(chunks.load_column(db, number, group, k, len(t_us)), cell, name)
        for k, name in enumerate(_names(db, group))
    ]
    times_us = _mean_times(t_us, cell, group.time_step_us)
    first_us = int(t_us[0])
    points = chunks.encode(group, times_us, np.column_stack([c.mean for c in columns]))
    points = replace(
        points,
        first_us=first_us,
        last_us=int(t_us[-1]),
        time=encode_times(times_us, first_us, group.time_step_us),
        columns=_with_sidecars(db, number, points),
    )
    with transaction(db):
        chunks.delete(db, number)
        new = chunks.insert(db, boot, points)
        db.execute("UPDATE chunk SET thinned_s = ? WHERE number = ?", [step_s, new])
        _insert_extremes(db, new, group, columns)


def _names(db: sqlite3.Connection, group: StoredGroup) -> list[str]:
    names = dict(db.execute("SELECT number, name FROM channel").fetchall())
    return [names[n] for n in group.channel_numbers]


def _with_sidecars(
    db: sqlite3.Connection, number: int, points: chunks.Sealed
) -> tuple[chunks.Column, ...]:
    """The points' columns with count, lowest, highest and sum of the full chunk."""
    columns = []
    for channel, column in zip(points.group.channel_numbers, points.columns, strict=True):
        count, low, high, total = db.execute(
            "SELECT count, low, high, sum FROM chunk_value"
            " WHERE channel_number = ? AND chunk_number = ?",
            [channel, number],
        ).fetchone()
        columns.append(chunks.Column(count, low, high, total, column.data))
    return tuple(columns)


def by_cells(values: Floats, cell: Ints, name: str) -> Cells:
    """Lowest, mean and highest of each cell.

    Args:
        values: Readings in time order, NaN where missing, shape (n,).
        cell: Which cell each belongs to, non-decreasing from 0 without a gap, shape (n,).
        name: The channel's, for its kind of mean.
    """
    starts = np.flatnonzero(np.diff(cell, prepend=-1))
    there = ~np.isnan(values)
    count = np.add.reduceat(there, starts, dtype=np.int64)
    low = np.fmin.reduceat(values, starts)
    high = np.fmax.reduceat(values, starts)
    channel = channels.find(name)
    if channel and channel.unit == "count":
        mean = _last(values, there, starts)
    elif channel and channel.unit == "deg" and channel.high - channel.low >= 360:
        mean = _mean_direction(values, starts, count, low, channel.high)
    else:
        mean = _mean(values, starts, count)
    return Cells(low, mean, high)


def _cells_of(t_us: Ints, step_s: float) -> Ints:
    number = t_us // round(step_s * 1e6)
    return np.cumsum(np.diff(number, prepend=number[0]) > 0)


def _mean(values: Floats, starts: npt.NDArray[np.intp], count: Ints) -> Floats:
    total = np.add.reduceat(np.nan_to_num(values), starts)
    mean: Floats = np.full(len(count), np.nan)
    np.divide(total, count, out=mean, where=count > 0)
    return mean


def _last(values: Floats, there: npt.NDArray[np.bool_], starts: npt.NDArray[np.intp]) -> Floats:
    index = np.maximum.accumulate(np.where(there, np.arange(len(values)), -1))
    newest = index[np.append(starts[1:], len(values)) - 1]
    kept: Floats = np.where(newest >= starts, values[newest], np.nan)
    return kept


def _mean_direction(
    values: Floats, starts: npt.NDArray[np.intp], count: Ints, low: Floats, limit: float
) -> Floats:
    """Direction of the mean of unit vectors, counted as the readings are: from 0 up where none
    of the cell is below 0, and not beyond `limit`."""
    radians = np.radians(values)
    east, north = (_mean(part, starts, count) for part in (np.sin(radians), np.cos(radians)))
    mean = np.degrees(np.arctan2(east, north))
    mean = np.where((mean < 0) & (low >= 0), mean + 360, mean)
    directions: Floats = np.where(mean > limit, mean - 360, mean)
    return directions


def _mean_times(t_us: Ints, cell: Ints, step_us: int) -> Ints:
    starts = np.flatnonzero(np.diff(cell, prepend=-1))
    count = np.diff(np.append(starts, len(t_us)))
    mean_us = t_us[starts] + np.add.reduceat(t_us - t_us[starts][cell], starts) // count
    times: Ints = mean_us // step_us * step_us
    return times


def _insert_extremes(
    db: sqlite3.Connection, number: int, group: StoredGroup, columns: list[Cells]
) -> None:
    db.executemany(
        "INSERT INTO chunk_extreme (chunk_number, channel_number, low, high) VALUES (?, ?, ?, ?)",
        [
            (number, channel, encode_column(c.low, quantum), encode_column(c.high, quantum))
            for channel, quantum, c in zip(
                group.channel_numbers, group.quanta, columns, strict=True
            )
        ],
    )
