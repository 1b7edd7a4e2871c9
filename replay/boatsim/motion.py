"""How the boat moves: a plan of legs, thrust against resistance, stream carrying it.

Propulsion does not depend on the pack here (the controller holds the shaft's speed), so motion
is worked out first and gives the power asked for at the controller's terminals.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from replay.boatsim.boat import SimBoat
from replay.boatsim.drive import input_w, regeneration_turns, thrust_n, torque_nm, turns_for
from replay.boatsim.hull import air_drag_n, resistance_n
from replay.boatsim.place import Stream, Wind, wander

Floats = npt.NDArray[np.float64]
Doing = Literal["shore", "lying", "motoring", "sailing", "regenerating"]


@dataclass(frozen=True)
class Leg:
    """One stretch of the plan.

    Args:
        heading_deg: True; None: steers to make good a course to (goal_east_m, goal_north_m).
        speed_mps: Motoring: the calm-water speed whose shaft speed is set. Sailing: the speed
            the sails give without the propeller.
    """

    doing: Doing
    duration_s: float
    speed_mps: float = 0.0
    heading_deg: float | None = None
    goal_east_m: float = 0.0
    goal_north_m: float = 0.0


@dataclass
class Motion:
    """What happened, shape (n,) each, at `dt_s`."""

    dt_s: float
    doing: npt.NDArray[np.str_]
    speed_water_mps: Floats
    heading_deg: Floats
    east_mps: Floats
    north_mps: Floats
    east_m: Floats
    north_m: Floats
    stream_east_mps: Floats
    stream_north_mps: Floats
    shaft_rps: Floats
    torque_nm: Floats
    controller_w: Floats
    wind_ahead_mps: Floats


class ResistanceTable:
    """Calm-water resistance, read off quickly at one speed."""

    STEP = 0.01

    def __init__(self, boat: SimBoat) -> None:
        speeds = np.arange(0.0, 7.0, self.STEP)
        self._n: list[float] = resistance_n(boat.hull, speeds, boat.water).tolist()

    def __call__(self, speed_mps: float) -> float:
        v = min(max(speed_mps, 0.0), 6.98)
        k = int(v / self.STEP)
        share = v / self.STEP - k
        return self._n[k] * (1 - share) + self._n[k + 1] * share


def steady_turns(boat: SimBoat, speed_mps: float, wind_ahead_mps: float, rough: float) -> float:
    """Shaft speed that holds a speed in a mean wind and waves. [1/s]

    rough: waves' share on top of the calm resistance.
    """
    calm = float(resistance_n(boat.hull, np.array([speed_mps]), boat.water)[0])
    total = calm * (1 + rough) + air_drag_n(boat.hull, wind_ahead_mps)
    return turns_for(boat.drive, speed_mps, max(total, 0.0), boat.water.density_kg_m3)


def course_made_good(course_deg: float, speed: float, east: float, north: float) -> float:
    """Heading that keeps a course over the ground in a stream. [deg] Law of sines."""
    cross = east * math.cos(math.radians(course_deg)) - north * math.sin(math.radians(course_deg))
    return (
        course_deg - math.degrees(math.asin(max(-0.9, min(0.9, cross / max(speed, 0.5)))))
    ) % 360


def _turn(heading: float, wanted: float, most: float) -> float:
    """The heading after turning at most `most` degrees towards the wanted one."""
    off = (wanted - heading + 180) % 360 - 180
    return (heading + max(-most, min(most, off))) % 360


def sail_along(
    boat: SimBoat,
    legs: list[Leg],
    stream: Stream,
    wind: Wind,
    rough: float,
    rng: np.random.Generator,
    dt_s: float = 1.0,
) -> Motion:
    """Runs a plan of legs, from lying at the origin.

    rough: mean waves' share on top of calm resistance; it and the gusts vary around their means.
    """
    n = int(sum(leg.duration_s for leg in legs) / dt_s)
    rows = _Rows(n)
    t = np.arange(n) * dt_s
    eddy = 0.0 if stream.eddy_mps == 0 else stream.eddy_mps
    set_east, set_north = stream.at(t)
    set_east = set_east + eddy * wander(rng, n, dt_s, 1200.0)
    set_north = set_north + eddy * wander(rng, n, dt_s, 1200.0)
    gust = wind.speed_mps * (1 + wind.gust_frac * wander(rng, n, dt_s, 25.0))
    sea = rough * (1 + 0.5 * wander(rng, n, dt_s, 12.0))
    sailing = 1 + 0.07 * wander(rng, n, dt_s, 60.0)
    yaw = 1.6 * wander(rng, n, dt_s, 6.0)
    _loop(boat, legs, wind, rng, dt_s, rows,
          [set_east.tolist(), set_north.tolist(), gust.tolist(), sea.tolist(), sailing.tolist(),
           yaw.tolist()])  # fmt: skip
    return rows.motion(dt_s, legs, set_east, set_north)


class _Rows:
    """Room for what the loop finds."""

    NAMES = ("v", "heading", "ve", "vn", "e", "n", "turns", "torque", "power", "ahead")

    def __init__(self, n: int) -> None:
        self.n = n
        self.data: dict[str, list[float]] = {k: [0.0] * n for k in self.NAMES}

    def motion(self, dt_s: float, legs: list[Leg], east: Floats, north: Floats) -> Motion:
        doing: list[str] = []
        for leg in legs:
            doing += [leg.doing] * int(leg.duration_s / dt_s)
        d = {k: np.array(v) for k, v in self.data.items()}
        return Motion(
            dt_s, np.array(doing[: self.n]), d["v"], d["heading"], d["ve"], d["vn"], d["e"],
            d["n"], east, north, d["turns"], d["torque"], d["power"], d["ahead"],
        )  # fmt: skip


def _loop(
    boat: SimBoat, legs: list[Leg], wind: Wind, rng: np.random.Generator, dt_s: float,
    rows: _Rows, noise: list[list[float]],
) -> None:  # fmt: skip
    calm = ResistanceTable(boat)
    drive, rho = boat.drive, boat.water.density_kg_m3
    set_east, set_north, gust, sea, sailing, yaw = noise
    mass = boat.hull.mass_kg * 1.06
    mean_sea = sum(sea) / max(len(sea), 1)
    first = next((leg.heading_deg for leg in legs if leg.heading_deg is not None), 0.0)
    heading, v, east, north, turns, k = float(first or 0.0), 0.0, 0.0, 0.0, 0.0, 0
    d = rows.data
    for leg in legs:
        throttle, throttle_set = 0.0, False
        for _ in range(int(leg.duration_s / dt_s)):
            if k >= rows.n:
                return
            moving = leg.doing not in ("shore", "lying")
            wanted = leg.heading_deg
            if wanted is None:
                goal = math.degrees(math.atan2(leg.goal_east_m - east, leg.goal_north_m - north))
                wanted = course_made_good(goal, leg.speed_mps, set_east[k], set_north[k])
            if moving:
                heading = _turn(heading, wanted, 4.0 * dt_s)
            steered = math.radians(heading + (yaw[k] if moving else 0.0))
            blow = math.radians(wind.from_deg + wind.veer_deg_h * k * dt_s / 3600)
            ahead = gust[k] * math.cos(blow - steered) + v
            if leg.doing == "motoring":
                if not throttle_set and abs((wanted - heading + 180) % 360 - 180) < 1.0:
                    mean_ahead = wind.speed_mps * math.cos(blow - math.radians(heading))
                    throttle = steady_turns(boat, leg.speed_mps, mean_ahead + leg.speed_mps,
                                            mean_sea)  # fmt: skip
                    throttle_set = True
                aim = throttle if throttle_set else max(turns, 5.0)
                turns += max(-0.8 * dt_s, min(0.8 * dt_s, aim - turns))
            elif leg.doing == "regenerating":
                aim = regeneration_turns(drive, v)
                turns += max(-1.0 * dt_s, min(1.0 * dt_s, aim - turns))
            else:
                turns = max(0.0, turns - 1.0 * dt_s)
            torque = torque_nm(drive, turns, v, rho)
            push = thrust_n(drive, turns, v, rho) - calm(v) * (1 + sea[k])
            if leg.doing in ("sailing", "regenerating"):
                push += calm(leg.speed_mps * sailing[k]) * (1 + mean_sea)
            else:
                push -= air_drag_n(boat.hull, ahead)
            if moving:
                v = max(0.0, v + push / mass * dt_s)
                lee = math.radians(4.0) if leg.doing in ("sailing", "regenerating") else 0.0
                ve = v * math.sin(steered + lee) + set_east[k]
                vn = v * math.cos(steered + lee) + set_north[k]
            else:
                v, ve, vn = 0.0, 0.0, 0.0
            east += ve * dt_s
            north += vn * dt_s
            d["v"][k], d["heading"][k], d["ve"][k], d["vn"][k] = (
                v,
                math.degrees(steered) % 360,
                ve,
                vn,
            )
            d["e"][k], d["n"][k], d["turns"][k], d["torque"][k] = east, north, turns, torque
            awake = leg.doing != "shore"
            d["power"][k] = input_w(drive, turns, torque) if awake else 0.0
            d["ahead"][k] = ahead
            k += 1
