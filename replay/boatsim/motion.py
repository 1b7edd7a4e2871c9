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
        steps = min(max(speed_mps, 0.0), 7.98) / self.STEP
        k = int(steps)
        share = steps - k
        below, above = self._n[k : k + 2]
        return below * (1 - share) + above * share


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
    sine = _within(cross / max(speed, 0.5), 0.9)
    return (course_deg - math.degrees(math.asin(sine))) % 360


def _within(value: float, most: float) -> float:
    """The value, or the limit it is beyond."""
    return max(-most, min(most, value))


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
    stream = scene.stream
    wind = scene.wind
    east, north = stream.at(np.arange(n, dtype=float) * dt_s)
    east = east + stream.eddy_mps * wander(rng, n, dt_s, 1200.0)
    north = north + stream.eddy_mps * wander(rng, n, dt_s, 1200.0)
    gust = wind.speed_mps * (1 + wind.gust_frac * wander(rng, n, dt_s, 25.0))
    sea = scene.rough * (1 + 0.5 * wander(rng, n, dt_s, 12.0))
    sails = 1 + 0.07 * wander(rng, n, dt_s, 60.0)
    yaw = 1.6 * wander(rng, n, dt_s, 6.0)
    blow = wind.from_deg + wind.veer_deg_h * np.arange(n) * dt_s / 3600
    return Weather(
        east=east.tolist(),
        north=north.tolist(),
        gust=gust.tolist(),
        sea=sea.tolist(),
        sails=sails.tolist(),
        yaw=yaw.tolist(),
        blow_deg=blow.tolist(),
    )


class Helm:
    """The boat under way, one step after another."""

    def __init__(self, boat: SimBoat, scene: Scene) -> None:
        self.boat = boat
        self.scene = scene
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
            east = leg.goal_east_m - self.east
            north = leg.goal_north_m - self.north
            bearing = math.degrees(math.atan2(east, north))
            wanted = course_made_good(bearing, leg.speed_mps, set_east, set_north)
        off = (wanted - self.heading + 180) % 360 - 180
        self.heading = (self.heading + _within(off, 4.0 * dt)) % 360
        return off

    def drive(self, leg: Leg, off: float, blow_deg: float, dt: float) -> None:
        """Moves the shaft's speed towards what the leg wants."""
        if leg.turns_rps is not None:
            aim = leg.turns_rps
            most = 0.8
        elif leg.doing in ("motoring", "motorsailing"):
            if self.throttle is None and abs(off) < 1.0:
                self.throttle = self._turns_for(leg.speed_mps, blow_deg)
            aim = self.throttle or max(self.turns, 5.0)
            most = 0.8
        elif leg.doing == "regenerating":
            aim = regeneration_turns(self.boat.drive, self.v)
            most = 1.0
        else:
            aim = 0.0
            most = 1.0
        self.turns += _within(aim - self.turns, most * dt)

    def _turns_for(self, speed_mps: float, blow_deg: float) -> float:
        """Shaft speed for a speed in the mean wind on this heading. [1/s]"""
        off_bow = math.radians(blow_deg - self.heading)
        ahead = self.scene.wind.speed_mps * math.cos(off_bow)
        ahead += speed_mps
        return steady_turns(self.boat, speed_mps, ahead, self.scene.rough)

    def open_frac(self) -> float:
        """Share of the stream that runs where the boat is."""
        shelter_m = self.scene.shelter_m
        if not shelter_m:
            return 1.0
        return min(1.0, math.hypot(self.east, self.north) / shelter_m)

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
    headings = (leg.heading_deg for leg in scene.legs)
    helm.heading = next((deg for deg in headings if deg is not None), 0.0)
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
    open_frac = helm.open_frac()
    se = w.east[k] * open_frac
    sn = w.north[k] * open_frac
    blow_deg = w.blow_deg[k]
    off = helm.steer(leg, se, sn, dt) if moving else 0.0
    yaw = w.yaw[k] if moving else 0.0
    steered = math.radians(helm.heading + yaw)
    blow = math.radians(blow_deg) - steered
    ahead = w.gust[k] * math.cos(blow) + helm.v
    aside = w.gust[k] * math.sin(blow)
    helm.drive(leg, off, blow_deg, dt)
    torque = torque_nm(helm.boat.drive, helm.turns, helm.v, helm.rho)
    ve = vn = 0.0
    if moving:
        helm.push(leg, w.sea[k], w.sails[k], ahead, dt)
        leeway = math.copysign(0.07, -aside) if leg.sail_mps > 0 else 0.0
        track = steered + leeway
        ve = helm.v * math.sin(track) + se
        vn = helm.v * math.cos(track) + sn
    else:
        helm.v = 0.0
    helm.east += ve * dt
    helm.north += vn * dt
    power = 0.0
    if leg.doing != "shore":
        power = input_w(helm.boat.drive, helm.turns, torque)
    heading_deg = math.degrees(steered) % 360
    over_ground = (helm.v, heading_deg, ve, vn, helm.east, helm.north)
    drive = (helm.turns, torque, power)
    return (*over_ground, se, sn, *drive, ahead, aside)
