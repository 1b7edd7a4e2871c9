"""Trips and legs: motoring, sailing, charging, lying still; their distances and energies.

A trip is an outing: motoring and sailing with what lies between. Nothing is invented for a gap:
it has no distance and no energy.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.estimation.results import LegRow, TripRow
from analyzer.series.operating import first_finite, motoring, propulsion_power_w, rest_a
from analyzer.series.series import Floats, Series
from analyzer.series.steps import Steps, moving_sum, readings_per_step
from logger.boat import Boat
from logger.units import HOUR_S

TRIP_CHANNELS = (
    "pack_voltage_v",
    "pack_current_a",
    "controller_voltage_v",
    "controller_current_a",
    "hotel_power_w",
    "shore_power_w",
    "solar_power_w",
    "shaft_speed_rps",
    "motor_speed_rps",
    "speed_ground_mps",
    "speed_water_mps",
    "latitude_deg",
    "longitude_deg",
)
KINDS = ("motoring", "sailing", "charging", "lying")
UNKNOWN = -1  # by definition: beside the indices of KINDS
MOVING_MPS = 0.6  # above a GPS receiver's wander at a mooring (common practice, no source)
# A label is the commonest within so long; a leg lasts so long at least; lying still for longer
# ends a trip; less under way is none. Assumed.
SMOOTH_S, SHORT_LEG_S, PAUSE_S, SHORTEST_TRIP_S = 60.0, 120.0, 1800.0, 300.0

SIGN_S = 60.0  # over which it is told whether the pack gives or takes; assumed
Labels = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Leg:
    """A stretch doing one thing; `kind` is one of `KINDS`, times on the log's timeline. [µs]"""

    kind: str
    start_us: int
    end_us: int


@dataclass(frozen=True)
class Trip:
    """An outing; times on the log's timeline. [µs]"""

    start_us: int
    end_us: int
    legs: tuple[Leg, ...]


def find(series: Series, boat: Boat) -> list[Trip]:
    """The trips in a stretch of log, in time order.

    Args:
        series: Holds what it can of `TRIP_CHANNELS`.
        boat: The motor's and the hotel load's numbers tell motoring from lying.
    """
    labels = _merge_short(_smooth(label(series, boat), series.step_s), series.step_s)
    runs = _runs(labels)
    trips = []
    for first, last in _outings(runs, series.step_s):
        legs = tuple(
            Leg(KINDS[kind], _at(series, a), _at(series, b))
            for kind, a, b in runs[first : last + 1]
            if kind != UNKNOWN
        )
        trips.append(Trip(legs[0].start_us, legs[-1].end_us, legs))
    return trips


def label(series: Series, boat: Boat) -> Labels:
    """What the boat does at each grid time: an index of `KINDS`, or -1 where nothing is known."""
    motor_w = propulsion_power_w(series, boat)
    speed = ground_or_water_mps(series)
    current = series.get("pack_current_a")
    charging = (current < -rest_a(boat.pack)) | (series.get("shore_power_w") > 10.0)
    known = np.isfinite(motor_w) | np.isfinite(speed) | np.isfinite(current)
    conditions = [~known, motoring(series, boat), speed > MOVING_MPS, charging]
    return np.select(conditions, [UNKNOWN, 0, 1, 2], 3).astype(np.int64)


def ground_or_water_mps(series: Series) -> Floats:
    """Speed over ground, else through the water. [m/s] shape (n,)"""
    return first_finite(series, ("speed_ground_mps", "speed_water_mps"))


def distance_m(series: Series) -> float | None:
    """Distance over ground: speed integrated, else positions joined; None where neither is there.

    A stretch without readings adds nothing.
    """
    speed = series.get("speed_ground_mps")
    moving = np.isfinite(speed)
    if moving.sum() * series.step_s >= 10.0 and moving.mean() > 0.2:
        return float(np.sum(speed[moving]) * series.step_s)
    if series.has("latitude_deg", "longitude_deg"):
        return track_m(series)
    return None


def track_m(series: Series, every_s: float = 20.0, gap_s: float = 120.0) -> float:
    """Length of the track by positions, as geodesics on WGS 84. [m]

    Args:
        every_s: Fixes are thinned to this, so that a receiver's noise adds little.
        gap_s: Fixes further apart in time than this are not joined.
    """
    from geographiclib.geodesic import Geodesic

    lat, lon = series.get("latitude_deg"), series.get("longitude_deg")
    have = np.flatnonzero(np.isfinite(lat) & np.isfinite(lon))
    total, last = 0.0, None
    for k in have:
        if last is not None:
            apart_s = (k - last) * series.step_s
            if apart_s < every_s:
                continue
            if apart_s <= gap_s:
                line = Geodesic.WGS84.Inverse(
                    lat[last], lon[last], lat[k], lon[k], Geodesic.DISTANCE
                )
                total += line["s12"]
        last = k
    return total


def energy_wh(series: Series) -> tuple[float, float] | None:
    """Energy out of and into the pack, both positive; gaps add nothing. [Wh] None: never read

    By the sign of each minute's mean: a meter's noise is neither drawn nor put back.
    """
    power_w = _pack_power_w(series)
    if not np.isfinite(power_w).any():
        return None
    steps = Steps.of(series.n, series.step_s, readings_per_step(SIGN_S, series.step_s))
    wh = steps.total(np.nan_to_num(power_w)) * series.step_s / HOUR_S
    return float(wh[wh > 0].sum()), float(-wh[wh < 0].sum())


def _pack_power_w(series: Series) -> Floats:
    volts = first_finite(series, ("pack_voltage_v", "controller_voltage_v"))
    return np.asarray(volts * series.get("pack_current_a"))


def unseen_s(series: Series) -> tuple[float, float]:
    """Time with no reading at all, and time besides without the pack's power. [s]"""
    read = np.zeros(series.n, dtype=bool)
    for name in TRIP_CHANNELS:
        read |= np.isfinite(series.get(name))
    unread = read & ~np.isfinite(_pack_power_w(series))
    return float((~read).sum() * series.step_s), float(unread.sum() * series.step_s)


def between(series: Series, start_us: int, end_us: int) -> Series:
    """The part of a series from one time of the timeline to another. [µs]"""
    step_us = series.step_s * 1e6
    return series.cut(
        round((start_us - series.t0_us) / step_us), round((end_us - series.t0_us) / step_us)
    )


def leg_row(series: Series, leg: Leg) -> LegRow:
    """One leg as people see it."""
    part = between(series, leg.start_us, leg.end_us)
    energy = energy_wh(part)
    net = None if energy is None else energy[0] - energy[1]
    speed = ground_or_water_mps(part)
    mean = float(np.nanmean(speed)) if np.isfinite(speed).any() else None
    return LegRow(leg.kind, leg.start_us / 1e6, leg.end_us / 1e6, distance_m(part), net, mean)


def trip_row(
    series: Series,
    trip: Trip,
    number: int,
    charge_start: Estimate | None = None,
    charge_end: Estimate | None = None,
    doubt: str = "",
) -> TripRow:
    """One trip as people see it. The charge at both ends is the caller's, if known.

    doubt: Why its energy cannot be said; empty where it can.
    """
    unknown = cannot_say("the charge was not tracked", "frac")
    part = between(series, trip.start_us, trip.end_us)
    legs = tuple(leg_row(series, leg) for leg in trip.legs)
    if doubt:
        legs = tuple(replace(leg, energy_wh=None) for leg in legs)
    counted = None if doubt else energy_wh(part)
    out, into = counted or (None, None)
    unrecorded_s, unread_s = unseen_s(part)
    return TripRow(
        number,
        trip.start_us / 1e6,
        trip.end_us / 1e6,
        distance_m(part),
        out,
        into,
        _consumption_wh_per_m(legs),
        charge_start or unknown,
        charge_end or unknown,
        legs,
        unrecorded_s=unrecorded_s,
        unread_s=unread_s,
        energy_reason=doubt,
    )


def _consumption_wh_per_m(legs: tuple[LegRow, ...]) -> float | None:
    both = [(g.energy_wh, g.distance_m) for g in legs if g.kind == "motoring"]
    known = [(wh, metres) for wh, metres in both if wh is not None and metres is not None]
    metres = sum(metres for _, metres in known)
    return sum(wh for wh, _ in known) / metres if metres > 50.0 else None


def _smooth(labels: Labels, step_s: float) -> Labels:
    """The commonest known label in a window around each time; unknown where all are unknown."""
    half = max(int(SMOOTH_S / step_s / 2), 0)
    if not half or not len(labels):
        return labels
    votes = np.stack([moving_sum(labels == kind, half) for kind in range(len(KINDS))])
    return np.where(votes.max(axis=0) > 0, votes.argmax(axis=0), UNKNOWN).astype(np.int64)


def _runs(labels: Labels) -> list[tuple[int, int, int]]:
    """Stretches of one label: (label, first, after last)."""
    if not len(labels):
        return []
    edge = np.flatnonzero(np.diff(labels)) + 1
    starts = np.concatenate([[0], edge])
    ends = np.concatenate([edge, [len(labels)]])
    return [(int(labels[a]), int(a), int(b)) for a, b in zip(starts, ends, strict=True)]


def _merge_short(labels: Labels, step_s: float) -> Labels:
    """Stretches shorter than `SHORT_LEG_S` join the longer neighbour, shortest first."""
    labels = labels.copy()
    while True:
        runs = _runs(labels)
        short = [r for r in runs if (r[2] - r[1]) * step_s < SHORT_LEG_S]
        if not short or len(runs) < 2:
            return labels
        run = min(short, key=lambda r: r[2] - r[1])
        at = runs.index(run)
        near = [runs[k] for k in (at - 1, at + 1) if 0 <= k < len(runs)]
        labels[run[1] : run[2]] = max(near, key=lambda r: r[2] - r[1])[0]


def _outings(runs: list[tuple[int, int, int]], step_s: float) -> list[tuple[int, int]]:
    """First and last run of each trip: motoring and sailing with pauses up to `PAUSE_S`."""
    groups: list[list[int]] = []
    for k, (kind, start, _) in enumerate(runs):
        if kind not in (0, 1):
            continue
        if groups and (start - runs[groups[-1][-1]][2]) * step_s <= PAUSE_S:
            groups[-1].append(k)
        else:
            groups.append([k])
    active = [sum(runs[k][2] - runs[k][1] for k in g) * step_s for g in groups]
    return [(g[0], g[-1]) for g, s in zip(groups, active, strict=True) if s >= SHORTEST_TRIP_S]


def _at(series: Series, index: int) -> int:
    return series.t0_us + round(index * series.step_s * 1e6)
