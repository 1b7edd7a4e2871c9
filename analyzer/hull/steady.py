"""Steady stretches of motoring: the points that a power curve may learn from.

A minute counts where the motor runs, power and speed hold still, the boat keeps its heading and
the minute before was alike. Minutes of one leg at one setting of the motor are one point: within
them the boat slows in a gust while the power rises, which says nothing of power against speed.
Minutes in which the propeller carries far less than usual for its revolutions (sails help, or a
tow) or far more (towing, weed) are left out where the shaft's speed is known, and minutes in water
so shallow that it holds the boat where the depth is.
"""

from dataclasses import dataclass, replace

import numpy as np

from analyzer.environment.stream import Stream
from analyzer.environment.stream_bins import heading_true
from analyzer.environment.wind import (
    EFFICIENCY,
    any_wind_log_sd,
    extra_n,
    true_wind,
    windage_m2,
)
from analyzer.hull.steady_points import SteadyPoints
from analyzer.series.operating import (
    drive_threshold_w,
    propulsion_power_w,
    settled,
    shaft_rps,
    unaided,
)
from analyzer.series.physics import GRAVITY
from analyzer.series.series import Bools, Floats, Ints, Series
from analyzer.series.steps import whole_steps
from logger.boat import Boat

MINUTE_S = 60.0  # long against a wave, short against a leg; assumed
# One minute's power about the curve, in ln power: waves, gusts, steering; and never better than
# this, however long the stretch. Assumed.
LOG_SD_MINUTE, LOG_SD_FLOOR = 0.08, 0.03
# Shallow water is felt from this depth Froude number on, or this depth over draught; common
# practice, no source.
SHALLOW_FROUDE, SHALLOW_DRAUGHTS = 0.6, 2.0
LEAST_SPEED_MPS = 0.3  # slower says nothing of the hull (assumed)
LEG_DEG, LEG_PAUSE_S = 30.0, 1800.0  # one leg: so alike a course, no longer a break; assumed
SETTING_LOG = 0.15  # one setting of the motor: ln power so near its mean; assumed
ALIKE_LOG = 0.2  # ln power of a minute and the one before; assumed
# Speed through water that is not calibrated: a log's relative error, and what a stream of usual
# size makes ground speed wrong by, m/s. Assumed.
LOG_FRAC_SD, STREAM_SD_MPS = 0.06, 0.4

CHANNELS = (
    "pack_voltage_v",
    "pack_current_a",
    "solar_power_w",
    "hotel_power_w",
    "shore_power_w",
    "speed_ground_mps",
    "course_ground_deg",
    "heading_true_deg",
    "heading_magnetic_deg",
    "variation_deg",
    "speed_water_mps",
    "shaft_speed_rps",
    "motor_speed_rps",
    "controller_voltage_v",
    "controller_current_a",
    "depth_m",
    "wind_speed_true_mps",
    "wind_direction_true_deg",
    "wind_speed_apparent_mps",
    "wind_angle_apparent_deg",
)


def _wind_part_w(series: Series, boat: Boat, water: Floats, heading_rad: Floats) -> Floats:
    """Power that a measured wind adds, shape (n,); 0 where none is measured. [W]"""
    east, north = true_wind(series, np.degrees(heading_rad))
    speed, source = np.hypot(east, north), np.degrees(np.arctan2(-east, -north))
    force = extra_n(windage_m2(boat.hull), speed, source - np.degrees(heading_rad), water)
    return np.nan_to_num(force * water / EFFICIENCY, nan=0.0)


def water_velocity(series: Series, stream: Stream | None) -> tuple[Floats, Floats]:
    """Speed through water and the error its stretch shares, each shape (n,). [m/s]

    The calibrated log where there is one; else ground velocity less the stream; else the log as
    it reads; else, where no stream is given, ground speed with a usual stream as error.
    """
    log, ground = series.get("speed_water_mps"), series.get("speed_ground_mps")
    log_sd = LOG_FRAC_SD * np.abs(log)
    if stream is None:
        known = np.isfinite(log)
        return np.where(known, log, ground), np.where(known, log_sd, STREAM_SD_MPS)
    course = np.radians(series.get("course_ground_deg"))
    east, north, stream_sd = stream.at(series.t_utc_s)
    over = np.hypot(ground * np.sin(course) - east, ground * np.cos(course) - north)
    if stream.calibration.water_factor is None:
        known = np.isfinite(over)
        return np.where(known, over, log), np.where(known, stream_sd, log_sd)
    factor, factor_sd = stream.calibration.water_factor
    log = factor * log
    known = np.isfinite(log)
    return np.where(known, log, over), np.where(known, factor_sd * np.abs(log), stream_sd)


@dataclass(frozen=True)
class _Minutes:
    """Means of whole minutes, (m,) each; `still`: power, speed and heading held in it."""

    power_w: Floats
    speed_mps: Floats
    speed_sd_mps: Floats
    heading_rad: Floats
    shaft_rps: Floats
    t_utc_s: Floats
    still: Bools


def steady(
    series: Series, boat: Boat, stream: Stream | None = None, mask: Bools | None = None
) -> SteadyPoints:
    """Steady motoring found in a stretch of the log.

    Args:
        series: The channels of `CHANNELS`, as far as there.
        boat: Hotel load and rated power.
        stream: Over the same stretch of time; None: ground speed stands in, with a wide error.
        mask: Where it may look, shape (series.n,); None: everywhere.
    Returns:
        The points; none where nothing was steady.
    """
    per = max(round(MINUTE_S / series.step_s), 2)
    if series.n < 2 * per:
        return SteadyPoints.none()
    minutes = _minutes(series, boat, stream, mask, per)
    lasting = _lasting(minutes) & _deep(series, boat, minutes.speed_mps, per)
    counts = unaided(minutes.power_w, minutes.shaft_rps, lasting)
    if not counts.any():
        return SteadyPoints.none()
    points = _points(minutes, counts)
    used = tuple(name for name in CHANNELS if series.has(name))
    heading_deg = heading_true(series)
    measured = bool(np.isfinite(true_wind(series, heading_deg)[0]).any())
    winds = any_wind_log_sd(windage_m2(boat.hull), points.speed_mps, points.power_w)
    return replace(points, used=used, wind_log_sd=None if measured else winds)


def _minutes(
    series: Series, boat: Boat, stream: Stream | None, mask: Bools | None, per: int
) -> _Minutes:
    """The stretch minute by minute, what a measured wind takes out of its power."""
    power = propulsion_power_w(series, boat)
    if mask is not None:
        power = np.where(mask, power, np.nan)
    water, water_sd = water_velocity(series, stream)
    heading = np.radians(heading_true(series))
    course = np.where(np.isfinite(heading), heading, np.radians(series.get("course_ground_deg")))
    wind_w = _wind_part_w(series, boat, water, heading)
    rows = [whole_steps(v, per) for v in (power, water, np.sin(course), np.cos(course))]
    speed = rows[1].mean(axis=1)
    still = settled(*rows) & (rows[0].mean(axis=1) > drive_threshold_w(boat))
    return _Minutes(
        power_w=(rows[0] - whole_steps(wind_w, per)).mean(axis=1),
        speed_mps=speed,
        speed_sd_mps=whole_steps(water_sd, per).mean(axis=1),
        heading_rad=np.arctan2(rows[2].mean(axis=1), rows[3].mean(axis=1)),
        shaft_rps=whole_steps(shaft_rps(series, boat), per).mean(axis=1),
        t_utc_s=whole_steps(series.t_utc_s, per).mean(axis=1),
        still=still & (speed > LEAST_SPEED_MPS),
    )


def _lasting(minutes: _Minutes) -> Bools:
    """Still minutes whose minute before was still too, at nearly the same power."""
    ratio = minutes.power_w[1:] / np.maximum(minutes.power_w[:-1], 1.0)
    alike = np.abs(np.log(np.maximum(ratio, 1e-6))) < ALIKE_LOG
    after = minutes.still[1:] & minutes.still[:-1] & alike
    return np.concatenate([[False], after])


def _deep(series: Series, boat: Boat, speed_mps: Floats, per: int) -> Bools:
    """Minutes in water deep enough not to matter, or of unknown depth; shape (minutes,)."""
    depth = whole_steps(series.get("depth_m"), per).mean(axis=1)
    wave_mps = np.sqrt(GRAVITY * np.maximum(depth, 0.1))
    with np.errstate(invalid="ignore"):
        slow_wave = speed_mps > SHALLOW_FROUDE * wave_mps
        near_ground = depth < SHALLOW_DRAUGHTS * boat.hull.draught_m
    return np.asarray(~(np.isfinite(depth) & (slow_wave | near_ground)))


def _points(minutes: _Minutes, counts: Bools) -> SteadyPoints:
    """One point for each leg and setting among the minutes that count."""
    leg, setting = _legs(minutes, counts)
    number = np.bincount(setting).astype(np.float64)

    def mean(values: Floats) -> Floats:
        return np.asarray(np.bincount(setting, weights=values) / number)

    heading = minutes.heading_rad[counts]
    aim = np.arctan2(mean(np.sin(heading)), mean(np.cos(heading)))
    return SteadyPoints(
        speed_mps=mean(minutes.speed_mps[counts]),
        power_w=np.exp(mean(np.log(np.maximum(minutes.power_w[counts], 1e-3)))),
        log_sd=np.sqrt(LOG_SD_MINUTE**2 / number + LOG_SD_FLOOR**2),
        speed_sd_mps=mean(minutes.speed_sd_mps[counts]),
        duration_s=number * MINUTE_S,
        t_utc_s=mean(minutes.t_utc_s[counts]),
        group=np.asarray(mean(leg.astype(np.float64)), dtype=np.int64),
        heading_deg=np.degrees(aim) % 360.0,
    )


def _legs(minutes: _Minutes, counts: Bools) -> tuple[Ints, Ints]:
    """For each minute that counts its leg and its setting, each shape (count,).

    A leg goes on while course and time allow, a setting while the power stays near its mean.
    """
    legs, settings = [], []
    leg = setting = members = -1
    last, aim, mean_log = -np.inf, 0j, 0.0
    for k in np.flatnonzero(counts):
        along = np.exp(1j * minutes.heading_rad[k])
        turned = abs(np.angle(along * np.conj(aim))) > np.radians(LEG_DEG)
        if turned or MINUTE_S * (k - last) > LEG_PAUSE_S:
            leg, aim, members = leg + 1, 0j, 0
        log_w = float(np.log(max(minutes.power_w[k], 1e-3)))
        if members == 0 or abs(log_w - mean_log) > SETTING_LOG:
            setting, mean_log, members = setting + 1, log_w, 0
        members += 1
        mean_log += (log_w - mean_log) / members
        aim, last = aim + along, float(k)
        legs.append(leg)
        settings.append(setting)
    return np.array(legs, dtype=np.int64), np.array(settings, dtype=np.int64)
