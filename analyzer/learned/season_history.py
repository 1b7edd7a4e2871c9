"""What each trip, and the time between trips, took and gave in energy, kept in the log.

A season adds up what is kept here; the readings are not read again for it.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np

from analyzer.environment.stream import Stream
from analyzer.estimation.estimate import Estimate
from analyzer.hull import steady
from analyzer.learned.charge_history import charge_at
from analyzer.learned.keys import revive, stream_before
from analyzer.pack.soc import upright
from analyzer.series.log import OpenLog, pack_channels
from analyzer.series.operating import motoring
from analyzer.series.series import Series
from analyzer.trips import ledger, trips
from logger.store import TripRecord

TRIP = "trip_energy"
BETWEEN = "between_energy"
Spans = Sequence[tuple[int, int]]  # on the timeline [µs]


@dataclass(frozen=True)
class Energies:
    """Energies of a stretch, as `trips.ledger` has them; positive is out of the pack.

    Args:
        from_us, to_us: On the log's timeline.
        recorded_s: With readings.
        ground_m, water_m: Under motor, over the ground and through the water, where both are known.
        water_sd_frac: Of the way through the water.
    """

    from_us: int
    to_us: int
    recorded_s: float
    rows: dict[str, Estimate]
    ground_m: float = 0.0
    water_m: float = 0.0
    water_sd_frac: float = 0.0


def keep_trip(log: OpenLog, part: Series, stream: Stream, trip: tuple[int, int]) -> None:
    """Keeps a trip's energies and its way; `part` has its readings, the current as it flows."""
    value = _energies(part, log) | _way(part, log, stream)
    log.store.put_learned(TRIP, value, *trip)


def keep_between(log: OpenLog, series: Series, under_way: Spans) -> None:
    """Keeps the energies of a stretch of log without its trips."""
    ashore = np.ones(series.n, dtype=bool)
    t_us = series.t0_us + series.t_s * 1e6
    for start_us, end_us in under_way:
        ashore &= (t_us < start_us) | (t_us >= end_us)
    read = np.zeros(series.n, dtype=bool)
    for name in trips.TRIP_CHANNELS:
        read |= np.isfinite(series.get(name))
    # what was not recorded has no hotel load that could be assumed
    kept = ashore & read
    values = {name: column[kept] for name, column in series.values.items()}
    part = Series(series.t0_us, series.step_s, int(kept.sum()), values)
    if part.n:
        end_us = series.t0_us + round(series.n * series.step_s * 1e6)
        log.store.put_learned(BETWEEN, _energies(part, log), series.t0_us, end_us)


def gather(log: OpenLog, known: Iterable[TripRecord]) -> None:
    """Keeps what an older look through the log has not kept of its trips."""
    done = set()
    for kept in log.store.learned(TRIP):
        done.add((kept.from_us, kept.to_us))
    names = (*trips.TRIP_CHANNELS, *pack_channels(log.boat), *steady.CHANNELS)
    for trip in known:
        if (trip.start_us, trip.end_us) in done:
            continue
        series = log.load(tuple(dict.fromkeys(names)), trip.start_us, trip.end_us)
        part = upright(series, log.boat.pack, charge_at(log, trip.start_us))
        keep_trip(log, part, stream_before(log, part), (trip.start_us, trip.end_us))


def of_trips(log: OpenLog) -> dict[tuple[int, int], Energies]:
    """What is kept of trips, by their beginning and end. [µs]"""
    found = {}
    for one in _kept(log, TRIP):
        found[one.from_us, one.to_us] = one
    return found


def between_trips(log: OpenLog) -> list[Energies]:
    """What is kept of the time between trips, oldest first."""
    return _kept(log, BETWEEN)


def _kept(log: OpenLog, key: str) -> list[Energies]:
    found = []
    for kept in log.store.learned(key):
        energies = revive(partial(_revived, kept.from_us, kept.to_us), kept.value)
        if energies is not None:
            found.append(energies)
    return found


def _revived(from_us: int, to_us: int, value: dict[str, Any]) -> Energies:
    rows = {
        text: Estimate(mid, low, high, "Wh", reason=reason)
        for text, (mid, low, high, reason) in value["rows"].items()
    }
    return Energies(from_us, to_us, **{**value, "rows": rows})


def _energies(part: Series, log: OpenLog) -> dict[str, Any]:
    """As `Energies` without its times, plain numbers for JSON."""
    rows = {}
    for row in ledger.ledger(part, None, log.boat, None):
        told = row.energy
        numbers = map(_short, (told.mid, told.low, told.high))
        rows[row.text] = (*numbers, told.reason)
    return {"recorded_s": part.n * part.step_s, "rows": rows}


def _short(value: float | None) -> float | None:
    return None if value is None else round(value, 2)


def _way(part: Series, log: OpenLog, stream: Stream) -> dict[str, float]:
    """The way under motor; nothing where the stream is not told apart from the boat."""
    if not stream.known:
        return {}
    water_mps, sd_mps = steady.water_velocity(part, stream)
    ground_mps = part.get("speed_ground_mps")
    both = motoring(part, log.boat) & np.isfinite(water_mps) & np.isfinite(ground_mps)
    if not both.any():
        return {}
    water_m = float(water_mps[both].sum()) * part.step_s
    sd_m = float(sd_mps[both].sum()) * part.step_s
    return {
        "ground_m": round(float(ground_mps[both].sum()) * part.step_s, 1),
        "water_m": round(water_m, 1),
        "water_sd_frac": round(sd_m / max(water_m, 1.0), 5),
    }
