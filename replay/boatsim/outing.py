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
Lines = dict[str, Floats]  # by what is measured

FRIDGE_CYCLE_S, FRIDGE_ON_FRAC = 1500.0, 0.36  # assumed
SLOW_S = 20.0  # warmth is worked out this often, assumed
KEEP_STEPS = 60  # the pack's whole state is kept this often, assumed


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
    series: Lines
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


def _loads(boat: SimBoat, scene: Scene, motion: Motion, rng: np.random.Generator) -> Lines:
    """Power of everything but motor and shore. [W] shape (n,) each"""
    n = len(motion.speed_water_mps)
    dt = motion.dt_s
    t = np.arange(n, dtype=float) * dt
    under_way = ~np.isin(motion.doing, STILL)
    late = float(rng.uniform(0, FRIDGE_CYCLE_S))
    cold = (t + late) % FRIDGE_CYCLE_S < FRIDGE_ON_FRAC * FRIDGE_CYCLE_S
    hotel = boat.hotel_w + boat.pilot_w * under_way + boat.fridge_w * cold
    hotel = hotel + 3.0 * wander(rng, n, dt, 20.0)
    sky = scene.sky
    cloud = np.exp(sky.cloud_frac * wander(rng, n, dt, 240.0))
    sun = boat.solar_peak_w * sky.clear_frac * sky.sun_frac(t) * cloud
    return {
        "hotel_w": np.maximum(hotel, 5.0),
        "solar_w": np.minimum(sun, boat.solar_peak_w),
    }


def motor_current(source_v: float, ohms: float, power_w: float) -> float:
    """Current that brings a power to the end of a resistance. [A]

    Where that power cannot be had, the current of the most that can.
    """
    inside = max(source_v * source_v - 4 * ohms * power_w, 0.0)
    return (source_v - math.sqrt(inside)) / (2 * ohms)


class _Kept:
    """What is written down step by step."""

    def __init__(self, steps: int, cells: int) -> None:
        self.cell_v: Floats = np.empty((steps, cells))
        self.soc: Floats = np.empty((steps, cells))
        self.rest_v: Floats = np.empty((steps, cells))
        self.fast: list[tuple[float, ...]] = []
        self.warmth: list[Floats] = []
        self.batteries: dict[int, Battery] = {}
        self.loops: dict[int, float] = {}


class Electric:
    """The stepping part of an outing; `go_on` continues it with more motion."""

    FAST = ("pack_v", "pack_a", "controller_a", "shore_w", "loop_ohm")

    def __init__(
        self,
        boat: SimBoat,
        scene: Scene,
        motion: Motion,
        loads: Lines,
        spread: Floats,
    ) -> None:
        self.boat = boat
        self.scene = scene
        self.motion = motion
        self.loads = loads
        soc = scene.start_soc + boat.charge_spread * spread
        soc -= boat.faults.charge_deficit(len(spread))
        self.battery: Pack = boat.true_cells().pack(soc, scene.sky.air_c + 1.0)
        self.begun_s = 0.0
        self.runs = Runs(boat.runs, scene.sky.air_c + 1.0)
        self.box_c = self.motor_c = self.controller_c = scene.sky.air_c + 1.0
        self.volts = 3.33 * len(soc)
        sound = np.zeros(len(boat.runs))
        self.loop = float(self.runs.resistance_ohm(sound).sum())

    def go_on(self, scene: Scene, motion: Motion, loads: Lines) -> Outing:
        """The next stretch, from the state in which the last one ended."""
        self.begun_s += len(self.motion.speed_water_mps) * self.motion.dt_s
        self.scene = scene
        self.motion = motion
        self.loads = loads
        return self._walk()

    def walk(self) -> Outing:
        """All steps."""
        self._warm_up()
        return self._walk()

    def _walk(self) -> Outing:
        n = len(self.motion.speed_water_mps)
        dt = self.motion.dt_s
        slow = max(int(SLOW_S / dt), 1)
        kept = _Kept(n, len(self.boat.cells.capacity_ah))
        power = self.motion.controller_w.tolist()
        doing = self.motion.doing.tolist()
        other = (self.loads["hotel_w"] - self.loads["solar_w"]).tolist()
        for k in range(n):
            if k % slow == 0:
                kept.warmth.append(self._slow(k, kept.fast[-slow:], dt))
            if k % KEEP_STEPS == 0 or k == n - 1:
                kept.loops[k] = self.loop
                if isinstance(self.battery, Battery):
                    kept.batteries[k] = self.battery.copy()
            kept.soc[k] = self.battery.soc
            on_shore = doing[k] == "shore"
            kept.fast.append(self._fast(power[k], other[k], on_shore, dt))
            kept.cell_v[k] = self.cell_v
            kept.rest_v[k] = self.battery.rest_v
        warm = self._between(np.array(kept.warmth), slow, n)
        return self._outing(kept, warm)

    def _outing(self, kept: "_Kept", warm: Floats) -> Outing:
        """All that happened. warm: at each step, shape (n, 3 + runs + cells)."""
        columns = np.array(kept.fast).T
        series = dict(zip(self.FAST, columns, strict=True))
        series |= self.loads
        ohms = series.pop("loop_ohm")
        series["rest_v"] = kept.rest_v.sum(axis=1)
        series["cell_heat_w"] = series["pack_a"] * (series["rest_v"] - series["pack_v"])
        series["wire_heat_w"] = series["controller_a"] ** 2 * ohms
        drop_v = series["controller_a"] * ohms
        series["controller_v"] = series["pack_v"] - drop_v
        for column, name in enumerate(("ambient_c", "motor_c", "controller_c")):
            series[name] = warm[:, column]
        first_cell = 3 + len(self.boat.runs)
        return Outing(
            boat=self.boat,
            scene=self.scene,
            motion=self.motion,
            series=series,
            cell_v=kept.cell_v,
            cell_soc=kept.soc,
            cell_temp_c=warm[:, first_cell:],
            lug_c=warm[:, 3:first_cell],
            batteries=kept.batteries,
            loop_ohm=kept.loops,
        )

    @staticmethod
    def _between(rows: Floats, slow: int, n: int) -> Floats:
        """Slow rows brought to every step, straight between."""
        at = np.arange(len(rows)) * slow
        steps = np.arange(n)
        columns = [np.interp(steps, at, column) for column in rows.T]
        return np.stack(columns, axis=1)

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
        e = float(cell_e.sum())
        r = float(self.battery.whole_ohm)
        other_a = other_w / self.volts
        shore_a = 0.0
        loop = self.loop
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
        now_s = self.begun_s + max(k, 0) * dt
        extra = self.boat.faults.extra_ohm(lugs, now_s)
        if lately:
            steps = len(lately)
            rest = float(self.battery.rest_v.sum())
            seconds = dt * steps
            square = sum(row[2] ** 2 for row in lately) / steps
            heat = sum(row[1] * (rest - row[0]) for row in lately) / steps
            lost, awake = self._drive_loss(k, steps)
            per_cell_j = heat * seconds / self.cell_v.size
            self.battery.refresh(per_cell_j, seconds, self.box_c)
            # Posts: the pack's at two lugs, half of the controller's warmth at the last.
            post = np.full(lugs, self.box_c)
            post[:2] = self.battery.temp_c[0]
            post[-1] = 0.5 * (self.controller_c + self.box_c)
            squares = np.full(lugs, square)
            self.runs.step(squares, extra, self.box_c, post, awake, seconds)
            self._warm_box(lost, square * self.loop, heat, seconds)
        self.loop = float(self.runs.resistance_ohm(extra).sum())
        box = np.array([self.box_c, self.motor_c, self.controller_c])
        return np.concatenate([box, self.runs.lug_c, self.battery.temp_c])

    def _drive_loss(self, k: int, steps: int) -> tuple[float, float]:
        """Mean loss of the drive over the last steps, and whether its contactor was closed."""
        m = self.motion
        if k < steps or m.doing[k - 1] == "shore":
            return 0.0, 0.0
        turns = float(m.shaft_rps[k - steps : k].mean())
        torque = float(m.torque_nm[k - 1])
        return loss_w(self.boat.drive, turns, torque), 1.0

    def _warm_box(self, drive_w: float, wire_w: float, cells_w: float, dt: float) -> None:
        """Air of the machinery space, motor and controller: one node each, by the drive's size."""
        size = self.boat.drive.rated_power_w / 6400.0
        from_controller = 2.2 * size * (self.controller_c - self.box_c)
        from_motor = 4.0 * size * (self.motor_c - self.box_c)
        outside = 28.0 * size * (self.box_c - self.scene.sky.air_c)
        to_controller = 0.35 * drive_w - from_controller
        to_motor = 0.65 * drive_w - from_motor
        to_box = from_controller + from_motor + wire_w + 0.3 * cells_w
        self.controller_c += to_controller * dt / (1600.0 * size)
        self.motor_c += to_motor * dt / (9000.0 * size)
        self.box_c += (to_box - outside) * dt / (9000.0 * size)
