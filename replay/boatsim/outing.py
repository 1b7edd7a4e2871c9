"""One outing: motion, then the pack, the cables and the warmth on board, step by step.

Energy closes: what the cells give up against rest, less what they make as heat, is what arrives
at controller, hotel, panels and shore plus what cables and links make as heat.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from replay.boatsim.battery import Battery
from replay.boatsim.boat import SimBoat
from replay.boatsim.drive import loss_w
from replay.boatsim.heat import Runs
from replay.boatsim.motion import Leg, Motion, sail_along
from replay.boatsim.place import Sky, Stream, Wind, wander

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Shore:
    """A charger on the pontoon: constant current up to a voltage, then that voltage."""

    current_a: float = 25.0
    volts: float = 55.6


@dataclass(frozen=True)
class Scene:
    """Everything around the boat on one day."""

    legs: tuple[Leg, ...]
    stream: Stream
    wind: Wind
    sky: Sky
    rough: float
    start_soc: float
    shore: Shore = Shore()
    warm_up_s: float = 0.0  # of charging at the start, left out of the record


@dataclass
class Outing:
    """What truly happened. Arrays of shape (n,) at `dt_s`, cells (n, cells), lugs (n, runs)."""

    boat: SimBoat
    scene: Scene
    motion: Motion
    series: dict[str, Floats]
    cell_v: Floats
    cell_soc: Floats
    cell_temp_c: Floats
    lug_c: Floats
    batteries: dict[int, Battery]  # the whole state, each `keep_s`
    resistances: dict[int, Floats]  # of the runs, at the same steps

    @property
    def n(self) -> int:
        """Number of steps."""
        return len(self.motion.speed_water_mps)


def _loads(
    scene: Scene, boat: SimBoat, motion: Motion, rng: np.random.Generator
) -> dict[str, Floats]:
    """Power of everything but motor and shore. [W] shape (n,) each"""
    n, dt = len(motion.speed_water_mps), motion.dt_s
    t = np.arange(n) * dt
    under_way = ~np.isin(motion.doing, ("shore", "lying"))
    beat = (t + float(rng.uniform(0, 1500))) % 1500.0 < 540.0
    hotel = boat.hotel_w + boat.pilot_w * under_way + boat.fridge_w * beat
    hotel = hotel + 3.0 * wander(rng, n, dt, 20.0)
    cloud = np.exp(scene.sky.cloud_frac * wander(rng, n, dt, 240.0))
    sun = boat.solar_peak_w * scene.sky.clear_frac * scene.sky.sun_frac(t) * cloud
    return {"hotel_w": np.maximum(hotel, 5.0), "solar_w": np.minimum(sun, boat.solar_peak_w)}


def run(boat: SimBoat, scene: Scene, seed: int, dt_s: float = 1.0, keep_s: float = 60.0) -> Outing:
    """Simulates a scene. The same seed gives the same outing, faults or not."""
    rng = np.random.default_rng(seed)
    motion = sail_along(boat, list(scene.legs), scene.stream, scene.wind, scene.rough, rng, dt_s)
    loads = _loads(scene, boat, motion, rng)
    spread = rng.standard_normal(len(boat.cells.capacity_ah))
    return _Electric(boat, scene, motion, loads, spread).walk(keep_s)


class _Electric:
    """The stepping part of an outing."""

    def __init__(
        self, boat: SimBoat, scene: Scene, motion: Motion, loads: dict[str, Floats], spread: Floats
    ) -> None:
        self.boat, self.scene, self.motion, self.loads = boat, scene, motion, loads
        soc = scene.start_soc + 0.004 * spread
        self.battery = Battery(boat.true_cells(), soc, scene.sky.air_c + 1.0)
        self.runs = Runs(boat.runs, scene.sky.air_c + 1.0)
        self.box_c = scene.sky.air_c + 1.0
        self.motor_c = self.controller_c = scene.sky.air_c
        self.volts = 3.33 * len(soc)

    NAMES = (
        "pack_v", "pack_a", "controller_v", "controller_a", "shore_w", "ambient_c", "motor_c",
        "controller_c", "cell_heat_w", "wire_heat_w", "rest_w", "loop_ohm",
    )  # fmt: skip

    def walk(self, keep_s: float) -> Outing:
        """All steps."""
        n, dt = len(self.motion.speed_water_mps), self.motion.dt_s
        self._warm_up()
        series = {k: np.empty(n) for k in self.NAMES}
        cells, lugs = len(self.boat.cells.capacity_ah), len(self.boat.runs)
        v, soc, temp = np.empty((n, cells)), np.empty((n, cells)), np.empty((n, cells))
        lug_c = np.empty((n, lugs))
        batteries: dict[int, Battery] = {}
        resistances: dict[int, Floats] = {}
        power, doing = self.motion.controller_w.tolist(), self.motion.doing.tolist()
        hotel, solar = self.loads["hotel_w"].tolist(), self.loads["solar_w"].tolist()
        turns, torque = self.motion.shaft_rps.tolist(), self.motion.torque_nm.tolist()
        every = max(int(keep_s / dt), 1)
        for k in range(n):
            if k % every == 0 or k == n - 1:
                batteries[k] = self.battery.copy()
            soc[k], temp[k] = self.battery.soc, self.battery.temp_c
            extra = self.boat.faults.extra_ohm(lugs, k * dt)
            if k in batteries:
                resistances[k] = self.runs.resistance_ohm(extra)
            found = self._step(power[k], hotel[k] - solar[k], doing[k], extra, dt)
            lost = loss_w(self.boat.drive, turns[k], torque[k]) if doing[k] != "shore" else 0.0
            self._warm_box(found, lost, dt)
            for name in self.NAMES:
                series[name][k] = found[name]
            v[k], lug_c[k] = self.cell_v, self.runs.lug_c
        series |= self.loads
        return Outing(
            self.boat, self.scene, self.motion, series, v, soc, temp, lug_c, batteries, resistances
        )

    def _warm_up(self) -> None:
        none = np.zeros(len(self.boat.runs))
        for _ in range(int(self.scene.warm_up_s / 5)):
            self._step(0.0, self.boat.hotel_w, "shore", none, 5.0)

    def _step(
        self, controller_w: float, other_w: float, doing: str, extra: Floats, dt: float
    ) -> dict[str, float]:
        cell_e, cell_r = self.battery.source()
        e = float(cell_e.sum())
        r = float(cell_r.sum()) + self.boat.cells.link_ohm
        ohms = self.runs.resistance_ohm(extra)
        loop = float(ohms.sum())
        other_a = other_w / self.volts
        motor_a = motor_current(e - other_a * r, r + loop, controller_w)
        shore_a = 0.0
        if doing == "shore":
            shore = self.scene.shore
            shore_a = max(min(shore.current_a, other_a + motor_a - (e - shore.volts) / r), 0.0)
        current = motor_a + other_a - shore_a
        self.cell_v = cell_e - current * cell_r
        self.volts = e - current * r
        rest = float(self.battery.rest_v.sum())
        self.battery.step(current, dt, self.box_c)
        a = np.full(len(ohms), motor_a)
        post = np.full(len(ohms), self.box_c)
        post[:2] = float(self.battery.temp_c.mean())
        post[-1] = self.controller_c * 0.5 + self.box_c * 0.5
        self.runs.step(a, extra, self.box_c, post, float(doing != "shore"), dt)
        return {
            "pack_v": self.volts, "pack_a": current, "controller_a": motor_a,
            "controller_v": self.volts - motor_a * loop, "shore_w": shore_a * self.volts,
            "ambient_c": self.box_c, "motor_c": self.motor_c, "controller_c": self.controller_c,
            "cell_heat_w": current * (rest - e) + current**2 * r,
            "wire_heat_w": motor_a**2 * loop, "rest_w": current * rest, "loop_ohm": loop,
        }  # fmt: skip

    def _warm_box(self, found: dict[str, float], drive_loss_w: float, dt: float) -> None:
        """Air of the machinery space, motor and controller: one node each."""
        in_controller, in_motor = 0.35 * drive_loss_w, 0.65 * drive_loss_w
        to_air_c = 2.2 * (self.controller_c - self.box_c)
        to_air_m = 4.0 * (self.motor_c - self.box_c)
        self.controller_c += (in_controller - to_air_c) * dt / 1600.0
        self.motor_c += (in_motor - to_air_m) * dt / 9000.0
        outside = self.boat.box_loss_w_k * (self.box_c - self.scene.sky.air_c)
        warmth = to_air_c + to_air_m + found["wire_heat_w"] + found["cell_heat_w"] * 0.3
        self.box_c += (warmth - outside) * dt / self.boat.box_heat_j_k


def motor_current(source_v: float, ohms: float, power_w: float) -> float:
    """Current that brings a power to the end of a resistance. [A] NaN where it cannot be."""
    inside = source_v * source_v - 4 * ohms * power_w
    if inside < 0:
        return math.nan
    return (source_v - math.sqrt(inside)) / (2 * ohms)
