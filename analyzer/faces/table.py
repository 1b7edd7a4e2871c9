"""Channels of the log as a table of rows on one clock, written as CSV an hour at a time."""

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TextIO

import numpy as np

from analyzer import series
from analyzer.errors import AnalyzerError, NoTrip
from logger.store import Store

_HOUR_US = 3600 * 1_000_000


class NoChannel(AnalyzerError, LookupError):  # noqa: N818 - reads as the sentence it makes
    """The log holds no such channel."""


@dataclass(frozen=True)
class Table:
    """What to write: channels, a stretch of the timeline, and the step."""

    channels: tuple[str, ...]
    start_us: int
    end_us: int
    step_s: float


def choose(
    store: Store, trip: int | None, channels: Sequence[str] = (), step_s: float = 1.0
) -> Table:
    """The table for one trip, or for the whole log.

    Args:
        trip: Its number; None: the whole log.
        channels: Names; none given: all that the log holds.
        step_s: Seconds from row to row.
    Raises:
        NoTrip, NoChannel: The log holds no such one.
    """
    held = store.channels()
    for name in channels:
        if name not in held:
            raise NoChannel(f"the log holds no channel {name!r}: `keelwatt check` lists them")
    start_us, end_us = _stretch(store, trip)
    return Table(tuple(channels) or tuple(sorted(held)), start_us, end_us, step_s)


def _stretch(store: Store, trip: int | None) -> tuple[int, int]:
    if trip is None:
        span = store.span()
        return (span[0], span[1] + 1) if span else (0, 0)
    for record in store.trips():
        if record.number == trip:
            return record.start_us, record.end_us
    raise NoTrip(f"the log holds no trip {trip}: `keelwatt trips` lists them")


def write_csv(store: Store, table: Table, out: TextIO) -> None:
    """Writes a head with the channels' names, then a row a step; rows without a value are left out.

    The first column is seconds since 1970 UTC (where the boot is dated), a missing value is empty.
    """
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["utc_s", *table.channels])
    for start_us in range(table.start_us, table.end_us, _part_us(table.step_s)):
        end_us = min(start_us + _part_us(table.step_s), table.end_us)
        part = series.load(store, table.channels, start_us, end_us, table.step_s)
        values = np.column_stack([part.get(name) for name in table.channels])
        for utc_s, row in zip(part.t_utc_s, values, strict=True):
            if np.isfinite(row).any():
                writer.writerow([f"{utc_s:.3f}", *("" if v != v else f"{v:.10g}" for v in row)])


def _part_us(step_s: float) -> int:
    """About an hour, in whole steps."""
    step_us = round(step_s * 1e6)
    return max(_HOUR_US // step_us, 1) * step_us
