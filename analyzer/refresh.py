"""Looks through what is new in a log once, and keeps what later answers rest on.

Kept in the log: its trips; for each stretch of log the charge filter's state at its end; for each
trip its steady motoring points; how far the watch has come. A question then only reads what is
newer. Everything kept can be worked out again from the readings.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from analyzer import steady, trips, watch
from analyzer.context import Context, pack_channels
from analyzer.estimate import Estimate, cannot_say
from analyzer.here import look
from analyzer.kept import (
    CALIBRATION,
    CHARGE,
    HERE,
    SEEN,
    STEADY,
    charge_before,
    follow,
    stream_before,
)
from analyzer.results import LegRow, TripRow, to_json
from analyzer.series import Series
from analyzer.soc import Charge
from logger.store import TripRecord

WINDOW_US = 24 * 3600 * 1_000_000  # looked through at a time
APART_US = round(trips.PAUSE_S * 1e6)  # a silence this long ends a trip
Z80 = 1.2815515655446004  # standard normal quantile at 0.9

Progress = Callable[[float], None]


@dataclass(frozen=True)
class Window:
    """A stretch of the timeline looked at as one; `last`: nothing follows. [µs]"""

    start_us: int
    end_us: int
    last: bool


def refresh(ctx: Context, progress: Progress | None = None) -> None:
    """Finds trips, follows the charge, gathers steady points and runs the watch.

    Args:
        ctx: Opened for writing.
        progress: Called with the share done, 0 to 1.
    """
    span = ctx.store.span()
    if span is None:
        return
    kept = ctx.store.learned(SEEN)
    seen_us = kept[-1].to_us if kept else span[0]
    old = ctx.store.trips()
    start_us = _restart(old, seen_us)
    known = [t for t in old if t.end_us <= start_us and t.start_us < start_us]
    todo = max(span[1] + 1 - start_us, 1)
    for window in windows(ctx, start_us):
        found = _look(ctx, window, len(known))
        known += found
        if progress:
            progress(0.5 * (window.end_us - start_us) / todo)
    ctx.store.put_trips(known)
    _watch(ctx, seen_us if kept else None, span[1] + 1, progress)
    end_us = span[1] + 1
    ctx.store.put_learned(HERE, look(ctx, end_us).to_dict(), span[0], end_us)
    ctx.store.put_learned(SEEN, {}, span[0], end_us)


def _restart(old: list[TripRecord], seen_us: int) -> int:
    """Where to begin again: at the start of a trip that may not have been over."""
    if old and seen_us - old[-1].end_us < APART_US:
        return old[-1].start_us
    return seen_us


def windows(ctx: Context, start_us: int) -> Iterator[Window]:
    """Stretches with readings from a time on, split at long silences and at a day's length."""
    runs: list[list[int]] = []
    for boot in ctx.store.boots():
        if boot.first_us is None or boot.last_us is None:
            continue
        first = boot.first_us + boot.timeline_offset_us
        last = boot.last_us + boot.timeline_offset_us + 1
        if runs and first - runs[-1][1] < APART_US:
            runs[-1][1] = max(runs[-1][1], last)
        else:
            runs.append([first, last])
    pieces = []
    for first, last in runs:
        at = max(first, start_us)
        while at < last:
            pieces.append((at, min(at + WINDOW_US, last)))
            at += WINDOW_US
    for k, (first, last) in enumerate(pieces):
        yield Window(first, last, k == len(pieces) - 1)


def _look(ctx: Context, window: Window, before: int) -> list[TripRecord]:
    """One window: its trips; keeps the charge at its end and the trips' steady points."""
    names = (*trips.TRIP_CHANNELS, *pack_channels(ctx.boat), *steady.CHANNELS)
    series = ctx.load(tuple(dict.fromkeys(names)), window.start_us, window.end_us)
    charge = follow(ctx, series)
    if charge is not None:
        ctx.store.put_learned(CHARGE, charge.final.to_dict(), window.start_us, window.end_us)
    records = []
    for k, trip in enumerate(trips.find(series, ctx.boat)):
        number = before + k + 1
        row = trips.trip_row(
            series,
            trip,
            number,
            _at(charge, series, trip.start_us),
            _at(charge, series, trip.end_us),
        )
        summary = to_json(row)
        records.append(TripRecord(number, trip.start_us, trip.end_us, summary))
        part = trips.between(series, trip.start_us, trip.end_us)
        stream = stream_before(ctx, part)
        points = steady.steady(part, ctx.boat, stream)
        ctx.store.put_learned(STEADY, points.to_dict(), trip.start_us, trip.end_us)
        if stream.known:
            found = stream.calibration.to_dict()
            ctx.store.put_learned(CALIBRATION, found, trip.start_us, trip.end_us)
    return records


def _at(charge: Charge | None, series: Series, at_us: int) -> Estimate:
    if charge is None:
        return cannot_say("without the pack's current the charge cannot be followed", "frac")
    k = min(max(round((at_us - series.t0_us) / 1e6 / series.step_s), 0), series.n - 1)
    soc, sd = float(charge.soc_frac[k]), float(charge.sd_frac[k])
    if not np.isfinite(soc):
        return cannot_say("the charge is not known there", "frac")
    low, high = max(soc - Z80 * sd, 0.0), min(soc + Z80 * sd, 1.0)
    return Estimate(soc, low, high, "frac", used=("pack_current_a", "pack_voltage_v"))


def _watch(ctx: Context, from_us: int | None, end_us: int, progress: Progress | None) -> None:
    """Runs the watch over what it has not seen; open flags go on."""
    judge = watch.Watch(ctx.boat, charge_before(ctx, from_us) if from_us else None)
    for flag in ctx.store.flags():
        if flag.cleared_us is None:
            judge.book.adopt(flag)

    def tell(share: float) -> None:
        if progress:
            progress(0.5 + 0.5 * share)

    watch.run(ctx.store, ctx.boat, from_us, end_us, tell, judge)


def trip_row(record: TripRecord) -> TripRow:
    """The row that was kept for a trip."""
    data: dict[str, Any] = dict(record.summary)
    data["charge_start"] = _estimate(data["charge_start"])
    data["charge_end"] = _estimate(data["charge_end"])
    data["legs"] = tuple(LegRow(**leg) for leg in data["legs"])
    data["number"] = record.number
    return TripRow(**data)


def _estimate(data: dict[str, Any]) -> Estimate:
    return Estimate(**{**data, "used": tuple(data["used"]), "missing": tuple(data["missing"])})
