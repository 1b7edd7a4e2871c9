"""Looks through what is new in a log once, and keeps what later answers rest on.

Kept in the log: its trips; for each stretch of log the charge filter's state at its end; for each
trip its steady motoring points and what a device's gauge said of its charge; how far the watch has
come. A question then only reads what is newer. Everything kept can be worked out again from the
readings.
"""

from collections.abc import Callable
from dataclasses import asdict, replace
from itertools import chain
from typing import Any

import numpy as np

from analyzer.answers.grounded import believed, standings
from analyzer.answers.snapshot import keep_here
from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.estimation.ground import standing_of
from analyzer.estimation.quantiles import mixture_quantile
from analyzer.estimation.results import to_json
from analyzer.flags import monitor
from analyzer.grounds.plausible import flows_back, tells_nothing
from analyzer.grounds.power_doubt import power_doubt
from analyzer.hull import steady
from analyzer.hull.steady_points import SteadyPoints
from analyzer.learned import cable_history, cell_history, sag_history, season_history
from analyzer.learned.charge_history import REST_BEFORE_US, STEP_US, charge_at, follow_on
from analyzer.learned.keys import (
    CALIBRATION,
    CHARGE,
    CHARGE_BEFORE,
    GAUGE,
    HOTEL,
    STEADY,
    STREAMS,
    calibration_before,
    points_before,
    stream_before,
)
from analyzer.learned.stamp import SEEN, stamp
from analyzer.learned.stream_history import along
from analyzer.pack.capacity import from_gauge
from analyzer.pack.soc import GAUGE_SD, Charge, PackPosterior, turned, upright
from analyzer.pack.soc import known as known_charge
from analyzer.range.hotel import at_rest
from analyzer.series import bridges
from analyzer.series.log import OpenLog, pack_channels
from analyzer.series.series import Series
from analyzer.trips import trips
from analyzer.trips.spans import APART_US, next_window
from logger.store import TripRecord

# Looked at again, so that the watch knows what the boat does: three minutes of steady motoring tell
# the present speed, twenty readings a channel's own rate; assumed.
WARM_UP_US = 10 * 60 * 1_000_000
MARK_US = 10 * 60 * 1_000_000  # a trip's beginning moves while its readings come; assumed

Progress = Callable[[float], None]


def refresh(log: OpenLog, progress: Progress | None = None) -> None:
    """Finds trips, follows the charge, gathers steady points and runs the watch.

    Args:
        log: Opened for writing.
        progress: Called with the share done, 0 to 1.
    """
    span = log.store.span()
    if span is None:
        return
    end_us = span[1] + 1
    kept, rests_on = log.store.learned(SEEN), stamp(log)
    restart_us = kept[-1].value["restart_us"] if kept else span[0]
    watched_us = kept[-1].to_us if kept else None
    warm_us = None
    if watched_us:
        # On the grid of seconds that the log's first look had, so that looking again is the same.
        late_us = max(watched_us - WARM_UP_US - span[0], 0)
        warm_us = span[0] + late_us // STEP_US * STEP_US
    charge = charge_at(log, warm_us) if warm_us else None  # before it is kept anew
    known = [t for t in log.store.trips() if t.start_us < restart_us]
    at = restart_us
    while (window := next_window(log, at)) is not None:
        restart_us = window[0]
        series = _series(log, *window)
        start = charge_at(log, series.t0_us)
        # Motoring and its energy are told by the current as it flows, not as a shunt that is the
        # wrong way round has it.
        found = trips.find(upright(series, log.boat.pack, start), log.boat)
        at = window[1]
        if found and _cut_short(log, found[-1], window):
            at = found.pop().start_us
            series = trips.between(series, window[0], at)
        known += _keep(log, series, start, found, len(known))
        if progress:
            progress(0.5 * (at - span[0]) / (end_us - span[0]))
    log.store.put_trips(known)
    cable_history.gather(log.store, log.boat, known)
    sag_history.gather(log, known)
    cell_history.gather(log, known)
    season_history.gather(log, known)
    _watch(log, (warm_us, end_us), charge, progress)
    keep_here(log, span[0], end_us)
    log.store.put_learned(SEEN, {"restart_us": restart_us, "stamp": rests_on}, span[0], end_us)


def _cut_short(log: OpenLog, last: trips.Trip, window: tuple[int, int]) -> bool:
    """Whether a trip goes on beyond a window that only its length has ended."""
    more = next_window(log, window[1])
    goes_on = more is not None and more[0] - last.end_us < APART_US
    return goes_on and last.start_us > window[0]


def _series(log: OpenLog, start_us: int, end_us: int) -> Series:
    """A stretch of log; its pack's current turned round where the controller's says so."""
    fixed = trips.TRIP_CHANNELS, steady.CHANNELS, bridges.CHANNELS
    names = (*chain.from_iterable(fixed), *pack_channels(log.boat))
    series = log.load(tuple(dict.fromkeys(names)), start_us, end_us)
    return turned(series) if flows_back(series, log.boat) else series


def _keep(
    log: OpenLog,
    series: Series,
    start: PackPosterior | None,
    found: list[trips.Trip],
    before: int,
) -> list[TripRecord]:
    """Keeps the charge at trips' beginnings and at the stretch's end, and the trips' steady points;
    gives its trips.
    """
    charge = _keep_charge(log, series, start, found)
    series = upright(series, log.boat.pack, start)
    bridged = bridges.pack_current(series, log.boat).series
    records = []
    for number, trip in enumerate(found, before + 1):
        doubt = power_doubt(trips.between(series, trip.start_us, trip.end_us), log.boat)
        first, last = _at(charge, trip.start_us), _at(charge, trip.end_us)
        rows = standings(log, trip.end_us)
        held = standing_of(rows, "charge")
        if held is not None and held.standing == "told by a device":
            last = _by_gauge(log, series, trip.end_us) or last
        for why in (doubt, held.by if held else ""):
            if tells_nothing(why):
                first = last = cannot_say(why, "frac")
        row = trips.trip_row(bridged, trip, number, first, last, doubt)
        row = replace(row, grounds=rows)
        records.append(TripRecord(number, trip.start_us, trip.end_us, to_json(row)))
        part = believed(trips.between(series, trip.start_us, trip.end_us), rows)
        stream = stream_before(log, part)
        points = steady.steady(part, log.boat, stream)
        log.store.put_learned(STEADY, points.to_dict(), trip.start_us, trip.end_us)
        gauge = from_gauge(f"trip {number}", part)
        if gauge is not None:
            log.store.put_learned(GAUGE, asdict(gauge), trip.start_us, trip.end_us)
        rest = at_rest(part, log.boat, charge[-1][1].final if charge else None)
        if rest is not None:
            log.store.put_learned(HOTEL, rest.to_dict(), trip.start_us, trip.end_us)
        if stream.known:
            log.store.put_learned(STREAMS, along(part, stream), trip.start_us, trip.end_us)
            calibration = stream.calibration.to_dict()
            log.store.put_learned(CALIBRATION, calibration, trip.start_us, trip.end_us)
        season_history.keep_trip(log, part, stream, (trip.start_us, trip.end_us))
    season_history.keep_between(log, series, [(r.start_us, r.end_us) for r in records])
    return records


def _keep_charge(
    log: OpenLog, series: Series, start: PackPosterior | None, found: list[trips.Trip]
) -> list[tuple[int, Charge]]:
    """Follows the charge over a stretch, and keeps it where a later question will begin.

    Returns:
        When each part begins, and the charge over it; nothing where no current is measured. [µs]
    """
    marks = [(trip.start_us - REST_BEFORE_US) // MARK_US * MARK_US for trip in found]
    parts = list(follow_on(log, series, start, marks))
    for _, charge in parts[:-1]:
        at_us = charge.final.t_us
        if any(abs(at_us - mark) <= series.step_s * 1e6 for mark in marks):
            _keep_once(log, CHARGE_BEFORE, charge.final.to_dict(), at_us)
    if parts:
        last = parts[-1][1].final
        log.store.put_learned(CHARGE, last.to_dict(), series.t0_us, last.t_us)
    return parts


def _keep_once(log: OpenLog, key: str, value: dict[str, Any], at_us: int) -> None:
    """Keeps what is said of one moment, unless that is kept already: cards wear by writing."""
    kept = log.store.learned_by(key, at_us)
    if kept is None or kept.to_us != at_us or kept.value != value:
        log.store.put_learned(key, value, at_us, at_us)


def _at(parts: list[tuple[int, Charge]], at_us: int) -> Estimate:
    if not parts:
        return cannot_say("without the pack's current the charge cannot be followed", "frac")
    before = [part for part in parts if part[0] <= at_us]
    begin_us, charge = before[-1] if before else parts[0]
    k = int(np.searchsorted(charge.t_s, (at_us - begin_us) / 1e6))
    k = min(k, len(charge.t_s) - 1)
    if not np.isfinite(charge.soc_frac[k]):
        return cannot_say("the charge is not known there", "frac")
    weight, mean, sd = charge.components[:, charge.step_of[k], None]
    # Median and quantiles, as "how far" has them: a skewed mixture's mean lies elsewhere.
    shares = (0.1, 0.5, 0.9)
    low, mid, high = (float(mixture_quantile(weight, mean, sd, q)[0]) for q in shares)
    if k == len(charge.t_s) - 1:  # the end's own posterior has what was bridged in it
        low, mid, high = (charge.final.quantile_frac(q) for q in shares)
    return Estimate(mid, low, high, "frac", used=("pack_current_a", "pack_voltage_v"))


def _by_gauge(log: OpenLog, series: Series, at_us: int) -> Estimate | None:
    """The charge that a device's own gauge tells, as doubtful as "how far" takes it; None: none."""
    gauge = trips.between(series, series.t0_us, at_us).get("pack_soc_frac")
    gauge = gauge[np.isfinite(gauge)]
    if not len(gauge):
        return None
    told = known_charge(log.boat.pack, float(gauge[-1]), GAUGE_SD, t_us=at_us)
    low, mid, high = (told.quantile_frac(share) for share in (0.1, 0.5, 0.9))
    return Estimate(mid, low, high, "frac", used=("pack_soc_frac",))


def _watch(
    log: OpenLog,
    stretch_us: tuple[int | None, int],
    charge: PackPosterior | None,
    progress: Progress | None,
) -> None:
    """Runs the watch over what it has not seen, and a little before; open flags go on."""
    from_us, end_us = stretch_us
    judge = monitor.Watch(log.boat, charge)
    if from_us:
        judge.teach(
            SteadyPoints.join(points_before(log, from_us)),
            calibration_before(log, from_us),
            cells=cell_history.followed(log, from_us),
        )
    for flag in log.store.flags():
        if flag.cleared_us is None:
            judge.book.adopt(flag)

    def tell(share: float) -> None:
        if progress:
            progress(0.5 + 0.5 * share)

    monitor.run(log.store, log.boat, from_us, end_us, tell, judge)
