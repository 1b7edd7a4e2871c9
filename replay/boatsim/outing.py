"""One outing: motion, then the pack, the cables and the warmth on board, step by step.

Energy closes: what the cells give up against rest, less what they make as heat, is what arrives
at controller, hotel, panels and shore plus what cables make as heat.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from replay.boatsim.boat import Pack, SimBoat
from replay.boatsim.motion import Motion, sail_along
from replay.boatsim.physics.battery import Battery
from replay.boatsim.physics.drive import loss_w
from replay.boatsim.physics.heat import Runs
from replay.boatsim.physics.place import wander
from replay.boatsim.scene import STILL, Scene

Floats = npt.NDArray[np.float64]

FRIDGE_CYCLE_S, FRIDGE_ON_FRAC = 1500.0, 0.36  # assumed
SLOW_S = 20.0  # warmth is worked out this often, assumed


@dataclass
class Outing:
    """What truly happened. Arrays of shape (n,) at `dt_s`, cells (n, cells), lugs (n, runs).

    series: pack_v, pack_a, controller_v, controller_a, shore_w, hotel_w, solar_w, ambient_c,
        motor_c, controller_c, and for the balance of energy rest_v (all cells, no current, after
        full relaxation), cell_heat_w, wire_heat_w.
    batteries: the pack's whole state before a step, kept each minute and at the last step (of a
        `Battery` alone).
    loop_ohm: all cable runs and joints together at the same steps.
    """

    boat: SimBoat
    scene: Scene
    motion: Motion
    series: dict[str, Floats]
    cell_v: Floats
    cell_soc: Floats
    cell_temp_c: Floats
    lug_c: Floats
    batteries: dict[int, Battery]
    loop_ohm: dict[int, float]

    @property
    def n(self) -> int:
        """Number of steps."""
        return len(self.motion.speed_water_mps)

    @property
    def soc_frac(self) -> Floats:
        """State of charge: the cells' mean, each over its own capacity. Shape (n,)"""
        return np.asarray(self.cell_soc.mean(axis=1))


def move(boat: SimBoat, scene: Scene, seed: int, dt_s: float = 1.0) -> Motion:
    """The motion alone; `run` with the same seed has the same one."""
    return sail_along(boat, scene, np.random.default_rng([seed, 10]), dt_s)


def run(boat: SimBoat, scene: Scene, seed: int, motion: Motion | None = None) -> Outing:
    """Simulates a scene. The same seed gives the same day, faults or not.

    motion: as `move` gave it for this boat, scene and seed, to save the time.
    """
    motion = move(boat, scene, seed) if motion is None else motion
    rng = np.random.default_rng([seed, 11])
    loads = _loads(boat, scene, motion, rng)
    spread = rng.standard_normal(len(boat.cells.capacity_ah))
    return Electric(boat, scene, motion, loads, spread).walk()


def _loads(
    boat: SimBoat, scene: Scene, motion: Motion, rng: np.random.Generator
) -> dict[str, Floats]:
    """Power of everything but motor and shore. [W] shape (n,) each"""
    n, dt = len(motion.speed_water_mps), motion.dt_s
    t = np.arange(n, dtype=float) * dt
    under_way = ~np.isin(motion.doing, STILL)
    late = float(rng.uniform(0, FRIDGE_CYCLE_S))
    cold = (t + late) % FRIDGE_CYCLE_S < FRIDGE_ON_FRAC * FRIDGE_CYCLE_S
    hotel = boat.hotel_w + boat.pilot_w * under_way + boat.fridge_w * cold
    hotel = hotel + 3.0 * wander(rng, n, dt, 20.0)
    cloud = np.exp(scene.sky.cloud_frac * wander(rng, n, dt, 240.0))
    sun = boat.solar_peak_w * scene.sky.clear_frac * scene.sky.sun_frac(t) * cloud
    return {"hotel_w": np.maximum(hotel, 5.0), "solar_w": np.minimum(sun, boat.solar_peak_w)}


def motor_current(source_v: float, ohms: float, power_w: float) -> float:
    """Current that brings a power to the end of a resistance. [A]

    Where that power cannot be had, the current of the most that can.
    """
    inside = max(source_v * source_v - 4 * ohms * power_w, 0.0)
    return (source_v - math.sqrt(inside)) / (2 * ohms)


class Electric:
    """The stepping part of an outing; `go_on` continues it with more motion."""

    FAST = ("pack_v", "pack_a", "controller_a", "shore_w", "loop_ohm")

    def __init__(
        self, boat: SimBoat, scene: Scene, motion: Motion, loads: dict[str, Floats], spread: Floats
    ) -> None:
        self.boat, self.scene, self.motion, self.loads = boat, scene, motion, loads
        soc = (
            scene.start_soc + boat.charge_spread * spread - boat.faults.charge_deficit(len(spread))
        )
        self.battery: Pack = boat.true_cells().pack(soc, scene.sky.air_c + 1.0)
        self.begun_s = 0.0
        self.runs = Runs(boat.runs, scene.sky.air_c + 1.0)
        self.box_c = self.motor_c = self.controller_c = scene.sky.air_c + 1.0
        self.volts = 3.33 * len(soc)
        self.loop = float(self.runs.resistance_ohm(np.zeros(len(boat.runs))).sum())

    def go_on(self, scene: Scene, motion: Motion, loads: dict[str, Floats]) -> Outing:
        """The next stretch, from the state in which the last one ended."""
        self.begun_s += len(self.motion.speed_water_mps) * self.motion.dt_s
        self.scene, self.motion, self.loads = scene, motion, loads
        return self._walk()

    def walk(self) -> Outing:
        """All steps."""
        self._warm_up()
        return self._walk()

    def _walk(self) -> Outing:
        n, dt, keep = len(self.motion.speed_water_mps), self.motion.dt_s, 60
        cells, slow = len(self.boat.cells.capacity_ah), max(int(SLOW_S / dt), 1)
        v, soc, rest = np.empty((n, cells)), np.empty((n, cells)), np.empty((n, cells))
        fast: list[tuple[float, ...]] = []
        warmth: list[Floats] = []
        batteries: dict[int, Battery] = {}
        loops: dict[int, float] = {}
        power, doing = self.motion.controller_w.tolist(), self.motion.doing.tolist()
        other = (self.loads["hotel_w"] - self.loads["solar_w"]).tolist()
        for k in range(n):
            if k % slow == 0:
                warmth.append(self._slow(k, fast[-slow:], dt))
            if k % keep == 0 or k == n - 1:
                loops[k] = self.loop
                if isinstance(self.battery, Battery):
                    batteries[k] = self.battery.copy()
            soc[k] = self.battery.soc
            fast.append(self._fast(power[k], other[k], doing[k] == "shore", dt))
            v[k], rest[k] = self.cell_v, self.battery.rest_v
        series = dict(zip(self.FAST, np.array(fast).T, strict=True)) | self.loads
        ohms = series.pop("loop_ohm")
        series["rest_v"] = rest.sum(axis=1)
        series["cell_heat_w"] = series["pack_a"] * (series["rest_v"] - series["pack_v"])
        series["wire_heat_w"] = series["controller_a"] ** 2 * ohms
        series["controller_v"] = series["pack_v"] - series["controller_a"] * ohms
        warm = self._between(np.array(warmth), slow, n)
        lugs = len(self.boat.runs)
        series |= {"ambient_c": warm[:, 0], "motor_c": warm[:, 1], "controller_c": warm[:, 2]}
        return Outing(
            self.boat, self.scene, self.motion, series, v, soc, warm[:, 3 + lugs :],
            warm[:, 3 : 3 + lugs], batteries, loops,
        )  # fmt: skip

    @staticmethod
    def _between(rows: Floats, slow: int, n: int) -> Floats:
        """Slow rows brought to every step, straight between."""
        at = np.arange(len(rows)) * slow
        return np.stack([np.interp(np.arange(n), at, c) for c in rows.T], axis=1)

    def _warm_up(self) -> None:
        rows: list[tuple[float, ...]] = []
        for k in range(int(self.scene.warm_up_s / 5)):
            rows.append(self._fast(0.0, self.boat.hotel_w, True, 5.0))
            if k % 4 == 3:
                self._slow(-1, rows[-4:], 5.0)

    def _fast(
        self, controller_w: float, other_w: float, on_shore: bool, dt: float
    ) -> tuple[float, ...]:
        """One step of the pack, in the order of `FAST`."""
        cell_e, cell_r = self.battery.source()
        e, r = float(cell_e.sum()), float(self.battery.whole_ohm)
        other_a, shore_a, loop = other_w / self.volts, 0.0, self.loop
        motor_a = motor_current(e - other_a * r, r + loop, controller_w)
        if on_shore:
            shore = self.scene.shore
            wanted = other_a + motor_a - (e - shore.volts) / r
            shore_a = max(min(shore.current_a, wanted), 0.0)
        current = motor_a + other_a - shore_a
        self.volts = e - current * r
        self.cell_v = cell_e - current * cell_r
        self.battery.step(current, dt)
        return (self.volts, current, motor_a, shore_a * self.volts, loop)

    def _slow(self, k: int, lately: list[tuple[float, ...]], dt: float) -> Floats:
        """Warmth after what happened lately; returns box, motor, controller, lugs, cells."""
        lugs = len(self.boat.runs)
        extra = self.boat.faults.extra_ohm(lugs, self.begun_s + max(k, 0) * dt)
        if lately:
            steps, rest = len(lately), float(self.battery.rest_v.sum())
            seconds = dt * steps
            square = sum(row[2] ** 2 for row in lately) / steps
            heat = sum(row[1] * (rest - row[0]) for row in lately) / steps
            lost, awake = self._drive_loss(k, steps)
            self.battery.refresh(heat * seconds / self.cell_v.size, seconds, self.box_c)
            post = np.full(lugs, self.box_c)
            post[:2] = self.battery.temp_c[0]
            post[-1] = 0.5 * (self.controller_c + self.box_c)
            self.runs.step(np.full(lugs, square), extra, self.box_c, post, awake, seconds)
            self._warm_box(lost, square * self.loop, heat, seconds)
        self.loop = float(self.runs.resistance_ohm(extra).sum())
        box = np.array([self.box_c, self.motor_c, self.controller_c])
        return np.concatenate([box, self.runs.lug_c, self.battery.temp_c])

    def _drive_loss(self, k: int, steps: int) -> tuple[float, float]:
        """Mean loss of the drive over the last steps, and whether its contactor was closed."""
        m = self.motion
        if k < steps or m.doing[k - 1] == "shore":
            return 0.0, 0.0
        turns, torque = float(m.shaft_rps[k - steps : k].mean()), float(m.torque_nm[k - 1])
        return loss_w(self.boat.drive, turns, torque), 1.0

    def _warm_box(self, drive_w: float, wire_w: float, cells_w: float, dt: float) -> None:
        """Air of the machinery space, motor and controller: one node each, by the drive's size."""
        size = self.boat.drive.rated_power_w / 6400.0
        from_controller = 2.2 * size * (self.controller_c - self.box_c)
        from_motor = 4.0 * size * (self.motor_c - self.box_c)
        self.controller_c += (0.35 * drive_w - from_controller) * dt / (1600.0 * size)
        self.motor_c += (0.65 * drive_w - from_motor) * dt / (9000.0 * size)
        outside = 28.0 * size * (self.box_c - self.scene.sky.air_c)
        warmth = from_controller + from_motor + wire_w + 0.3 * cells_w
        self.box_c += (warmth - outside) * dt / (9000.0 * size)
