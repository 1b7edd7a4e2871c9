"""The truth about range: the simulated boat run on, at held speeds, until the first limit.

Held from the asked moment on: speed through water (by the shaft speed that gives it), course
over the ground, mean wind and waves, hotel load, cable joints, warmth of the air. Stream and sun
are held too, or go on as the scene has them: by its tide (no eddies) and its sky (mean clouds).
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from replay.boatsim.boat import SimBoat
from replay.boatsim.motion import course_made_good, steady_turns
from replay.boatsim.outing import FRIDGE_ON_FRAC, Outing
from replay.boatsim.physics.battery import Battery
from replay.boatsim.physics.drive import input_w, torque_nm

Floats = npt.NDArray[np.float64]
Numbers = float | Floats
STEPS = 800  # of a whole discharge, assumed: half of them gives the same distance
REFRESH_STEPS = 6  # warmth is worked out this often, assumed
LONGEST_S = 48 * 3600.0  # no pack of these boats lasts longer, assumed
LATELY_S = 300.0  # over which the present is a mean, assumed
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


def present_speed(outing: Outing, at: int) -> float:
    """Mean speed through water lately. [m/s]"""
    return mean_of(outing.motion.speed_water_mps, at, _lately(outing))


def present_course(outing: Outing, at: int) -> float:
    """Course made good lately. [deg]"""
    motion = outing.motion
    count = _lately(outing)
    east = mean_of(motion.east_mps, at, count)
    north = mean_of(motion.north_mps, at, count)
    return math.degrees(math.atan2(east, north)) % 360


def _lately(outing: Outing) -> int:
    return int(LATELY_S / outing.motion.dt_s)


def ground_speed(course_deg: float, water_mps: Floats, east: Numbers, north: Numbers) -> Floats:
    """Speed over the ground on a course kept in a stream; 0 where it cannot be kept. [m/s]"""
    course = math.radians(course_deg)
    along = east * math.sin(course) + north * math.cos(course)
    cross = east * math.cos(course) - north * math.sin(course)
    inside = np.maximum(water_mps**2 - cross**2, 0.0)
    return np.maximum(np.sqrt(inside) + along, 0.0) * (inside > 0)


@dataclass(frozen=True)
class Held:
    """What stays as it is, for each speed shape (k,). other_w: Hotel load less sun."""

    controller_w: Floats
    other_w: Numbers
    loop_ohm: float
    air_c: Floats


def held(outing: Outing, at: int, power_w: Floats) -> Held:
    """Loads, sun, joints and air of a kept step. power_w: at the controller, shape (k,)."""
    solar = mean_of(outing.series["solar_w"], at + 1, _lately(outing))
    air = np.full(len(power_w), outing.series["ambient_c"][at])
    return Held(power_w, hotel_w(outing.boat) - solar, outing.loop_ohm[at], air)


def hotel_w(boat: SimBoat) -> float:
    """Mean load beside the motor under way. [W]"""
    return boat.hotel_w + boat.pilot_w + FRIDGE_ON_FRAC * boat.fridge_w


def sun_w(outing: Outing, t_s: Floats) -> Floats:
    """Panels' power under the scene's sky with its mean clouds. [W] shape of `t_s`"""
    sky = outing.scene.sky
    peak_w = outing.boat.solar_peak_w
    cloud = math.exp(sky.cloud_frac**2 / 2)  # mean of the log-normal clouds
    given_w = peak_w * sky.clear_frac * cloud * sky.sun_frac(t_s)
    return np.asarray(np.minimum(given_w, peak_w))


def reach(
    outing: Outing,
    at: int,
    speeds_mps: Floats,
    course_deg: float | None = None,
    goes_on: bool = False,
) -> Reach:
    """Runs on from a step, once for each speed.

    Args:
        at: A step whose whole state was kept (see `Outing.batteries`).
        speeds_mps: Through water, shape (k,).
        course_deg: Over the ground; None: the course made good lately.
        goes_on: Tide turns and nights come; otherwise stream and sun stay as they are.
    Raises:
        KeyError: The state of that step was not kept.
    """
    motion = outing.motion
    few = _lately(outing)
    course = present_course(outing, at + 1) if course_deg is None else course_deg
    east = mean_of(motion.stream_east_mps, at + 1, few)
    north = mean_of(motion.stream_north_mps, at + 1, few)
    power = []
    for speed in speeds_mps.tolist():
        heading = course_made_good(course, speed, east, north)
        power.append(controller_w(outing, at * motion.dt_s, speed, heading))
    ground = ground_speed(course, speeds_mps, east, north)
    now = held(outing, at, np.array(power))
    around = Around(lambda t_s: ground, lambda t_s: now.other_w)
    if goes_on:
        around = _going_on(outing, course, speeds_mps)
    run = _RunDown(outing, at, now, around)
    run.to_the_end()
    limits = run.limit
    for k in np.flatnonzero((run.made_m <= 0) & (run.spent_s > 0)):
        limits[k] = "stream"
    return Reach(speeds_mps, ground, run.first_w, run.made_m, run.spent_s, tuple(limits))


@dataclass(frozen=True)
class Around:
    """Speed over the ground, and hotel load less sun, at times on the outing's clock, (k,)."""

    made_mps: Callable[[Floats], Floats]
    other_w: Callable[[Floats], Numbers]


def _going_on(outing: Outing, course_deg: float, speeds_mps: Floats) -> Around:
    """Tide and sun as the scene has them."""

    def made_mps(t_s: Floats) -> Floats:
        return ground_speed(course_deg, speeds_mps, *outing.scene.stream.at(t_s))

    return Around(made_mps, lambda t_s: hotel_w(outing.boat) - sun_w(outing, t_s))


class _RunDown:
    """The pack of a kept step, discharged once for each speed until its first limit."""

    def __init__(self, outing: Outing, at: int, held: Held, around: Around) -> None:
        count = len(held.controller_w)
        self.around, self.begun_s = around, at * outing.motion.dt_s
        self.boat = outing.boat
        self.held = held
        self.battery = outing.batteries[at].copy(count)
        self.volts = np.full(count, float(outing.series["pack_v"][at]))
        self.alive = np.ones(count, bool)
        self.spent_s = np.zeros(count)
        self.made_m = np.zeros(count)
        self.limit = ["time"] * count
        self.first_w = np.full(count, np.nan)
        self.step_s = self._step_s()
        self.heat_j = np.zeros_like(self.battery.soc)

    def _step_s(self) -> Floats:
        """A step for each speed, about a thousandth of what the charge may last. [s] shape (k,)"""
        left_frac = float(self.battery.soc.mean()) - self.boat.reserve_frac
        mean_ah = float(self.battery.cells.capacity_ah.mean())
        left_ah = max(left_frac, 0.01) * mean_ah
        watts = np.maximum(self.held.controller_w + self.held.other_w, 20.0)
        left_s = left_ah * float(self.volts[0]) / watts * 3600
        return np.asarray(np.clip(left_s / STEPS, 0.5, LONGEST_S / STEPS))

    def to_the_end(self) -> None:
        """Steps until none is alive, or for three times the steps that were reckoned with."""
        for n in range(3 * STEPS):
            if n % REFRESH_STEPS == 0:
                self._refresh(REFRESH_STEPS if n else 0)
            self._step(n == 0)
            if not self.alive.any():
                return

    def _refresh(self, steps: int) -> None:
        self.battery.refresh(self.heat_j, self.step_s * steps, self.held.air_c)
        self.heat_j = np.zeros_like(self.battery.soc)

    def _step(self, first: bool) -> None:
        t_s = self.begun_s + self.spent_s
        made_mps = self.around.made_mps(t_s)
        if not first:
            self.held = replace(self.held, other_w=self.around.other_w(t_s))
        current, self.volts, hit = present(self.boat, self.battery, self.held, self.volts)
        for j in np.flatnonzero(self.alive & (hit > 0)):
            self.limit[j] = LIMITS[hit[j] - 1]
            # It fell within the last step.
            back_s = min(self.step_s[j] / 2, self.spent_s[j])
            self.spent_s[j] -= back_s
            self.made_m[j] -= made_mps[j] * back_s
        self.alive &= hit == 0
        if first:
            self.first_w = current * self.volts
        if not self.alive.any():
            return
        self.spent_s += self.step_s * self.alive
        self.made_m += made_mps * self.step_s * self.alive
        current = np.where(self.alive, current, 0.0)
        ohmic_w = current[:, None] ** 2 * self.battery.r_ohm
        self.heat_j += ohmic_w * self.step_s[:, None]
        self.battery.step(current, self.step_s)


def present(
    boat: SimBoat, battery: Battery, held: Held, volts: Floats
) -> tuple[Floats, Floats, npt.NDArray[np.int64]]:
    """Current, pack voltage, and the number of the limit that is passed (0: none)."""
    cell_e, cell_r = battery.source()
    e = cell_e.sum(axis=-1)
    r = battery.whole_ohm
    other = held.other_w / volts
    whole = r + held.loop_ohm
    # The current that brings the controller its power: e I - whole I^2 = P, e after other loads.
    inside = (e - other * r) ** 2 - 4 * whole * held.controller_w
    root = np.sqrt(np.maximum(inside, 0))
    motor = (e - other * r - root) / (2 * whole)
    current = motor + other
    pack_v = e - current * r
    cell_v = cell_e - current[:, None] * cell_r
    lowest = cell_v.min(axis=-1)
    passed = {
        4: inside < 0,
        2: lowest <= boat.cutoff_v,
        3: pack_v - motor * held.loop_ohm <= boat.cutback_v,
        1: battery.soc.mean(axis=-1) <= boat.reserve_frac,
    }  # the first that is true counts
    numbers = list(passed)
    hit = np.select(list(passed.values()), numbers, 0)
    return current, pack_v, hit.astype(np.int64)


def controller_w(outing: Outing, t_s: float, speed_mps: float, heading_deg: float) -> float:
    """Power at the controller that holds a speed through water in the day's mean weather. [W]"""
    boat = outing.boat
    wind = outing.scene.wind
    blow = wind.from_deg + wind.veer_deg_h * t_s / 3600
    ahead = wind.speed_mps * math.cos(math.radians(blow - heading_deg)) + speed_mps
    turns = steady_turns(boat, speed_mps, ahead, outing.scene.rough)
    torque = torque_nm(boat.drive, turns, speed_mps, boat.water.density_kg_m3)
    return input_w(boat.drive, turns, torque)
