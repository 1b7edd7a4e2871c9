"""An invented boat run leg by leg through a day, and run on from a moment to know the truth."""

import copy
import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from replay.boatsim.boat import SimBoat
from replay.boatsim.motion import Helm, Motion, follow
from replay.boatsim.outing import Electric, Outing
from replay.boatsim.scene import Leg, Scene, Shore
from tests.boats.day import STEP_S, Day

Floats = npt.NDArray[np.float64]

AHEAD_EVERY = 3  # steps of the day in one of a run-on
CHUNK_S = 2400.0  # a run-on is looked at this often
SHORT_S = 120.0  # and on the way to a place to turn at
HOLDS_S = 10.0  # a cell under its cut-off for so long ends it
HOME_M = 60.0


@dataclass(frozen=True)
class Truth:
    """What then happened.

    limit: "reserve", "cell cut-off", "controller cutback", "arrived" or "time".
    distance_m: made good along the course. soc_frac: at the end.
    """

    distance_m: float
    duration_s: float
    limit: str
    soc_frac: float


class Runner:
    """One boat on one day. `at` is the step of the day; a copy runs on by itself."""

    def __init__(self, boat: SimBoat, day: Day, shore: Shore, soc: Floats | None = None) -> None:
        self.boat, self.day, self.at, self.shore = boat, day, 0, shore
        scene = self._scene(())
        self.helm = Helm(boat, scene)
        empty = Motion(STEP_S, np.array([], dtype=str), *(np.zeros(0) for _ in range(13)))
        spread = np.zeros(len(boat.cells.capacity_ah))
        self.electric = Electric(boat, scene, empty, day.loads(0, 0), spread)
        if soc is not None:
            air_c = day.climate.sky.air_c + 1.0
            self.electric.battery = boat.true_cells().pack(soc, air_c)

    def _scene(self, legs: tuple[Leg, ...]) -> Scene:
        c = self.day.climate
        return Scene(legs, c.stream, self.day.wind(self.at), c.sky, self.day.rough(self.at), 0.9,
                     self.shore)  # fmt: skip

    def copy(self) -> "Runner":
        """The same boat at the same moment."""
        other = copy.copy(self)
        other.helm, other.electric = copy.copy(self.helm), copy.copy(self.electric)
        other.electric.battery = self.electric.battery.copy()
        other.electric.runs = copy.copy(self.electric.runs)
        return other

    def run(self, leg: Leg, every: int = 1) -> Outing:
        """One leg, at `every` steps of the day."""
        scene = self._scene((leg,))
        self.helm.scene = scene
        count = int(leg.duration_s / (STEP_S * every))
        motion = follow(self.helm, self.day.weather(self.at, count, every), STEP_S * every)
        out = self.electric.go_on(scene, motion, self.day.loads(self.at, count, every))
        self.at += count * every
        return out

    def rest(self, hours: float, air_c: float) -> None:
        """Lies with nothing switched on: the pack relaxes and takes on the air's warmth."""
        battery = self.electric.battery
        for _ in range(int(hours * 60)):
            battery.source()
            battery.step(0.0, 60.0)
        battery.refresh(0.0, 0.0, air_c)
        battery.temp_c = np.full_like(battery.temp_c, air_c)
        battery.refresh(0.0, 0.0, air_c)


def ended(boat: SimBoat, out: Outing) -> tuple[int | None, str]:
    """First step at which a limit holds, and which."""
    low = np.asarray(out.cell_v.min(axis=1) <= boat.cutoff_v)
    under = max(int(HOLDS_S / out.motion.dt_s), 1)
    held = np.convolve(low, np.ones(under), "full")[: len(low)] >= under
    stops = out.series["controller_v"] <= boat.cutback_v
    found = [
        (int(np.argmax(mask)), name)
        for mask, name in (
            (out.soc_frac <= boat.reserve_frac, "reserve"),
            (held, "cell cut-off"),
            (stops, "controller cutback"),
        )
        if mask.any()
    ]
    return min(found) if found else (None, "time")


def run_on(runner: Runner, leg: Leg, course_deg: float, longest_s: float = 14 * 3600.0) -> Truth:
    """The same leg until something ends it; `runner` is left as it is."""
    mine, spent, far = runner.copy(), 0.0, 0.0
    way = math.radians(course_deg)
    while spent < longest_s:
        out = mine.run(replace(leg, duration_s=CHUNK_S), AHEAD_EVERY)
        last, limit = ended(mine.boat, out)
        made = (out.motion.east_mps * math.sin(way) + out.motion.north_mps * math.cos(way))[:last]
        far += float(made.sum()) * out.motion.dt_s
        spent += len(made) * out.motion.dt_s
        if last is not None:
            return Truth(far, spent, limit, float(out.soc_frac[last]))
    return Truth(far, spent, "time", float(out.soc_frac[-1]))


def run_out(runner: Runner, leg: Leg, course_deg: float, distance_m: float) -> Runner | None:
    """The boat after it has made good a distance on a leg; None where something ends it before."""
    mine, far, way = runner.copy(), 0.0, math.radians(course_deg)
    every = replace(leg, duration_s=SHORT_S)
    for _ in range(int(14 * 3600 / SHORT_S)):
        if far >= distance_m:
            return mine
        out = mine.run(every, AHEAD_EVERY)
        if ended(mine.boat, out)[0] is not None:
            return None
        made = out.motion.east_mps * math.sin(way) + out.motion.north_mps * math.cos(way)
        far += float(made.sum()) * out.motion.dt_s
    return None


def run_to(runner: Runner, leg: Leg, east_m: float, north_m: float) -> Truth:
    """The leg towards a place until the boat is there or something ends it; copies the runner.

    The throttle is set anew every forty minutes for the leg's speed.
    """
    mine, spent, far = runner.copy(), 0.0, 0.0
    leg = replace(
        leg, goal_east_m=east_m, goal_north_m=north_m, heading_deg=None, duration_s=CHUNK_S
    )
    while spent < 20 * 3600.0:
        out = mine.run(leg, AHEAD_EVERY)
        last, limit = ended(mine.boat, out)
        near = np.hypot(out.motion.east_m - east_m, out.motion.north_m - north_m) < HOME_M
        if near.any() and (last is None or int(np.argmax(near)) <= last):
            last, limit = int(np.argmax(near)), "arrived"
        made = np.hypot(out.motion.east_mps, out.motion.north_mps)[:last]
        far += float(made.sum()) * out.motion.dt_s
        spent += len(made) * out.motion.dt_s
        if last is not None:
            return Truth(far, spent, limit, float(out.soc_frac[last]))
    return Truth(far, spent, "time", float(out.soc_frac[-1]))
