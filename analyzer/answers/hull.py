"""The hull: its power curve, what growth costs, its calibrations, and how good answers were."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar

from analyzer.environment.double_run import STEPS, DoubleRun, calibrate
from analyzer.environment.stream import Calibration
from analyzer.errors import NoTrip
from analyzer.estimation.estimate import Estimate
from analyzer.estimation.results import SCHEMA
from analyzer.estimation.table import Framed
from analyzer.hull import hull, steady
from analyzer.hull.fouling import Fouling, TripLoss, fouling
from analyzer.hull.power_curve import PowerCurve
from analyzer.hull.steady_points import SteadyPoints
from analyzer.learned.charge_history import charge_at
from analyzer.learned.keys import (
    CALIBRATION,
    CHARGE,
    calibration_before,
    points_before,
    revive,
)
from analyzer.pack.counted_back import CountedBack, counted_back
from analyzer.pack.soc import PackPosterior
from analyzer.range.hindcast import Asked, Before, Hindcast, hindcast
from analyzer.range.reach import speeds_for
from analyzer.series.log import OpenLog, pack_channels
from analyzer.trips import trips
from logger.store import TripRecord

__all__ = ["STEPS", "Asked", "Calibration", "DoubleRun", "Fouling", "Hindcast", "TripLoss"]

# So long after a trip a full charge still tells of it: the shunt's offset adds up; assumed.
FULL_WITHIN_US = 3 * 24 * 3600 * 1_000_000
LATELY_US = 45 * 60 * 1_000_000  # of log, that double runs are looked for in; assumed


@dataclass(frozen=True)
class CurveRow:
    """One speed of the power curve. seen: measured there, not only predicted by the hull."""

    speed_water_mps: float
    power: Estimate
    prior: Estimate
    seen: bool


@dataclass(frozen=True)
class HullAnswer(Framed):
    """What the hull asks for."""

    ROWS: ClassVar[str] = "curve"

    boat: str
    curve: tuple[CurveRow, ...]
    minutes: float
    reason: str
    fouling: Fouling
    calibration: Calibration | None
    asked_utc_s: float | None = None  # the newest reading, which it speaks of
    data_age_s: float | None = None
    schema: int = SCHEMA


@dataclass(frozen=True)
class HindcastAnswer:
    """One trip's answers against what happened."""

    trip: int
    start_utc_s: float
    hindcast: Hindcast
    schema: int = SCHEMA


def hull_state(log: OpenLog) -> HullAnswer:
    """Power against speed from all trips, and the trend between them."""
    prior = hull.prior(log.boat)
    parts = points_before(log, None)
    curve = hull.fit(SteadyPoints.join(parts), prior)
    return HullAnswer(
        boat=log.boat.name,
        curve=tuple(
            _row(curve, prior, float(v))
            for v in speeds_for(curve, log.boat.motor.rated_power_w, 12)
        ),
        minutes=curve.minutes,
        reason=curve.reason,
        fouling=fouling(parts, prior),
        calibration=calibration_before(log, None),
    )


def _row(curve: PowerCurve, prior: PowerCurve, speed: float) -> CurveRow:
    return CurveRow(speed, curve.power_w(speed), prior.power_w(speed), curve.seen(speed))


def hindcast_trip(
    log: OpenLog,
    record: TripRecord,
    every_s: float = 300.0,
    progress: Callable[[float], None] | None = None,
) -> HindcastAnswer:
    """Asks "how far" all through a recorded trip and holds the answers against what happened."""
    names = (*steady.CHANNELS, *trips.TRIP_CHANNELS, *pack_channels(log.boat))
    series = log.load(tuple(dict.fromkeys(names)), record.start_us, record.end_us)
    if not series.has("pack_current_a", "pack_voltage_v", "speed_ground_mps"):
        raise NoTrip(
            f"trip {record.number} has not the pack's voltage and current and the speed over "
            "ground, which the answers rest on"
        )
    before = Before(
        charge=charge_at(log, record.start_us),
        points=SteadyPoints.join(points_before(log, record.start_us)),
        calibration=calibration_before(log, record.start_us),
        after=_charge_by_full(log, record),
    )
    found = hindcast(series, log.boat, before, every_s, progress)
    return HindcastAnswer(record.number, record.start_us / 1e6, found)


def _charge_by_full(log: OpenLog, record: TripRecord) -> CountedBack | None:
    """The trip's charge as the next full charge tells it; None where none followed in days."""
    at_full = _next_full(log, record)
    if at_full is None or at_full.full_us is None:
        return None
    series = log.load(pack_channels(log.boat), record.start_us, at_full.full_us)
    return counted_back(series, log.boat.pack, at_full)


def _next_full(log: OpenLog, record: TripRecord) -> PackPosterior | None:
    """What was known of the pack at the next full charge; None where none followed in days."""
    kept = [revive(PackPosterior.from_dict, k.value) for k in log.store.learned(CHARGE)]
    later = [k for k in kept if k is not None and (k.full_us or 0) > record.end_us]
    at_full = min(later, key=lambda k: k.full_us or 0, default=None)
    if at_full is None or at_full.full_us is None:
        return None
    return at_full if at_full.full_us - record.end_us <= FULL_WITHIN_US else None


def charge_by_full_is_there(log: OpenLog, record: TripRecord) -> bool:
    """Whether a full charge soon after a trip tells its charge."""
    return _next_full(log, record) is not None


def double_run(log: OpenLog) -> DoubleRun:
    """The double run in the last three quarters of an hour of the log."""
    span = log.store.span()
    end_us = span[1] + 1 if span else 0
    names = (*steady.CHANNELS, "shaft_speed_rps")
    series = log.load(tuple(dict.fromkeys(names)), max(end_us - LATELY_US, 0), end_us)
    found = calibrate(series)
    _keep(log, found, end_us)
    return found


def _keep(log: OpenLog, found: DoubleRun, end_us: int) -> None:
    """A finished double run's calibration is kept for the streams to come."""
    if found.speed_water_mps is None or not log.store.writable:
        return
    old = calibration_before(log, None) or Calibration()
    new = Calibration(
        water_factor=found.water_factor or old.water_factor,
        advance_m=found.advance_m or old.advance_m,
        compass_error_deg=old.compass_error_deg,
    )
    log.store.put_learned(CALIBRATION, new.to_dict(), end_us - LATELY_US, end_us)
