"""What is kept in the log between commands, under which key, and how it is taken up again."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any, TypeVar

import numpy as np

from analyzer.environment import stream_fit
from analyzer.environment.stream import Calibration, Stream
from analyzer.hull.steady_points import SteadyPoints
from analyzer.pack.cell_model import label
from analyzer.pack.soc import Charge, PackPosterior, track
from analyzer.series import bridges
from analyzer.series.log import OpenLog, pack_channels
from analyzer.series.series import Series, load
from analyzer.trips.spans import WINDOW_US, next_window, unknown_starts
from analyzer.trips.trips import between
from logger.store import Learned

T = TypeVar("T")

CHARGE = "charge"  # the charge filter's state at the end of a stretch
CHARGE_BEFORE = "charge_before"  # and shortly before a trip
GAUGE = "gauge"  # a trip's charge by some device's own gauge
STEADY = "steady"  # a trip's steady motoring points
CALIBRATION = "calibration"  # of log, propeller and compass, after a trip
HERE = "here"  # the newest moment
SEEN = "seen"  # how far the log was looked through
STEP_US = 1_000_000  # of the grid, by definition
UNDATED_US = 6 * 3600 * 1_000_000  # between boots without a date: a night, or nothing; assumed
# Of the pack's rest before a trip that its review looks at; assumed.
REST_BEFORE_US = 20 * 60 * 1_000_000


def revive(read: Callable[[dict[str, Any]], T], value: dict[str, Any]) -> T | None:
    """A kept result taken up again; None where another version of the program kept it."""
    try:
        return read(value)
    except (KeyError, TypeError, ValueError, IndexError):
        return None


def new_s(ctx: OpenLog) -> float:
    """How much of the log's end has not been looked through. [s]"""
    span, seen = ctx.store.span(), ctx.store.learned(SEEN)
    begin_us, end_us = span or (0, 0)
    return (end_us - (seen[-1].to_us if seen else begin_us)) / 1e6


def follow(ctx: OpenLog, series: Series) -> Charge | None:
    """The charge over a stretch, with all that the log knows before it; None without current."""
    if not series.n or not series.has("pack_current_a"):
        return None
    return track(series, ctx.boat.pack, charge_at(ctx, series.t0_us))


def charges(ctx: OpenLog) -> list[PackPosterior]:
    """The states of charge that were kept of this pack, none of another label's, in time order."""
    found = [_charge(ctx, kept) for kept in ctx.store.learned(CHARGE)]
    return [state for state in found if state is not None]


def _charge(ctx: OpenLog, kept: Learned | None) -> PackPosterior | None:
    state = revive(PackPosterior.from_dict, kept.value) if kept else None
    return state if state is not None and state.label == label(ctx.boat.pack) else None


def charge_at(ctx: OpenLog, at_us: int) -> PackPosterior | None:
    """The charge at a time: as last kept before it, and followed since. [µs]"""
    by_us = at_us + STEP_US  # a stretch ends with its last second
    found = [_charge(ctx, ctx.store.learned_by(key, by_us)) for key in (CHARGE, CHARGE_BEFORE)]
    known = [state for state in found if state is not None]
    state = max(known, key=lambda state: state.t_us, default=None)
    since_us = state.t_us if state else at_us - WINDOW_US
    while (window := next_window(ctx, since_us, at_us)) is not None:
        series = ctx.load(pack_channels(ctx.boat), *window)
        for _, charge in follow_on(ctx, series, state):
            state = charge.final
        since_us = window[1]
    return state


def follow_on(
    ctx: OpenLog, series: Series, state: PackPosterior | None, marks: Sequence[int] = ()
) -> Iterator[tuple[int, Charge]]:
    """Follows the charge over a stretch in parts; none where no current is measured.

    Args:
        state: Before it.
        marks: Where a part is to end. [µs]
    Yields:
        When each part begins, and the charge over it. [µs]
    """
    bridge = _bridged(ctx, series)
    series = bridge.series
    if not series.n or not series.has("pack_current_a"):
        return
    end_us = series.t0_us + round(series.n * series.step_s * 1e6)
    open_us = unknown_starts(ctx, series.t0_us, end_us)
    inside = {mark for mark in marks if series.t0_us < mark < end_us}
    for begin_us, until_us in pairwise(sorted({series.t0_us, end_us} | inside | open_us)):
        if state is not None and begin_us in open_us:
            state = replace(state, t_us=min(state.t_us, begin_us - UNDATED_US))
        charge = track(between(series, begin_us, until_us), ctx.boat.pack, state)
        charge = _doubted(charge, bridge, begin_us, until_us)
        state = charge.final
        yield begin_us, charge


def _bridged(ctx: OpenLog, series: Series) -> bridges.Bridge:
    """The series with the pack's current filled from the controller's where it is missing."""
    if not bridges.lacks_current(series):
        return bridges.Bridge(series, np.zeros(series.n, bool), 0.0)
    end_us = series.t0_us + round(series.n * series.step_s * 1e6)
    more = load(ctx.store, bridges.CHANNELS, series.t0_us, end_us, series.step_s)
    found = bridges.pack_current(replace(more, values=more.values | series.values), ctx.boat)
    own = {*series.values, "pack_current_a"}
    values = {name: v for name, v in found.series.values.items() if name in own}
    return replace(found, series=replace(found.series, values=values))


def _doubted(charge: Charge, bridge: bridges.Bridge, begin_us: int, until_us: int) -> Charge:
    """The charge with the error of what was bridged in its final posterior."""
    step_us = bridge.series.step_s * 1e6
    first, last = (round((t - bridge.series.t0_us) / step_us) for t in (begin_us, until_us))
    part = bridge.bridged[first:last]
    if not part.any():
        return charge
    cut = replace(bridge, series=bridge.series.cut(first, last), bridged=part)
    more = bridge.share_sd * bridges.bridged_ah(cut) / charge.final.capacity_ah
    final = replace(charge.final, drift_sd=float(np.hypot(charge.final.drift_sd, more)))
    return replace(charge, final=final)


def stream_before(ctx: OpenLog, series: Series) -> Stream:
    """The stream over a stretch, with the calibration that trips before it left. [µs]"""
    kept = [k for k in ctx.store.learned(CALIBRATION) if k.to_us <= series.t0_us]
    before = revive(Calibration.from_dict, kept[-1].value) if kept else None
    return stream_fit.estimate(series, ctx.boat, before=before)


def points_before(ctx: OpenLog, before_us: int | None) -> list[SteadyPoints]:
    """Steady points trip by trip, of trips that began before a time; None: of all. [µs]"""
    kept = [k for k in ctx.store.learned(STEADY) if before_us is None or k.from_us < before_us]
    found = [revive(SteadyPoints.from_dict, k.value) for k in kept]
    return [points for points in found if points is not None]


def calibration_before(ctx: OpenLog, before_us: int | None) -> Calibration | None:
    """The newest calibration from before a time; None: of all. [µs]"""
    kept = [k for k in ctx.store.learned(CALIBRATION) if before_us is None or k.to_us <= before_us]
    return revive(Calibration.from_dict, kept[-1].value) if kept else None
