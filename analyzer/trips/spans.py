"""Stretches of a log that hold readings, one after another."""

from analyzer.series.log import OpenLog
from analyzer.trips.trips import PAUSE_S

WINDOW_US = 24 * 3600 * 1_000_000  # looked through at a time, to fit a small board; assumed
APART_US = round(PAUSE_S * 1e6)  # a silence this long ends a trip


def next_window(
    log: OpenLog, start_us: int, before_us: int | None = None
) -> tuple[int, int] | None:
    """The next stretch with readings, up to a long silence or a day's length; None at the end.

    Args:
        start_us, before_us: Where to look, on the timeline; None: to the log's end. [µs]
    """
    found: list[int] = []
    for boot in log.store.boots():
        if boot.first_us is None or boot.last_us is None:
            continue
        first = max(boot.first_us + boot.timeline_offset_us, start_us)
        last = boot.last_us + boot.timeline_offset_us + 1
        if before_us is not None:
            last = min(last, before_us)
        if last <= first:
            continue
        if found and first - found[1] >= APART_US:
            break
        found = [found[0] if found else first, max(last, found[1] if found else last)]
    return (found[0], min(found[1], found[0] + WINDOW_US)) if found else None


def unknown_starts(log: OpenLog, start_us: int, end_us: int) -> set[int]:
    """Where a stretch goes on after a time of unknown length: a boot without a date. [µs]"""
    found, dated = set(), True
    for boot in log.store.boots():
        if boot.first_us is None:
            continue
        first_us = boot.first_us + boot.timeline_offset_us
        if boot.utc_offset_us is None or not dated:
            found.add(first_us)
        dated = boot.utc_offset_us is not None
    return {at for at in found if start_us <= at < end_us}
