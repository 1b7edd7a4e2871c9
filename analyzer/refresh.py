"""Looks through what is new in a log once, and keeps what later answers rest on.

Kept in the log: its trips; for each stretch of log the charge filter's state at its end; for each
trip its steady motoring points and what a device's gauge said of its charge; how far the watch has
come. A question then only reads what is newer. Everything kept can be worked out again from the
readings.
"""

from collections.abc import Callable
from dataclasses import asdict
from typing import Any

import numpy as np

from analyzer import cable_history, sag_history, steady, trips, watch
from analyzer.capacity import from_gauge
from analyzer.context import Context, pack_channels
from analyzer.estimate import Estimate, cannot_say
from analyzer.here import look
from analyzer.kept import (
    CALIBRATION,
    CHARGE,
    GAUGE,
    HERE,
    SEEN,
    STEADY,
    calibration_before,
    charge_before,
    follow,
    points_before,
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


def refresh(ctx: Context, progress: Progress | None = None) -> None:
    """Finds trips, follows the charge, gathers steady points and runs the watch.

    Args:
        ctx: Opened for writing.
        progress: Called with the share done, 0 to 1.
    """
    span = ctx.store.span()
    if span is None:
        return
    end_us = span[1] + 1
    kept = ctx.store.learned(SEEN)
    restart_us = kept[-1].value["restart_us"] if kept else span[0]
    known = [t for t in ctx.store.trips() if t.start_us < restart_us]
    at = restart_us
    while (window := next_window(ctx, at)) is not None:
        restart_us = window[0]
        series = _series(ctx, *window)
        found = trips.find(series, ctx.boat)
        at = window[1]
        if found and _cut_short(ctx, found[-1], window):
            at = found.pop().start_us
            series = trips.between(series, window[0], at)
        known += _keep(ctx, series, found, len(known))
        if progress:
            progress(0.5 * (at - span[0]) / (end_us - span[0]))
    ctx.store.put_trips(known)
    cable_history.gather(ctx.store, ctx.boat, known)
    sag_history.gather(ctx, known)
    _watch(ctx, kept[-1].to_us if kept else None, end_us, progress)
    ctx.store.put_learned(HERE, look(ctx, end_us).to_dict(), span[0], end_us)
    ctx.store.put_learned(SEEN, {"restart_us": restart_us}, span[0], end_us)


def next_window(ctx: Context, start_us: int) -> tuple[int, int] | None:
    """The next stretch with readings, up to a long silence or a day's length; None at the end."""
    found: list[int] = []
    for boot in ctx.store.boots():
        if boot.first_us is None or boot.last_us is None:
            continue
        first = max(boot.first_us + boot.timeline_offset_us, start_us)
        last = boot.last_us + boot.timeline_offset_us + 1
        if last <= start_us:
            continue
        if found and first - found[1] >= APART_US:
            break
        found = [found[0] if found else first, max(last, found[1] if found else last)]
    return (found[0], min(found[1], found[0] + WINDOW_US)) if found else None


def _cut_short(ctx: Context, last: trips.Trip, window: tuple[int, int]) -> bool:
    """Whether a trip goes on beyond a window that only its length has ended."""
    more = next_window(ctx, window[1])
    goes_on = more is not None and more[0] - last.end_us < APART_US
    return goes_on and last.start_us > window[0]


def _series(ctx: Context, start_us: int, end_us: int) -> Series:
    names = (*trips.TRIP_CHANNELS, *pack_channels(ctx.boat), *steady.CHANNELS)
    return ctx.load(tuple(dict.fromkeys(names)), start_us, end_us)


def _keep(ctx: Context, series: Series, found: list[trips.Trip], before: int) -> list[TripRecord]:
    """Keeps the charge at a stretch's end and its trips' steady points; gives its trips."""
    charge = follow(ctx, series)
    if charge is not None:
        end_us = series.t0_us + round(series.n * series.step_s * 1e6)
        ctx.store.put_learned(CHARGE, charge.final.to_dict(), series.t0_us, end_us)
    records = []
    for number, trip in enumerate(found, before + 1):
        ends = (_at(charge, series, at) for at in (trip.start_us, trip.end_us))
        row = trips.trip_row(series, trip, number, *ends)
        records.append(TripRecord(number, trip.start_us, trip.end_us, to_json(row)))
        part = trips.between(series, trip.start_us, trip.end_us)
        stream = stream_before(ctx, part)
        points = steady.steady(part, ctx.boat, stream)
        ctx.store.put_learned(STEADY, points.to_dict(), trip.start_us, trip.end_us)
        gauge = from_gauge(f"trip {number}", part)
        if gauge is not None:
            ctx.store.put_learned(GAUGE, asdict(gauge), trip.start_us, trip.end_us)
        if stream.known:
            calibration = stream.calibration.to_dict()
            ctx.store.put_learned(CALIBRATION, calibration, trip.start_us, trip.end_us)
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
    if from_us:
        judge.teach(
            steady.SteadyPoints.join(points_before(ctx, from_us)),
            calibration_before(ctx, from_us),
        )
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
