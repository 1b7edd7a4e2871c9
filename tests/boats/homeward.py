"""The truth about getting home: turn now, motor straight back, the stream running on as it does."""

import math
from dataclasses import dataclass, replace

import numpy as np

from replay.boatsim.ahead import controller_w, ground_speed, held, hotel_w, present, sun_w
from replay.boatsim.motion import course_made_good
from replay.boatsim.outing import Outing

STEP_S = 10.0
REFRESH_STEPS = 6  # warmth and power are worked out this often
LONGEST_S = 24 * 3600.0
HOME_M = 30.0
LEAST_MADE_MPS = 0.05  # slower than this over the ground, the stream has won


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

    The stream keeps running by the scene's tide (no eddies), the sun by its sky; wind, waves and
    warmth of the air stay as they are. Gives up after 24 h or where the stream is stronger than
    the boat.
    """
    way = _WayHome(outing, at, speed_mps)
    while way.steps < int(LONGEST_S / STEP_S) and way.left_m > HOME_M:
        if not way.step():
            break
    home = way.left_m <= HOME_M
    soc = float(way.battery.soc.mean())
    above = home and soc >= outing.boat.reserve_frac
    return Homecoming(home, soc, above, way.made_m, way.steps * STEP_S)


class _WayHome:
    """The boat and its pack on the way."""

    def __init__(self, outing: Outing, at: int, speed_mps: float) -> None:
        self.outing, self.begun_s, self.speed_mps = outing, at * outing.motion.dt_s, speed_mps
        self.east = float(outing.motion.east_m[at])
        self.north = float(outing.motion.north_m[at])
        self.battery = outing.batteries[at].copy(1)
        self.volts = np.full(1, outing.series["pack_v"][at])
        self.held = held(outing, at, np.zeros(1))
        self.heat_j = np.zeros_like(self.battery.soc)
        self.made_m, self.steps = 0.0, 0

    @property
    def left_m(self) -> float:
        """Distance to the origin."""
        return math.hypot(self.east, self.north)

    def step(self) -> bool:
        """Ten seconds on; False where the stream or the pack ends it."""
        t_s = self.begun_s + self.steps * STEP_S
        course = math.degrees(math.atan2(-self.east, -self.north))
        east, north = (float(x[0]) for x in self.outing.scene.stream.at(np.array([t_s])))
        made = float(ground_speed(course, np.array([self.speed_mps]), east, north)[0])
        if made <= LEAST_MADE_MPS:
            return False
        if self.steps % REFRESH_STEPS == 0:
            self._refresh(t_s, course_made_good(course, self.speed_mps, east, north))
        if not self._discharge():
            return False
        self._move(course, made)
        return True

    def _refresh(self, t_s: float, heading_deg: float) -> None:
        passed_s = REFRESH_STEPS * STEP_S if self.steps else 0.0
        self.battery.refresh(self.heat_j, passed_s, self.held.air_c)
        self.heat_j = np.zeros_like(self.battery.soc)
        power = controller_w(self.outing, t_s, self.speed_mps, heading_deg)
        other_w = hotel_w(self.outing.boat) - sun_w(self.outing, np.array([t_s]))
        self.held = replace(self.held, controller_w=np.array([power]), other_w=other_w)

    def _discharge(self) -> bool:
        current, self.volts, hit = present(self.outing.boat, self.battery, self.held, self.volts)
        # Below the reserve it goes on: the question is whether it gets home at all.
        if hit[0] > 1 or float(self.battery.soc.min()) <= 0.0:
            return False
        self.heat_j += current[:, None] ** 2 * self.battery.r_ohm * STEP_S
        self.battery.step(current, STEP_S)
        return True

    def _move(self, course_deg: float, made_mps: float) -> None:
        step = min(made_mps * STEP_S, self.left_m)
        self.east += step * math.sin(math.radians(course_deg))
        self.north += step * math.cos(math.radians(course_deg))
        self.made_m += step
        self.steps += 1
