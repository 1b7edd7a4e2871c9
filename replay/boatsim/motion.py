"""How the boat moves: a plan of legs, thrust against resistance, stream carrying it.

Propulsion does not depend on the pack here (the controller holds the shaft's speed), so motion
is worked out first and gives the power asked for at the controller's terminals.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from replay.boatsim.boat import SimBoat
from replay.boatsim.physics.drive import input_w, regeneration_turns, thrust_n, torque_nm, turns_for
from replay.boatsim.physics.hull import air_drag_n, resistance_n
from replay.boatsim.physics.place import wander
from replay.boatsim.scene import STILL, Leg, Scene

Floats = npt.NDArray[np.float64]


@dataclass
class Motion:
    """What happened, shape (n,) each, at `dt_s`. heading_deg is true; wind_* are apparent."""

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
    wind_aside_mps: Floats


class ResistanceTable:
    """Calm-water resistance, read off quickly at one speed."""

    STEP = 0.01

    def __init__(self, boat: SimBoat) -> None:
        speeds = np.arange(0.0, 8.0, self.STEP)
        self._n: list[float] = resistance_n(boat.hull, speeds, boat.water).tolist()

    def __call__(self, speed_mps: float) -> float:
        v = min(max(speed_mps, 0.0), 7.98)
        k = int(v / self.STEP)
        share = v / self.STEP - k
        return self._n[k] * (1 - share) + self._n[k + 1] * share


def steady_turns(boat: SimBoat, speed_mps: float, wind_ahead_mps: float, rough: float) -> float:
    """Shaft speed that holds a speed in a mean wind and waves. [1/s]

    wind_ahead_mps: apparent. rough: waves' share on top of the calm resistance.
    """
    calm = float(resistance_n(boat.hull, np.array([speed_mps]), boat.water)[0])
    total = calm * (1 + rough) + air_drag_n(boat.hull, wind_ahead_mps)
    return turns_for(boat.drive, speed_mps, max(total, 0.0), boat.water.density_kg_m3)


def course_made_good(course_deg: float, speed: float, east: float, north: float) -> float:
    """Heading that keeps a course over the ground in a stream. [deg] Law of sines."""
    c = math.radians(course_deg)
    cross = east * math.cos(c) - north * math.sin(c)
    lean = math.asin(max(-0.9, min(0.9, cross / max(speed, 0.5))))
    return (course_deg - math.degrees(lean)) % 360


def _off(wanted: float, heading: float) -> float:
    """Turn still to make, -180 to 180. [deg]"""
    return (wanted - heading + 180) % 360 - 180


@dataclass(frozen=True)
class Weather:
    """Noise of the day, one list each, as long as the outing. blow_deg: where it blows from."""

    east: list[float]
    north: list[float]
    gust: list[float]
    sea: list[float]
    sails: list[float]
    yaw: list[float]
    blow_deg: list[float]


def _weather(n: int, dt_s: float, scene: Scene, rng: np.random.Generator) -> Weather:
    stream, wind = scene.stream, scene.wind
    east, north = stream.at(np.arange(n, dtype=float) * dt_s)
    east = east + stream.eddy_mps * wander(rng, n, dt_s, 1200.0)
    north = north + stream.eddy_mps * wander(rng, n, dt_s, 1200.0)
    gust = wind.speed_mps * (1 + wind.gust_frac * wander(rng, n, dt_s, 25.0))
    sea = scene.rough * (1 + 0.5 * wander(rng, n, dt_s, 12.0))
    sails = 1 + 0.07 * wander(rng, n, dt_s, 60.0)
    yaw = 1.6 * wander(rng, n, dt_s, 6.0)
    blow = wind.from_deg + wind.veer_deg_h * np.arange(n) * dt_s / 3600
    return Weather(*(a.tolist() for a in (east, north, gust, sea, sails, yaw, blow)))


class Helm:
    """The boat under way, one step after another."""

    def __init__(self, boat: SimBoat, scene: Scene) -> None:
        self.boat, self.scene = boat, scene
        self.calm = ResistanceTable(boat)
        self.rho = boat.water.density_kg_m3
        self.mass = boat.hull.mass_kg * 1.06  # with the water that moves along
        self.heading = self.v = self.east = self.north = self.turns = 0.0
        self.throttle: float | None = None

    def steer(self, leg: Leg, set_east: float, set_north: float, dt: float) -> float:
        """Turns towards the leg's heading; returns the turn still to make. [deg]"""
        wanted = leg.heading_deg
        if leg.course_deg is not None:
            speed = max(self.v, 0.5 * leg.speed_mps)
            wanted = course_made_good(leg.course_deg, speed, set_east, set_north)
        elif wanted is None:
            east, north = leg.goal_east_m - self.east, leg.goal_north_m - self.north
            bearing = math.degrees(math.atan2(east, north))
            wanted = course_made_good(bearing, leg.speed_mps, set_east, set_north)
        off = _off(wanted, self.heading)
        self.heading = (self.heading + max(-4.0 * dt, min(4.0 * dt, off))) % 360
        return off

    def drive(self, leg: Leg, off: float, blow_deg: float, dt: float) -> None:
        """Moves the shaft's speed towards what the leg wants."""
        if leg.turns_rps is not None:
            aim, most = leg.turns_rps, 0.8
        elif leg.doing in ("motoring", "motorsailing"):
            if self.throttle is None and abs(off) < 1.0:
                ahead = self.scene.wind.speed_mps * math.cos(math.radians(blow_deg - self.heading))
                ahead += leg.speed_mps
                self.throttle = steady_turns(self.boat, leg.speed_mps, ahead, self.scene.rough)
            aim, most = self.throttle or max(self.turns, 5.0), 0.8
        elif leg.doing == "regenerating":
            aim, most = regeneration_turns(self.boat.drive, self.v), 1.0
        else:
            aim, most = 0.0, 1.0
        self.turns += max(-most * dt, min(most * dt, aim - self.turns))

    def push(self, leg: Leg, sea: float, sails: float, ahead: float, dt: float) -> None:
        """Thrust, sails, water and air change the speed."""
        force = thrust_n(self.boat.drive, self.turns, self.v, self.rho)
        force -= self.calm(self.v) * (1 + sea)
        if leg.sail_mps > 0:
            force += self.calm(leg.sail_mps * sails) * (1 + self.scene.rough)
        else:
            force -= air_drag_n(self.boat.hull, ahead)
        self.v = max(0.0, self.v + force / self.mass * dt)


def sail_along(boat: SimBoat, scene: Scene, rng: np.random.Generator, dt_s: float = 1.0) -> Motion:
    """Runs the scene's plan of legs, from lying at the origin, in weather that is drawn."""
    helm = Helm(boat, scene)
    helm.heading = next((x.heading_deg for x in scene.legs if x.heading_deg is not None), 0.0)
    steps = sum(int(leg.duration_s / dt_s) for leg in scene.legs)
    return follow(helm, _weather(steps, dt_s, scene, rng), dt_s)


def follow(helm: Helm, weather: Weather, dt_s: float) -> Motion:
    """Runs the legs of the helm's scene on from where the boat is.

    weather: As long as the legs at least.
    """
    rows: list[tuple[float, ...]] = []
    doing: list[str] = []
    for leg in helm.scene.legs:
        helm.throttle = None
        for _ in range(int(leg.duration_s / dt_s)):
            rows.append(_one(helm, leg, weather, len(rows), dt_s))
            doing.append(leg.doing)
    columns = np.array(rows).T
    return Motion(dt_s, np.array(doing), *columns)


def _one(helm: Helm, leg: Leg, w: Weather, k: int, dt: float) -> tuple[float, ...]:
    """One step of the outing, in the order of `Motion`'s lines."""
    moving = leg.doing not in STILL
    open_frac = 1.0
    if helm.scene.shelter_m:
        open_frac = min(1.0, math.hypot(helm.east, helm.north) / helm.scene.shelter_m)
    se, sn = w.east[k] * open_frac, w.north[k] * open_frac
    blow_deg = w.blow_deg[k]
    off = helm.steer(leg, se, sn, dt) if moving else 0.0
    steered = math.radians(helm.heading + (w.yaw[k] if moving else 0.0))
    blow = math.radians(blow_deg) - steered
    ahead, aside = w.gust[k] * math.cos(blow) + helm.v, w.gust[k] * math.sin(blow)
    helm.drive(leg, off, blow_deg, dt)
    torque = torque_nm(helm.boat.drive, helm.turns, helm.v, helm.rho)
    ve = vn = 0.0
    if moving:
        helm.push(leg, w.sea[k], w.sails[k], ahead, dt)
        track = steered + (math.copysign(0.07, -aside) if leg.sail_mps > 0 else 0.0)  # leeway
        ve, vn = helm.v * math.sin(track) + se, helm.v * math.cos(track) + sn
    else:
        helm.v = 0.0
    helm.east += ve * dt
    helm.north += vn * dt
    power = input_w(helm.boat.drive, helm.turns, torque) if leg.doing != "shore" else 0.0
    return (helm.v, math.degrees(steered) % 360, ve, vn, helm.east, helm.north, se, sn,
            helm.turns, torque, power, ahead, aside)  # fmt: skip
