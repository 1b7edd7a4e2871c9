"""Steady stretches of motoring: the points that a power curve may learn from.

A minute counts where the motor runs, power and speed hold still, the boat keeps its heading and
the minute before was alike. Minutes of one leg at one setting of the motor are one point: within
them the boat slows in a gust while the power rises, which says nothing of power against speed.
Minutes in which the propeller carries far less than usual for its
revolutions (sails help, or a tow) or far more (towing, weed) are left out where the shaft's speed
is known, and minutes in water so shallow that it holds the boat where the depth is.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from analyzer.environment.stream import Stream
from analyzer.environment.stream_fit import heading_true
from analyzer.environment.wind import (
    EFFICIENCY,
    any_wind_log_sd,
    extra_n,
    true_wind,
    windage_m2,
)
from analyzer.series.operating import (
    drive_threshold_w,
    propulsion_power_w,
    settled,
    shaft_rps,
    unaided,
)
from analyzer.series.physics import GRAVITY
from analyzer.series.series import Series
from analyzer.series.steps import whole_steps
from logger.boat import Boat

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

MINUTE_S = 60.0
LOG_SD_MINUTE = 0.08  # waves, gusts, steering: one minute's power about the curve
LOG_SD_FLOOR = 0.03  # never better, however long the stretch
SHALLOW_FROUDE = 0.6
LEAST_SPEED_MPS = 0.3  # slower says nothing of the hull (assumed)
SPEED_BIN_MPS = 0.1
LEG_LOG_SD = 0.12  # wind and sea of one leg, in ln power
LEG_DEG, LEG_PAUSE_S = 30.0, 1800.0  # one leg: so alike a course, and no longer a break
SETTING_LOG = 0.15  # one setting of the motor: ln power so near its mean

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


@dataclass(frozen=True)
class SteadyPoints:
    """Steady motoring, one point per leg and setting; every array has shape (n,).

    speed_mps: through water. power_w: from the pack for propulsion, hotel and sun removed.
    log_sd: relative error of its own. speed_sd_mps: error of speed shared by a group.
    group: which leg. duration_s: time behind it. t_utc_s: its middle. wind_log_sd: what a wind
    not measured may have done to ln power, shared by a group; None: nothing. heading_deg: NaN or
    None where it is not known.
    """

    speed_mps: Floats
    power_w: Floats
    log_sd: Floats
    speed_sd_mps: Floats
    duration_s: Floats
    t_utc_s: Floats
    group: npt.NDArray[np.int64]
    used: tuple[str, ...] = ()
    wind_log_sd: Floats | None = None
    heading_deg: Floats | None = None

    @property
    def headings(self) -> Floats:
        """`heading_deg`, NaN for None."""
        unknown = np.full(len(self.speed_mps), np.nan)
        return unknown if self.heading_deg is None else self.heading_deg

    @property
    def winds(self) -> Floats:
        """`wind_log_sd`, zeros for None."""
        return np.zeros(len(self.speed_mps)) if self.wind_log_sd is None else self.wind_log_sd

    @classmethod
    def none(cls) -> "SteadyPoints":
        """No points."""
        empty = np.zeros(0)
        return cls(empty, empty, empty, empty, empty, empty, np.zeros(0, dtype=np.int64))

    @classmethod
    def join(cls, parts: Sequence["SteadyPoints"]) -> "SteadyPoints":
        """Several trips' points as one set; groups stay apart."""
        parts = [p for p in parts if len(p.speed_mps)]
        if not parts:
            return cls.none()
        names = ("speed_mps", "power_w", "log_sd", "speed_sd_mps", "duration_s", "t_utc_s")
        arrays = {k: np.concatenate([getattr(p, k) for p in parts]) for k in names}
        groups, shift = [], 0
        for part in parts:
            groups.append(part.group + shift)
            shift = int(groups[-1].max()) + 1
        used = tuple(dict.fromkeys(name for p in parts for name in p.used))
        winds = np.concatenate([p.winds for p in parts])
        headings = np.concatenate([p.headings for p in parts])
        group = np.concatenate(groups)
        return cls(**arrays, group=group, used=used, wind_log_sd=winds, heading_deg=headings)

    def take(self, which: Bools) -> "SteadyPoints":
        """The points picked by a mask of shape (n,)."""
        names = ("speed_mps", "power_w", "log_sd", "speed_sd_mps", "duration_s", "t_utc_s", "group")
        arrays = {k: getattr(self, k)[which] for k in names}
        winds, headings = self.winds[which], self.headings[which]
        return SteadyPoints(**arrays, used=self.used, wind_log_sd=winds, heading_deg=headings)

    def to_dict(self) -> dict[str, Any]:
        """Plain lists, for JSON."""
        names = ("speed_mps", "power_w", "log_sd", "speed_sd_mps", "duration_s", "t_utc_s", "group")
        lists = {k: getattr(self, k).tolist() for k in names}
        lists |= {"used": list(self.used), "wind_log_sd": self.winds.tolist()}
        known = self.heading_deg is not None and bool(np.isfinite(self.heading_deg).all())
        return lists | {"heading_deg": self.headings.tolist() if known else None}

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> "SteadyPoints":
        """The inverse of `to_dict`."""
        names = ("speed_mps", "power_w", "log_sd", "speed_sd_mps", "duration_s", "t_utc_s")
        arrays = {k: np.asarray(data[k], dtype=np.float64) for k in names}
        group = np.asarray(data["group"], dtype=np.int64)
        winds = np.asarray(data.get("wind_log_sd", 0.0 * arrays["log_sd"]), dtype=np.float64)
        aim = data.get("heading_deg")
        heading = None if aim is None else np.asarray(aim, dtype=np.float64)
        used = tuple(data["used"])
        return cls(**arrays, group=group, used=used, wind_log_sd=winds, heading_deg=heading)


def compact(points: SteadyPoints, newest: int = 80) -> SteadyPoints:
    """Many trips' points made few: the newest as they are, older ones merged speed by speed.

    What a merged point is off by is what its members are off by, over the root of how many
    legs they came from; its group is below zero, and wind and sea are in its own error.
    """
    order = np.argsort(points.t_utc_s)
    if len(order) <= 2 * newest:
        return points
    old, young = order[:-newest], order[-newest:]
    bins = np.round(points.speed_mps[old] / SPEED_BIN_MPS).astype(np.int64)
    merged = [_merged(points, old[bins == k]) for k in np.unique(bins)]
    names = ("speed_mps", "power_w", "log_sd", "speed_sd_mps", "duration_s", "t_utc_s")
    arrays = {
        k: np.concatenate([[row[k] for row in merged], getattr(points, k)[young]]) for k in names
    }
    group = np.concatenate([-1 - np.arange(len(merged)), points.group[young]]).astype(np.int64)
    winds = np.concatenate([np.zeros(len(merged)), points.winds[young]])
    return SteadyPoints(**arrays, group=group, used=points.used, wind_log_sd=winds)


def _merged(points: SteadyPoints, which: npt.NDArray[np.int64]) -> dict[str, float]:
    """Some points as one."""
    weight = points.duration_s[which]
    stretches = len(np.unique(points.group[which]))

    def mean(values: Floats) -> float:
        return float(np.average(values[which], weights=weight))

    spread = np.hypot(LEG_LOG_SD, mean(points.winds)) / np.sqrt(stretches)
    own = mean(points.log_sd) / np.sqrt(len(which))
    return {
        "speed_mps": mean(points.speed_mps),
        "power_w": float(np.exp(mean(np.log(points.power_w)))),
        "log_sd": float(np.hypot(own, spread)),
        "speed_sd_mps": mean(points.speed_sd_mps) / np.sqrt(stretches),
        "duration_s": float(weight.sum()),
        "t_utc_s": mean(points.t_utc_s),
    }


def _wind_part_w(series: Series, boat: Boat, water: Floats, heading_rad: Floats) -> Floats:
    """Power that a measured wind adds, shape (n,); 0 where none is measured. [W]"""
    east, north = true_wind(series, np.degrees(heading_rad))
    speed, source = np.hypot(east, north), np.degrees(np.arctan2(-east, -north))
    force = extra_n(windage_m2(boat.hull), speed, source - np.degrees(heading_rad), water)
    return np.nan_to_num(force * water / EFFICIENCY, nan=0.0)


def water_velocity(series: Series, stream: Stream | None) -> tuple[Floats, Floats]:
    """Speed through water and the error its stretch shares, each shape (n,). [m/s]

    The calibrated log where there is one, else ground velocity less the stream, else ground
    speed with the stream's usual size as error.
    """
    course = np.radians(series.get("course_ground_deg"))
    ground = series.get("speed_ground_mps")
    t_s = series.t0_us / 1e6 + series.t_s
    if stream is None:
        log = series.get("speed_water_mps")
        sd = np.where(np.isfinite(log), 0.06 * np.abs(log), 0.4)
        return np.where(np.isfinite(log), log, ground), sd
    east, north, sd = stream.at(t_s)
    over = np.hypot(ground * np.sin(course) - east, ground * np.cos(course) - north)
    if stream.calibration.water_factor is None:
        return over, sd
    factor, factor_sd = stream.calibration.water_factor
    log = factor * series.get("speed_water_mps")
    return np.where(np.isfinite(log), log, over), np.where(
        np.isfinite(log), factor_sd * np.abs(log), sd
    )


def _lasting(still: Bools, power: Floats) -> Bools:
    """Still minutes whose minute before was still too, at nearly the same power."""
    ratio = power[1:] / np.maximum(power[:-1], 1.0)
    after = still[1:] & still[:-1] & (np.abs(np.log(np.maximum(ratio, 1e-6))) < 0.2)
    return np.concatenate([[False], after])


def _deep(series: Series, boat: Boat, speed: Floats, size: int) -> Bools:
    """Minutes in water deep enough not to matter, or of unknown depth; shape (minutes,).

    Source: shallow water is felt from a depth Froude number of about 0.6 on, or a depth of
    twice the draught (common practice, no source).
    """
    depth = whole_steps(series.get("depth_m"), size).mean(axis=1)
    with np.errstate(invalid="ignore"):
        shallow = (speed > SHALLOW_FROUDE * np.sqrt(GRAVITY * np.maximum(depth, 0.1))) | (
            depth < 2 * boat.hull.draught_m
        )
    return np.asarray(~(np.isfinite(depth) & shallow))


def _legs(
    ok: Bools, t_s: Floats, course_rad: Floats, power: Floats
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """For each minute that counts its leg and its setting, each shape (count,).

    A leg goes on while course and time allow, a setting while the power stays near its mean.
    """
    legs, settings = [], []
    leg = setting = count = -1
    last_s, aim, mean = -np.inf, 0j, 0.0
    for k in np.flatnonzero(ok):
        along = np.exp(1j * course_rad[k])
        turned = abs(np.angle(along * np.conj(aim))) > np.radians(LEG_DEG)
        if turned or t_s[k] - last_s > LEG_PAUSE_S:
            leg, aim, count = leg + 1, 0j, 0
        log_w = float(np.log(max(power[k], 1e-3)))
        if count == 0 or abs(log_w - mean) > SETTING_LOG:
            setting, mean, count = setting + 1, log_w, 0
        count += 1
        mean += (log_w - mean) / count
        aim, last_s = aim + along, t_s[k]
        legs.append(leg)
        settings.append(setting)
    return np.array(legs, dtype=np.int64), np.array(settings, dtype=np.int64)


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
    size = max(round(MINUTE_S / series.step_s), 2)
    if series.n < 2 * size:
        return SteadyPoints.none()
    power = propulsion_power_w(series, boat)
    if mask is not None:
        power = np.where(mask, power, np.nan)
    water, sd = water_velocity(series, stream)
    heading = np.radians(heading_true(series))
    course = np.where(np.isfinite(heading), heading, np.radians(series.get("course_ground_deg")))
    rows = [whole_steps(v, size) for v in (power, water, np.sin(course), np.cos(course))]
    still = settled(*rows) & (rows[0].mean(axis=1) > drive_threshold_w(boat))
    still &= rows[1].mean(axis=1) > LEAST_SPEED_MPS
    rows[0] = rows[0] - whole_steps(_wind_part_w(series, boat, water, heading), size)
    power, speed = rows[0].mean(axis=1), rows[1].mean(axis=1)
    shaft = whole_steps(shaft_rps(series, boat), size).mean(axis=1)
    ok = unaided(power, shaft, _lasting(still, power) & _deep(series, boat, speed, size))
    if not ok.any():
        return SteadyPoints.none()
    t_s = whole_steps(series.t_utc_s, size).mean(axis=1)
    minute_s = MINUTE_S * np.arange(len(ok), dtype=np.float64)
    aim = np.asarray(np.arctan2(rows[2].mean(axis=1), rows[3].mean(axis=1)))
    leg, setting = _legs(ok, minute_s, aim, power)
    count = np.bincount(setting).astype(np.float64)

    def mean(values: Floats) -> Floats:
        return np.asarray(np.bincount(setting, weights=values) / count)

    points = SteadyPoints(
        speed_mps=mean(speed[ok]),
        power_w=np.exp(mean(np.log(np.maximum(power[ok], 1e-3)))),
        log_sd=np.sqrt(LOG_SD_MINUTE**2 / count + LOG_SD_FLOOR**2),
        speed_sd_mps=mean(whole_steps(sd, size).mean(axis=1)[ok]),
        duration_s=count * MINUTE_S,
        t_utc_s=mean(t_s[ok]),
        group=np.asarray(mean(leg.astype(np.float64)), dtype=np.int64),
        used=tuple(name for name in CHANNELS if series.has(name)),
        heading_deg=np.degrees(np.arctan2(mean(np.sin(aim[ok])), mean(np.cos(aim[ok])))) % 360.0,
    )
    if np.isfinite(true_wind(series, np.degrees(heading))[0]).any():
        return points
    area = windage_m2(boat.hull)
    winds = any_wind_log_sd(area, points.speed_mps, points.power_w)
    return replace(points, wind_log_sd=winds)
