"""What a log says of its newest moment: charge, power curve, stream, the weakest cell, the loads.

Worked out once by `refresh` and kept; a question asked of newer readings works it out again.
"""

from dataclasses import asdict, dataclass, replace
from hashlib import sha256
from typing import Any

import numpy as np

from analyzer.answers.grounded import NO_STREAM, believed, charge_of, standings
from analyzer.cells.weak_cell import WeakCell
from analyzer.environment.solar import unmeasured_sun_w
from analyzer.environment.stream import Stream
from analyzer.environment.stream_bins import heading_true
from analyzer.environment.wind import Wind, lately
from analyzer.estimation.ground import Ground, is_contradicted
from analyzer.flags import monitor as watch
from analyzer.hull import hull, steady
from analyzer.hull.power_curve import PowerCurve
from analyzer.hull.steady_points import SteadyPoints
from analyzer.learned import cell_history
from analyzer.learned.charge_history import charge_at
from analyzer.learned.keys import HERE, HOTEL, STEADY, revive, stream_before
from analyzer.pack.soc import PackPosterior
from analyzer.range import inputs
from analyzer.range.hotel import AtRest, at_rest
from analyzer.range.monte_carlo import Now
from analyzer.range.thermal_limit import Warmth, warmths
from analyzer.series import bridges
from analyzer.series.log import OpenLog, pack_channels
from analyzer.series.operating import first_finite
from analyzer.series.series import Series
from analyzer.trips import trips
from logger.boat import Boat
from logger.units import UNDATED_S

FRESH_US = 30 * 60 * 1_000_000  # a trip that ended longer ago is over; assumed
AT_REST_US = 3 * 3600 * 1_000_000  # of log looked at where no trip goes on; assumed


@dataclass(frozen=True)
class Here:
    """The newest moment; every part can be written as JSON.

    Args:
        charge: None where the pack's current or voltage is not measured.
        curve: Propulsion power against speed through water.
        stream: Set and drift.
        weakest: A cell found behind the others.
        present: Steady motoring now; None otherwise.
        doing: What the motor does, in words.
        hotel_w, solar_w: (mean, sd) [W]
        power_w: From the pack, mean of the last minute; of the last seconds while the throttle is
            moved. [W]
        course_deg: Over ground, held under motor.
        throttle_w: Into the drive, mean of the last seconds; None where the motor is off. [W]
        before: The steady operating point until the throttle was moved, on this course.
        speed_ground_mps: Of the last seconds; None where it is not measured.
        used: Channels it rests on.
        wind: True wind of the last twenty minutes, where a sensor says.
        warmths: Of motor and controller, where limit and temperature are known.
        grounds: How every input stands; not kept, but decided anew.
    """

    charge: PackPosterior | None
    curve: PowerCurve
    stream: Stream
    weakest: WeakCell | None
    present: Now | None
    hotel_w: tuple[float, float]
    solar_w: tuple[float, float]
    power_w: float | None
    used: tuple[str, ...]
    wind: Wind | None = None
    warmths: tuple[Warmth, ...] = ()
    doing: str = ""
    grounds: tuple[Ground, ...] = ()
    throttle_w: float | None = None
    course_deg: float | None = None
    before: Now | None = None
    speed_ground_mps: float | None = None

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers, strings, lists and dicts."""
        return {
            "charge": self.charge.to_dict() if self.charge else None,
            "curve": self.curve.to_dict(),
            "stream": self.stream.to_dict(),
            "weakest": asdict(self.weakest) if self.weakest else None,
            "present": asdict(self.present) if self.present else None,
            "hotel_w": list(self.hotel_w),
            "solar_w": list(self.solar_w),
            "power_w": self.power_w,
            "used": list(self.used),
            "wind": asdict(self.wind) if self.wind else None,
            "warmths": [asdict(warmth) for warmth in self.warmths],
            "doing": self.doing,
            "throttle_w": self.throttle_w,
            "course_deg": self.course_deg,
            "before": asdict(self.before) if self.before else None,
            "speed_ground_mps": self.speed_ground_mps,
        }

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> "Here":
        """The inverse of `to_dict`."""
        return cls(
            charge=PackPosterior.from_dict(data["charge"]) if data["charge"] else None,
            curve=PowerCurve.from_dict(data["curve"]),
            stream=Stream.from_dict(data["stream"]),
            weakest=WeakCell.from_dict(data["weakest"]) if data["weakest"] else None,
            present=Now(**data["present"]) if data["present"] else None,
            hotel_w=(data["hotel_w"][0], data["hotel_w"][1]),
            solar_w=(data["solar_w"][0], data["solar_w"][1]),
            power_w=data["power_w"],
            used=tuple(data["used"]),
            wind=Wind(**data["wind"]) if data["wind"] else None,
            warmths=tuple(_warmth(one) for one in data["warmths"]),
            doing=str(data["doing"]),
            throttle_w=data["throttle_w"],
            course_deg=data["course_deg"],
            before=Now(**data["before"]) if data["before"] else None,
            speed_ground_mps=data["speed_ground_mps"],
        )


def _warmth(data: dict[str, Any]) -> Warmth:
    """A warmth as JSON gives it back: lists for tuples."""
    cov = tuple(tuple(row) for row in data["cov"])
    return Warmth(**{**data, "mean": tuple(data["mean"]), "cov": cov})


def here_now(log: OpenLog, end_us: int) -> Here:
    """The log's newest moment: as kept if nothing came since, else worked out. [µs]"""
    kept = log.store.learned(HERE)
    value = kept[-1].value if kept and kept[-1].to_us == end_us else {}
    fresh = value.get("boat") == numbers(log.boat)
    found = revive(Here.from_dict, value) if fresh else None
    if not found:
        return look(log, end_us)
    rows = standings(log, end_us)
    return replace(found, charge=_charge(log, end_us, rows), grounds=rows)


def keep_here(log: OpenLog, from_us: int, end_us: int) -> None:
    """Works out the log's newest moment and keeps it, with the boat's numbers it rests on. [µs]"""
    here = replace(look(log, end_us), charge=None)  # that is kept by itself
    value = {**here.to_dict(), "boat": numbers(log.boat)}
    log.store.put_learned(HERE, value, from_us, end_us)


def numbers(boat: Boat) -> str:
    """A digest of what the boat file says."""
    return sha256(boat.model_dump_json().encode()).hexdigest()[:16]


def look(log: OpenLog, end_us: int) -> Here:
    """Works out the moment that ends at a time of the timeline. [µs]"""
    known = log.store.trips()
    going = bool(known) and end_us - known[-1].end_us < FRESH_US
    start_us = known[-1].start_us if going else max(end_us - AT_REST_US, 0)
    return between(log, start_us, end_us)


def between(log: OpenLog, start_us: int, end_us: int) -> Here:
    """Works out the moment that ends a stretch, from the stretch and what was kept before. [µs]"""
    names = (*pack_channels(log.boat), *steady.CHANNELS, *trips.TRIP_CHANNELS)
    names += (*watch.channels(log.boat), *bridges.CHANNELS)
    series = log.load(tuple(dict.fromkeys(names)), start_us, end_us)
    series = bridges.pack_current(series, log.boat).series
    rows = standings(log, end_us)
    series = believed(series, rows)
    stream = stream_before(log, series)
    if is_contradicted(rows, "speed over ground"):
        stream = replace(stream, reason=NO_STREAM)
    present = inputs.now(series, log.boat)
    throttle_w = inputs.throttle_w(series, log.boat)
    moved = present is None and throttle_w is not None
    charge = _charge(log, end_us, rows)
    return Here(
        charge=charge,
        curve=_curve(log, series, stream),
        stream=stream,
        weakest=cell_history.followed(log, end_us).weakest(),
        present=present,
        hotel_w=inputs.hotel_w(series, log.boat, _at_rest(log, series, charge)),
        solar_w=_solar_w(log, series, end_us),
        power_w=_power_w(series, present is not None or throttle_w is None),
        used=_used(series),
        wind=lately(series, heading_true(series)),
        warmths=warmths(series, log.boat),
        doing=inputs.doing(series, log.boat),
        grounds=rows,
        throttle_w=throttle_w,
        course_deg=inputs.straight_course_deg(series) if throttle_w is not None else None,
        before=inputs.before_step(series, log.boat) if moved else None,
        speed_ground_mps=inputs.moving_mps(series),
    )


def _at_rest(log: OpenLog, series: Series, charge: PackPosterior | None) -> AtRest | None:
    """The load with the motor off, on this trip or the newest of those before it."""
    found = at_rest(series, log.boat, charge)
    if found is not None:
        return found
    kept = [k for k in log.store.learned(HOTEL) if k.to_us <= series.t0_us]
    return revive(AtRest.from_dict, kept[-1].value) if kept else None


def _solar_w(log: OpenLog, series: Series, end_us: int) -> tuple[float, float]:
    """The panels' power as measured lately, else as the sun's height allows. (mean, sd) [W]"""
    if series.has("solar_power_w"):
        return inputs.mean_sd(series, "solar_power_w")
    lat = log.store.last("latitude_deg")
    lon = log.store.last("longitude_deg")
    place = (lat[1], lon[1]) if lat and lon else None
    end_s = end_us / 1e6
    utc_s = end_s if end_s > UNDATED_S else None
    return unmeasured_sun_w(log.boat.solar.peak_w, place, utc_s)


def _charge(log: OpenLog, end_us: int, rows: tuple[Ground, ...]) -> PackPosterior | None:
    charge = charge_of(log, charge_at(log, end_us), rows, end_us)
    return charge if charge and np.isfinite(charge.soc) else None


def _curve(log: OpenLog, series: Series, stream: Stream) -> PowerCurve:
    """The power curve by the hull's numbers, earlier trips and this stretch."""
    kept = [k for k in log.store.learned(STEADY) if k.from_us < series.t0_us]
    earlier = [revive(SteadyPoints.from_dict, k.value) for k in kept]
    known = [points for points in earlier if points is not None]
    points = SteadyPoints.join([*known, steady.steady(series, log.boat, stream)])
    return hull.fit(points, hull.prior(log.boat))


def _power_w(series: Series, steady: bool) -> float | None:
    last_s = inputs.SHORT_NOW_S if steady else inputs.THROTTLE_S
    size = round(last_s / series.step_s)
    last = series.cut(series.n - size, series.n)
    volts = first_finite(last, ("pack_voltage_v", "controller_voltage_v"))
    power_w = volts * last.get("pack_current_a")
    known = np.isfinite(power_w)
    if not known.any():
        return None
    return float(power_w[known].mean())


def _used(series: Series) -> tuple[str, ...]:
    names = ("pack_current_a", "pack_voltage_v", "pack_temp_c", *steady.CHANNELS)
    return tuple(n for n in dict.fromkeys(names) if series.has(n))
