"""The truth about range: the simulated boat run on, at held speeds, until the first limit.

Held from the asked moment on: speed through water (by the shaft speed that gives it), course
over the ground, stream, mean wind and waves, hotel load, sun, cable joints, warmth of the air.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from replay.boatsim.battery import Battery
from replay.boatsim.boat import SimBoat
from replay.boatsim.drive import input_w, torque_nm
from replay.boatsim.motion import course_made_good, steady_turns
from replay.boatsim.outing import FRIDGE_ON_FRAC, Outing

Floats = npt.NDArray[np.float64]
STEPS, REFRESH_STEPS, LONGEST_S = 800, 6, 48 * 3600.0
LIMITS = ("reserve", "cell cut-off", "controller cutback", "power")


@dataclass(frozen=True)
class Reach:
    """How far the boat would have gone, for each speed asked, shape (k,).

    distance_m is over the ground; limit is one of `LIMITS`, or "time" (no limit for long),
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


@dataclass(frozen=True)
class Held:
    """What stays as it is, for each speed shape (k,)."""

    controller_w: Floats
    other_w: float
    loop_ohm: float
    air_c: Floats


def reach(
    outing: Outing, at: int, speeds_mps: Floats, course_deg: float | None = None
) -> Reach:  # fmt: skip
    """Runs on from a step, once for each speed.

    Args:
        at: A step whose whole state was kept (see `Outing.batteries`).
        speeds_mps: Through water, shape (k,).
        course_deg: Over the ground; None: the course made good lately.
    Raises:
        KeyError: The state of that step was not kept.
    """
    m, boat, few = outing.motion, outing.boat, int(300 / outing.motion.dt_s)
    course = present_course(outing, at + 1) if course_deg is None else course_deg
    east, north = (mean_of(a, at + 1, few) for a in (m.stream_east_mps, m.stream_north_mps))
    ground = ground_speed(course, speeds_mps, east, north)
    power = [controller_w(outing, at, float(v), course, east, north) for v in speeds_mps]
    hotel = boat.hotel_w + boat.pilot_w + FRIDGE_ON_FRAC * boat.fridge_w
    other = hotel - mean_of(outing.series["solar_w"], at + 1, few)
    air = np.full(len(speeds_mps), outing.series["ambient_c"][at])
    held = Held(np.array(power), other, outing.loop_ohm[at], air)
    battery = outing.batteries[at].copy(len(speeds_mps))
    first_w, spent, limit = _run_down(boat, battery, held, float(outing.series["pack_v"][at]))
    limits = ["stream" if g <= 0 else x for g, x in zip(ground, limit, strict=True)]
    return Reach(speeds_mps, ground, first_w, ground * spent, spent, tuple(limits))


def _steps(boat: SimBoat, battery: Battery, held: Held, volts: float) -> Floats:
    """A step for each speed, about a thousandth of what the charge may last. [s] shape (k,)"""
    left_ah = max(float(battery.soc.mean()) - boat.reserve_frac, 0.01)
    left_wh = left_ah * float(battery.cells.capacity_ah.mean()) * volts
    watts = np.maximum(held.controller_w + held.other_w, 20.0)
    return np.asarray(np.clip(left_wh / watts * 3600 / STEPS, 0.5, LONGEST_S / STEPS))


def _run_down(
    boat: SimBoat, battery: Battery, held: Held, volts_now: float
) -> tuple[Floats, Floats, list[str]]:
    """Power at first, time until the first limit, and which; one of each for each speed."""
    k = len(held.controller_w)
    alive, spent, limit = np.ones(k, bool), np.zeros(k), ["time"] * k
    first_w, volts = np.full(k, np.nan), np.full(k, volts_now)
    step_s, heat = _steps(boat, battery, held, volts_now), np.zeros_like(battery.soc)
    for n in range(3 * STEPS):
        if n % REFRESH_STEPS == 0:
            battery.refresh(heat, step_s * (REFRESH_STEPS if n else 0), held.air_c)
            heat = np.zeros_like(battery.soc)
        current, volts, hit = present(boat, battery, held, volts)
        for j in np.flatnonzero(alive & (hit > 0)):
            limit[j] = LIMITS[hit[j] - 1]
            spent[j] = max(spent[j] - step_s[j] / 2, 0.0)  # it fell within the last step
        alive &= hit == 0
        if n == 0:
            first_w = current * volts
        if not alive.any():
            break
        spent += step_s * alive
        current = np.where(alive, current, 0.0)
        heat += current[:, None] ** 2 * battery.r_ohm * step_s[:, None]
        battery.step(current, step_s)
    return first_w, spent, limit


def present(
    boat: SimBoat, battery: Battery, held: Held, volts: Floats
) -> tuple[Floats, Floats, npt.NDArray[np.int64]]:
    """Current, pack voltage, and the number of the limit that is passed (0: none)."""
    cell_e, cell_r = battery.source()
    e, r = cell_e.sum(axis=-1), battery.whole_ohm
    other = held.other_w / volts
    whole = r + held.loop_ohm
    inside = (e - other * r) ** 2 - 4 * whole * held.controller_w
    motor = (e - other * r - np.sqrt(np.maximum(inside, 0))) / (2 * whole)
    current = motor + other
    pack_v = e - current * r
    lowest = (cell_e - current[:, None] * cell_r).min(axis=-1)
    at_reserve = battery.soc.mean(axis=-1) <= boat.reserve_frac
    cutback = pack_v - motor * held.loop_ohm <= boat.cutback_v
    passed = [inside < 0, lowest <= boat.cutoff_v, cutback, at_reserve]
    return current, pack_v, np.select(passed, [4, 2, 3, 1], 0).astype(np.int64)


def controller_w(
    outing: Outing, at: int, speed: float, course: float, east: float, north: float
) -> float:
    """Power at the controller that holds a speed through water in the day's mean weather. [W]"""
    boat, scene = outing.boat, outing.scene
    heading = course_made_good(course, speed, east, north)
    blow = scene.wind.from_deg + scene.wind.veer_deg_h * at * outing.motion.dt_s / 3600
    ahead = scene.wind.speed_mps * math.cos(math.radians(blow - heading)) + speed
    turns = steady_turns(boat, speed, ahead, scene.rough)
    return input_w(boat.drive, turns, torque_nm(boat.drive, turns, speed, boat.water.density_kg_m3))
