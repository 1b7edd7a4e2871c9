"""The charge at any time: as last kept in the log, and followed since."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from analyzer.learned.keys import CHARGE, CHARGE_BEFORE, revive
from analyzer.pack.cell_model import label
from analyzer.pack.soc import Charge, PackPosterior, track
from analyzer.series import bridges
from analyzer.series.log import OpenLog, pack_channels
from analyzer.series.series import Series, load
from analyzer.trips.spans import WINDOW_US, next_window, unknown_starts
from analyzer.trips.trips import between
from logger.store import Learned

STEP_US = 1_000_000  # of the grid, by definition
UNDATED_US = 6 * 3600 * 1_000_000  # between boots without a date: a night, or nothing; assumed
# Of the pack's rest before a trip that its review looks at; assumed.
REST_BEFORE_US = 20 * 60 * 1_000_000


def follow(log: OpenLog, series: Series) -> Charge | None:
    """The charge over a stretch, with all that the log knows before it; None without current."""
    if not series.n or not series.has("pack_current_a"):
        return None
    return track(series, log.boat.pack, charge_at(log, series.t0_us))


def charges(log: OpenLog) -> list[PackPosterior]:
    """The states of charge that were kept of this pack, none of another label's, in time order."""
    found = [_charge(log, kept) for kept in log.store.learned(CHARGE)]
    return [state for state in found if state is not None]


def _charge(log: OpenLog, kept: Learned | None) -> PackPosterior | None:
    state = revive(PackPosterior.from_dict, kept.value) if kept else None
    return state if state is not None and state.label == label(log.boat.pack) else None


def charge_at(log: OpenLog, at_us: int) -> PackPosterior | None:
    """The charge at a time: as last kept before it, and followed since. [µs]"""
    by_us = at_us + STEP_US  # a stretch ends with its last second
    known = []
    for key in (CHARGE, CHARGE_BEFORE):
        kept = log.store.learned_by(key, by_us)
        found = _charge(log, kept)
        if found is not None:
            known.append(found)
    state = max(known, key=lambda state: state.t_us, default=None)
    since_us = state.t_us if state else at_us - WINDOW_US
    while (window := next_window(log, since_us, at_us)) is not None:
        series = log.load(pack_channels(log.boat), *window)
        for _, charge in follow_on(log, series, state):
            state = charge.final
        since_us = window[1]
    return state


def follow_on(
    log: OpenLog, series: Series, state: PackPosterior | None, marks: Sequence[int] = ()
) -> Iterator[tuple[int, Charge]]:
    """Follows the charge over a stretch in parts; none where no current is measured.

    Args:
        state: Before it.
        marks: Where a part is to end. [µs]
    Yields:
        When each part begins, and the charge over it. [µs]
    """
    bridge = _bridged(log, series)
    series = bridge.series
    if not series.n or not series.has("pack_current_a"):
        return
    start_us, end_us = series.t0_us, _end_us(series)
    open_us = unknown_starts(log, start_us, end_us)
    inside = {mark for mark in marks if start_us < mark < end_us}
    ends = sorted({start_us, end_us} | inside | open_us)
    for begin_us, until_us in pairwise(ends):
        if state is not None and begin_us in open_us:
            state = replace(state, t_us=min(state.t_us, begin_us - UNDATED_US))
        part = between(series, begin_us, until_us)
        charge = track(part, log.boat.pack, state)
        charge = _doubted(charge, bridge, begin_us, until_us)
        state = charge.final
        yield begin_us, charge


def _bridged(log: OpenLog, series: Series) -> bridges.Bridge:
    """The series with the pack's current filled from the controller's where it is missing."""
    if not bridges.lacks_current(series):
        return bridges.Bridge(series, np.zeros(series.n, bool), 0.0)
    more = load(log.store, bridges.CHANNELS, series.t0_us, _end_us(series), series.step_s)
    both = replace(more, values=more.values | series.values)
    found = bridges.pack_current(both, log.boat)
    filled = found.series.get("pack_current_a")
    values = {**series.values, "pack_current_a": filled}
    own = replace(series, values=values)
    return replace(found, series=own)


def _end_us(series: Series) -> int:
    """Where a series ends. [µs]"""
    return series.t0_us + round(series.n * series.step_s * 1e6)


def _doubted(charge: Charge, bridge: bridges.Bridge, begin_us: int, until_us: int) -> Charge:
    """The charge with the error of what was bridged in its final posterior."""
    step_us = bridge.series.step_s * 1e6
    t0_us = bridge.series.t0_us
    first = round((begin_us - t0_us) / step_us)
    last = round((until_us - t0_us) / step_us)
    part = bridge.bridged[first:last]
    if not part.any():
        return charge
    filled = bridge.series.cut(first, last)
    cut = replace(bridge, series=filled, bridged=part)
    lost_ah = bridge.share_sd * bridges.bridged_ah(cut)
    more = lost_ah / charge.final.capacity_ah
    drift_sd = float(np.hypot(charge.final.drift_sd, more))
    final = replace(charge.final, drift_sd=drift_sd)
    return replace(charge, final=final)
