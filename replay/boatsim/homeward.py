"""The truth about getting home: turn now, motor straight back, the stream running on as it does."""

import math
from dataclasses import dataclass

import numpy as np

from replay.boatsim.ahead import Held, ground_speed, present
from replay.boatsim.drive import input_w, torque_nm
from replay.boatsim.motion import course_made_good, steady_turns
from replay.boatsim.outing import FRIDGE_ON_FRAC, Outing

STEP_S = 10.0


@dataclass(frozen=True)
class Homecoming:
    """How it ended.

    Args:
        home: Whether the berth was reached before the pack was empty or the controller gave up.
        soc_frac: True charge at the end. above_reserve: home, with the reserve untouched.
        distance_m, duration_s: Over the ground, and the time it took.
    """

    home: bool
    soc_frac: float
    above_reserve: bool
    distance_m: float
    duration_s: float


def home_from(outing: Outing, at: int, speed_mps: float) -> Homecoming:
    """Motors from where the boat is at a kept step to the origin, at one speed through water.

    The stream keeps running by the scene's tide (no eddies); wind, waves, sun and warmth of the
    air stay as they are. Gives up after 24 h or where the stream is stronger than the boat.
    """
    boat, scene, m = outing.boat, outing.scene, outing.motion
    east, north = float(m.east_m[at]), float(m.north_m[at])
    battery = outing.batteries[at].copy(1)
    hotel = boat.hotel_w + boat.pilot_w + FRIDGE_ON_FRAC * boat.fridge_w
    other = hotel - float(outing.series["solar_w"][max(0, at - 300) : at + 1].mean())
    volts, air = np.full(1, outing.series["pack_v"][at]), np.full(1, outing.series["ambient_c"][at])
    heat, far, power, k = np.zeros_like(battery.soc), 0.0, 0.0, 0
    while k < int(24 * 3600 / STEP_S) and math.hypot(east, north) > 30.0:
        t_s = at * m.dt_s + k * STEP_S
        course = math.degrees(math.atan2(-east, -north))
        se, sn = (float(x[0]) for x in scene.stream.at(np.array([t_s])))
        made = float(ground_speed(course, np.array([speed_mps]), se, sn)[0])
        if made <= 0.05:
            break
        if k % 6 == 0:
            battery.refresh(heat, 6 * STEP_S if k else 0.0, air)
            heat = np.zeros_like(battery.soc)
            power = _power(outing, t_s, speed_mps, course_made_good(course, speed_mps, se, sn))
        current, volts, hit = present(
            boat, battery, Held(np.array([power]), other, outing.loop_ohm[at], air), volts
        )
        if hit[0] > 1 or float(battery.soc.min()) <= 0.0:
            break
        heat += current[:, None] ** 2 * battery.r_ohm * STEP_S
        battery.step(current, STEP_S)
        step = min(made * STEP_S, math.hypot(east, north))
        east += step * math.sin(math.radians(course))
        north += step * math.cos(math.radians(course))
        far, k = far + step, k + 1
    home, soc = math.hypot(east, north) <= 30.0, float(battery.soc.mean())
    return Homecoming(home, soc, home and soc >= boat.reserve_frac, far, k * STEP_S)


def _power(outing: Outing, t_s: float, speed_mps: float, heading_deg: float) -> float:
    """Power at the controller on a heading in the day's mean weather. [W]"""
    boat, wind = outing.boat, outing.scene.wind
    blow = wind.from_deg + wind.veer_deg_h * t_s / 3600
    ahead = wind.speed_mps * math.cos(math.radians(blow - heading_deg)) + speed_mps
    turns = steady_turns(boat, speed_mps, ahead, outing.scene.rough)
    rho = boat.water.density_kg_m3
    return input_w(boat.drive, turns, torque_nm(boat.drive, turns, speed_mps, rho))
