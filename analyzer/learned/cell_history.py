"""What earlier trips found of the cells, kept in the log and taken up again.

Kept at each trip's end, and of all the log before it: what is charged and balanced between trips
tells as much as the trips.
"""

from collections.abc import Sequence

from analyzer.cells.memory import CellMemory
from analyzer.cells.monitor import CellMonitor
from analyzer.learned.keys import revive
from analyzer.series.log import OpenLog, cell_channels
from analyzer.trips.spans import next_window
from logger.store import TripRecord

KEY = "cells"
MOST_US = 3 * 24 * 3600 * 1_000_000  # of log looked back at where nothing newer is kept; assumed


def followed(log: OpenLog, end_us: int) -> CellMonitor:
    """The cells with all that the log knows of them at a time. [µs]"""
    kept = log.store.learned_by(KEY, end_us)
    memory = revive(CellMemory.from_dict, kept.value) if kept else None
    start_us = kept.to_us if kept and memory else 0
    return _run(log, CellMonitor(log.boat.pack, memory), (max(start_us, end_us - MOST_US), end_us))


def gather(log: OpenLog, trips: Sequence[TripRecord]) -> None:
    """Keeps what is known at the end of each trip but the last, which may still be going on."""
    kept = log.store.learned(KEY)
    done_us = kept[-1].to_us if kept else 0
    for trip in trips[:-1]:
        if trip.end_us <= done_us:
            continue
        memory = followed(log, trip.end_us).memory()
        if memory is not None:
            log.store.put_learned(KEY, memory.to_dict(), done_us, trip.end_us)
            done_us = trip.end_us


def _run(log: OpenLog, monitor: CellMonitor, stretch_us: tuple[int, int]) -> CellMonitor:
    names = ("pack_current_a", *cell_channels(log.boat))
    at_us, end_us = stretch_us
    while (window := next_window(log, at_us, end_us)) is not None:
        monitor.update(log.load(names, *window))
        at_us = window[1]
    return monitor
