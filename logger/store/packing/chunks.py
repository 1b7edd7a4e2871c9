"""A stretch of one group to a chunk and its value rows, and back."""

import sqlite3
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from logger.store.groups import StoredGroup
from logger.store.packing.codec import (
    Floats,
    Ints,
    codec_now,
    decode_column,
    decode_times,
    encode_column,
    encode_times,
)

MOST_ROWS = 2**17  # of one chunk, assumed: 1.5 days at 1 Hz; joining takes 60 bytes a row


@dataclass(frozen=True, slots=True)
class Column:
    """One channel of a chunk: its sidecars and its bytes."""

    count: int
    low: float | None
    high: float | None
    sum: float | None
    data: bytes


@dataclass(frozen=True, slots=True)
class Sealed:
    """A chunk that is ready to be stored."""

    group: StoredGroup
    first_us: int
    last_us: int
    count: int
    time: bytes
    columns: tuple[Column, ...]


def in_order(t_us: Ints, values: Floats) -> tuple[Ints, Floats]:
    """Rows by time; those of one time stay in the order in which they came."""
    if not np.any(t_us[1:] < t_us[:-1]):
        return t_us, values
    order = np.argsort(t_us, kind="stable")
    return t_us[order], values[order]


def encode_all(group: StoredGroup, t_us: Ints, values: Floats) -> list[Sealed]:
    """Rows of a group as chunks of at most `MOST_ROWS`; t_us shape (n,)."""
    t_us, values = in_order(t_us, values)
    return [
        encode(group, t_us[start : start + MOST_ROWS], values[start : start + MOST_ROWS])
        for start in range(0, len(t_us), MOST_ROWS)
    ]


def encode(group: StoredGroup, t_us: Ints, values: Floats) -> Sealed:
    """Rows of a group as a chunk. t_us shape (n,), n > 0; values shape (n, channels)."""
    t_us, values = in_order(t_us, values)
    return encode_columns(group, t_us, lambda k: np.ascontiguousarray(values[:, k]))


def encode_columns(group: StoredGroup, t_us: Ints, column: Callable[[int], Floats]) -> Sealed:
    """A chunk column by column, so that only one need be in memory.

    Args:
        t_us: In order, shape (n,), n > 0. [µs]
        column: Gives the k-th channel's values, shape (n,).
    """
    columns = tuple(_column(column(k), group, k) for k in range(len(group.quanta)))
    first_us, last_us = int(t_us[0]), int(t_us[-1])
    time = encode_times(t_us, first_us, group.time_step_us)
    return Sealed(group, first_us, last_us, len(t_us), time, columns)


def _column(values: Floats, group: StoredGroup, k: int) -> Column:
    data = encode_column(values, group.quanta[k])
    kept = decode_column(data, len(values), group.quanta[k])
    kept = kept[~np.isnan(kept)]
    if not kept.size:
        return Column(0, None, None, None, data)
    return Column(kept.size, float(kept.min()), float(kept.max()), float(kept.sum()), data)


def insert(db: sqlite3.Connection, boot_number: int, sealed: Sealed) -> int:
    """Stores a chunk, in the caller's transaction; its number."""
    number = db.execute(
        "INSERT INTO chunk (boot_number, group_number, first_us, last_us, count, codec, time)"
        " VALUES (?, ?, ?, ?, ?, ?, ?)",
        [
            boot_number,
            sealed.group.number,
            sealed.first_us,
            sealed.last_us,
            sealed.count,
            codec_now(),
            sealed.time,
        ],
    ).lastrowid
    assert number is not None
    db.executemany(
        "INSERT INTO chunk_value (chunk_number, channel_number, count, low, high, sum, data)"
        " VALUES (?, ?, ?, ?, ?, ?, ?)",
        [
            (number, channel, c.count, c.low, c.high, c.sum, c.data)
            for channel, c in zip(sealed.group.channel_numbers, sealed.columns, strict=True)
        ],
    )
    return number


def load_times(db: sqlite3.Connection, number: int, group: StoredGroup) -> Ints:
    """A chunk's times, shape (n,). [µs]"""
    first_us, time = db.execute(
        "SELECT first_us, time FROM chunk WHERE number = ?", [number]
    ).fetchone()
    return decode_times(time, first_us, group.time_step_us)


def load_column(
    db: sqlite3.Connection, number: int, group: StoredGroup, k: int, count: int
) -> Floats:
    """The k-th channel of a chunk of `count` rows, NaN where missing; shape (count,)."""
    row = db.execute(
        "SELECT data FROM chunk_value WHERE channel_number = ? AND chunk_number = ?",
        [group.channel_numbers[k], number],
    ).fetchone()
    return np.full(count, np.nan) if row is None else decode_column(row[0], count, group.quanta[k])


def delete(db: sqlite3.Connection, number: int) -> None:
    """Removes a chunk, in the caller's transaction."""
    channels = "(SELECT channel_number FROM group_channel g JOIN chunk c USING (group_number)"
    channels += " WHERE c.number = ?1)"
    for table in ("chunk_value", "chunk_extreme"):
        db.execute(
            f"DELETE FROM {table} WHERE channel_number IN {channels} AND chunk_number = ?1",
            [number],
        )
    db.execute("DELETE FROM chunk WHERE number = ?", [number])
