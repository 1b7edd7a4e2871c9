"""The truth about range: the simulated boat run on, at held speeds, until the first limit.

Held from the asked moment on: speed through water (by the shaft speed that gives it), course
over the ground, stream, mean wind and waves, hotel load, sun, cable joints, warmth of the air.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from replay.boatsim.drive import input_w, torque_nm
from replay.boatsim.motion import steady_turns
from replay.boatsim.outing import Outing

Floats = npt.NDArray[np.float64]
LIMITS = ("reserve", "cell cut-off", "controller cutback", "power")


@dataclass(frozen=True)
class Reach:
    """How far the boat would have gone, for each speed asked, shape (k,).

    distance_m is over the ground; limit is one of `LIMITS`, or "time" (48 h without a limit),
    or "stream" (no way made over the ground: distance 0).
    """

    speed_water_mps: Floats
    speed_ground_mps: Floats
    pack_w: Floats
    distance_m: Floats
    duration_s: Floats
    limit: tuple[str, ...]


def mean_of(values: Floats, end: int, count: int) -> float:
    """Mean over the last `count` steps before `end`."""
    return float(values[max(0, end - count) : end].mean())


def present_speed(outing: Outing, at: int, over_s: float = 300.0) -> float:
    """Mean speed through water lately. [m/s]"""
    return mean_of(outing.motion.speed_water_mps, at, int(over_s / outing.motion.dt_s))


def present_course(outing: Outing, at: int, over_s: float = 300.0) -> float:
    """Course made good lately. [deg]"""
    m, count = outing.motion, int(over_s / outing.motion.dt_s)
    east, north = mean_of(m.east_mps, at, count), mean_of(m.north_mps, at, count)
    return math.degrees(math.atan2(east, north)) % 360


def ground_speed(course_deg: float, water_mps: Floats, east: float, north: float) -> Floats:
    """Speed over the ground on a course kept in a stream; 0 where it cannot be kept. [m/s]"""
    c = math.radians(course_deg)
    along = east * math.sin(c) + north * math.cos(c)
    cross = east * math.cos(c) - north * math.sin(c)
    inside = np.maximum(water_mps**2 - cross**2, 0.0)
    return np.maximum(np.sqrt(inside) + along, 0.0) * (inside > 0)


def reach(
    outing: Outing, at: int, speeds_mps: Floats, course_deg: float | None = None,
    step_s: float = 10.0,
) -> Reach:  # fmt: skip
    """Runs on from a step, once for each speed.

    Args:
        at: A step whose whole state was kept (see `Outing.batteries`).
        speeds_mps: Through water, shape (k,).
        course_deg: Over the ground; None: the course made good lately.
    """
    boat, m = outing.boat, outing.motion
    few = int(300 / m.dt_s)
    course = present_course(outing, at + 1) if course_deg is None else course_deg
    east, north = mean_of(m.stream_east_mps, at + 1, 60), mean_of(m.stream_north_mps, at + 1, 60)
    ground = ground_speed(course, speeds_mps, east, north)
    asked = np.array([_controller_w(outing, float(v), course, east, north) for v in speeds_mps])
    solar, hotel = (mean_of(outing.series[k], at + 1, few) for k in ("solar_w", "hotel_w"))
    hotel = boat.hotel_w + boat.pilot_w + 0.36 * boat.fridge_w if few else hotel
    k = len(speeds_mps)
    battery = outing.batteries[at].copy((k,))
    loop = float(outing.resistances[at].sum())
    air = np.full(k, outing.series["ambient_c"][at])
    alive, spent, limit = np.ones(k, bool), np.zeros(k), ["time"] * k
    first_w = np.full(k, np.nan)
    volts = np.full(k, outing.series["pack_v"][at])
    c = battery.cells
    for _ in range(int(48 * 3600 / step_s)):
        cell_e, cell_r = battery.source()
        e, r = cell_e.sum(axis=-1), cell_r.sum(axis=-1) + c.link_ohm
        other = (hotel - solar) / volts
        open_v = e - other * r
        inside = open_v**2 - 4 * (r + loop) * asked
        motor = (open_v - np.sqrt(np.maximum(inside, 0))) / (2 * (r + loop))
        current = motor + other
        volts = e - current * r
        lowest = (cell_e - current[:, None] * cell_r).min(axis=-1)
        hit = np.select(
            [inside < 0, battery.soc.mean(axis=-1) <= boat.reserve_frac, lowest <= boat.cutoff_v,
             volts - motor * loop <= boat.cutback_v], [4, 1, 2, 3], 0)  # fmt: skip
        for j in np.flatnonzero(alive & (hit > 0)):
            limit[j] = LIMITS[hit[j] - 1]
        first_w = np.where(np.isnan(first_w), current * volts, first_w)
        alive &= hit == 0
        if not alive.any():
            break
        spent += step_s * alive
        battery.step(np.where(alive, current, 0.0), step_s, air)
    limit = ["stream" if g <= 0 else x for g, x in zip(ground, limit, strict=True)]
    return Reach(speeds_mps, ground, first_w, ground * spent, spent, tuple(limit))


def _controller_w(outing: Outing, speed: float, course: float, east: float, north: float) -> float:
    """Power at the controller that holds a speed through water in the day's mean weather. [W]"""
    boat, scene = outing.boat, outing.scene
    c = math.radians(course)
    cross = east * math.cos(c) - north * math.sin(c)
    heading = c - math.asin(max(-0.9, min(0.9, cross / max(speed, 0.5))))
    end_h = outing.n * outing.motion.dt_s / 3600
    blow = math.radians(scene.wind.from_deg + scene.wind.veer_deg_h * end_h)
    ahead = scene.wind.speed_mps * math.cos(blow - heading) + speed
    turns = steady_turns(boat, speed, ahead, scene.rough)
    torque = torque_nm(boat.drive, turns, speed, boat.water.density_kg_m3)
    return input_w(boat.drive, turns, torque)
