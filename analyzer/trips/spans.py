"""Stretches of a log that hold readings, one after another."""

from analyzer.series.log import OpenLog
from analyzer.trips.trips import PAUSE_S

WINDOW_US = 24 * 3600 * 1_000_000  # looked through at a time, to fit a small board; assumed
SECOND_US = 1_000_000  # of the grid, by definition
APART_US = round(PAUSE_S * 1e6)  # a silence this long ends a trip


def next_window(
    log: OpenLog, start_us: int, before_us: int | None = None
) -> tuple[int, int] | None:
    """The next stretch with readings, up to a long silence or a day's length; None at the end.

    A boot that went on without readings for a day's length or longer counts as two.

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
    if not found:
        return None
    filled_us = _filled_from(log, *found)
    if filled_us is None:
        return next_window(log, found[1], before_us)
    return filled_us, _filled_to(log, filled_us, min(found[1], filled_us + WINDOW_US), found[1])


def _filled_from(log: OpenLog, first_us: int, last_us: int) -> int | None:
    """Where a stretch begins but for a silence of a day's length or longer; None: past its end."""
    if last_us - first_us <= WINDOW_US:
        return first_us
    filled_us = log.store.next_filled_us(first_us)
    if filled_us is None or filled_us >= last_us:
        return None
    return filled_us if filled_us - first_us >= WINDOW_US else first_us


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


def _filled_to(log: OpenLog, start_us: int, end_us: int, last_us: int) -> int:
    """Where a window ends: before a silence that goes on for a day's length or more behind it."""
    if end_us >= last_us or (log.store.next_filled_us(end_us) or last_us) - end_us < WINDOW_US:
        return end_us
    low_us, high_us = start_us, end_us  # a reading at or after the one, none after the other
    while high_us - low_us > SECOND_US:
        middle_us = (low_us + high_us) // 2
        next_us = log.store.next_filled_us(middle_us)
        if next_us is not None and next_us < end_us:
            low_us = next_us
        else:
            high_us = middle_us
    return low_us + SECOND_US
