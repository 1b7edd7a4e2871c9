"""What a trip's charts show beside its channels: worked out on the trip's own one-second clock.

power_w             from the pack
cells_low_v, cells_high_v, cells_lowest_v   off the mean of all; the last is the cell that is
                    lowest on the whole
rest_v, sag_<term>_v   the voltage the pack began with, and the volts below it, term by term
settles_<cable>_c   where a probe's place would settle at the current of the last two minutes
"""

from dataclasses import dataclass

import numpy as np

from analyzer.answers.snapshot import between
from analyzer.estimation.estimate import Estimate
from analyzer.estimation.results import Plot
from analyzer.flags import monitor as watch
from analyzer.learned.cable_history import wanted
from analyzer.learned.charge_history import follow
from analyzer.learned.kept_trips import find_trip
from analyzer.range.inputs import RangeInputs
from analyzer.range.reach import middle, reach, toward
from analyzer.series.decimate import thinned
from analyzer.series.log import OpenLog, cell_channels, pack_channels
from analyzer.series.operating import pack_power_w
from analyzer.series.series import Floats, Series, load
from analyzer.thermal.cables import CableGroup
from analyzer.trips import sag
from analyzer.trips import trips as outings

# Of one trip: twelve hours of seconds, so that a long passage fits memory; assumed.
MOST_STEPS = 43_200
SETTLE_STEPS = 3  # of ten seconds: the settled temperature moves no faster; assumed
AROUND_DEG = 15.0  # assumed
SAG_TERMS = (
    ("charge_used_v", "charge used"),
    ("ohmic_25_v", "resistance"),
    ("polar_25_v", "polarisation"),
    ("cold_v", "cold"),
    ("weak_v", "weak cells"),
    ("cables_v", "cables and contactor"),
    ("unexplained_v", "unexplained"),
)


@dataclass(frozen=True)
class TripSeries:
    """A trip's channels and what is worked out from them, all on one clock.

    lowest: name of the cell's channel that is lowest on the whole; empty where none is measured.
    probes: channel of a probe -> channel of where its place would settle.
    """

    series: Series
    lowest: str
    probes: dict[str, str]


@dataclass(frozen=True)
class TripPlot:
    """Thinned for drawing; otherwise as `TripSeries`."""

    plot: Plot
    lowest: str
    probes: dict[str, str]


def trip_plot(
    trip: TripSeries, points: int, start_s: float | None = None, end_s: float | None = None
) -> TripPlot:
    """A stretch of a trip, thinned so that peaks stay.

    Args:
        points: At most so many times.
        start_s, end_s: Seconds since 1970; None: the trip's own ends.
    """
    whole = trip.series
    began_s = whole.t0_us / 1e6
    first = 0
    last = whole.n
    if start_s is not None:
        first = int((start_s - began_s) / whole.step_s)
    if end_s is not None:
        last = int((end_s - began_s) / whole.step_s) + 1
    part = whole.cut(first, last)
    means = [name for name in part.values if name.startswith(("sag_", "settles_", "rest_"))]
    return TripPlot(thinned(part, points, means), trip.lowest, trip.probes)


def trip_series(
    log: OpenLog, number: int | None, names: tuple[str, ...], deep: bool = True
) -> TripSeries:
    """Channels of a trip, and what its charts show beside them.

    Args:
        deep: Also cells, sag and settled temperatures; else the power alone.
    Raises:
        NoTrip: There is no such trip.
    """
    record = find_trip(log, number)
    wants = [*names, "pack_voltage_v", "pack_current_a"]
    if deep:
        wants += [*watch.channels(log.boat), *outings.TRIP_CHANNELS, *pack_channels(log.boat)]
    seconds = (record.end_us - record.start_us) / 1e6
    step_s = float(max(np.ceil(seconds / MOST_STEPS), 1.0))
    series = load(log.store, dict.fromkeys(wants), record.start_us, record.end_us, step_s)
    found = {name: series.values[name] for name in names if name in series.values}
    if series.has("pack_voltage_v", "pack_current_a"):
        found["power_w"] = pack_power_w(series)
    lowest = ""
    probes: dict[str, str] = {}
    if deep:
        cells, lowest = _cells(log, series)
        settles, probes = _settles(log, series)
        found |= cells | _sag(log, series) | settles
    shown = Series(series.t0_us, series.step_s, series.n, found)
    return TripSeries(shown, lowest, probes)


def _cells(log: OpenLog, series: Series) -> tuple[dict[str, Floats], str]:
    """The fan of cells, or of blocks where cells are not measured. [V off their mean]"""
    held = [n for n in cell_channels(log.boat) if series.has(n)]
    kinds = [[n for n in held if n.startswith(kind)] for kind in ("cell_", "block_")]
    names = next((names for names in kinds if len(names) > 1), [])
    if not names:
        return {}, ""
    off = np.stack([series.get(n) for n in names])
    off = off - off.mean(axis=0)
    seen = np.isfinite(off).all(axis=0)
    if not seen.any():
        return {}, ""
    means = off[:, seen].mean(axis=1)
    lowest = int(means.argmin())
    fan = {"cells_low_v": off.min(axis=0), "cells_high_v": off.max(axis=0)}
    return fan | {"cells_lowest_v": off[lowest]}, names[lowest]


def _sag(log: OpenLog, series: Series) -> dict[str, Floats]:
    """The account of volts at each time; a term that is not measured is zero."""
    charge = follow(log, series)
    if charge is None or not series.has("pack_voltage_v"):
        return {}
    parts = sag.parts(series, charge, log.boat)
    known = np.isfinite(parts.unexplained_v)
    if not known.any():
        return {}
    found = {"rest_v": np.where(known, parts.rest_v, np.nan)}
    for name, _ in SAG_TERMS:
        volts = np.nan_to_num(getattr(parts, name))
        found[f"sag_{name}"] = np.where(known, volts, np.nan)
    return found


def _settles(log: OpenLog, series: Series) -> tuple[dict[str, Floats], dict[str, str]]:
    """Where each probe's place would settle, as it was predicted at each moment. [°C]"""
    probed = [cable for cable in log.boat.cable if cable.probe]
    if not probed:
        return {}, {}
    names = [name for name in wanted(log.boat) if name in series.values]
    channels = {name: series.get(name) for name in names}
    given = Series(series.t0_us, series.step_s, series.n, channels)
    found = {f"settles_{cable.name}_c": np.full(series.n, np.nan) for cable in probed}
    group = CableGroup(log.boat.cable)
    per = max(round(10.0 * SETTLE_STEPS / series.step_s), 1)
    for start in range(0, series.n, per):
        group.update(given.cut(start, start + per))
        for monitor in group.monitors:
            if monitor.cable.probe:
                row = found[f"settles_{monitor.cable.name}_c"]
                row[start + per : start + 2 * per] = monitor.settles_c()
    known = {name: values for name, values in found.items() if np.isfinite(values).any()}
    probes = {f"probe_{c.probe}_temp_c": f"settles_{c.name}_c" for c in probed}
    return known, {probe: name for probe, name in probes.items() if name in known}


@dataclass(frozen=True)
class Around:
    """How far the boat could go from where a trip ended, course by course.

    speed_water_mps: At which speed. rows: course over ground [deg] and distance [m].
    """

    latitude_deg: float
    longitude_deg: float
    speed_water_mps: float
    rows: tuple[tuple[float, Estimate], ...]


def around(log: OpenLog, number: int | None) -> Around | None:
    """The reach in every direction from where a trip ended, at the speed the boat then made.

    Returns:
        None where charge or position is not known.
    Raises:
        NoTrip: There is no such trip.
    """
    record = find_trip(log, number)
    place = log.load(("latitude_deg", "longitude_deg"), record.start_us, record.end_us)
    latitude_deg = place.get("latitude_deg")
    longitude_deg = place.get("longitude_deg")
    have = np.isfinite(latitude_deg) & np.isfinite(longitude_deg)
    here = between(log, record.start_us, record.end_us)
    if here.charge is None or not have.any():
        return None
    last = int(np.flatnonzero(have)[-1])
    known = RangeInputs.from_snapshot(log.boat, here, warmths=())
    given = known.question(n=500)
    k = given.as_now
    if k is None:
        k = reach(given).best() or 0
    speed = float(given.speeds_mps[k])
    rows = []
    for course in np.arange(0.0, 360.0, AROUND_DEG).tolist():
        asked = known.question(course, np.array([speed]), n=500)
        found = reach(toward(asked, course))
        distance = middle(found.distance_m[:, 0], "m")
        rows.append((course, distance))
    return Around(
        float(latitude_deg[last]),
        float(longitude_deg[last]),
        speed,
        tuple(rows),
    )
