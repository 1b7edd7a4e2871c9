"""Independent voyages with known truth, for tests of range, charge, stream and flags.

    v = voyage(seed)                     # boat `seed`, its first day, with its own faults
    v = voyage(seed, day=1, faults="none", wish=Wish(sail_frac=0.0))
    v.channels["pack_current_a"]         # what the logger would hold: 1 Hz, NaN where missing
    v.true["soc_frac"]                   # what truly was: 1 Hz
    v.boat_table                         # for logger.boat.from_table
    ask = v.ask(0.5, speeds_mps)         # a steady motoring moment at half charge
    ask.reach.distance_m                 # true distance to the first limit, for each speed
    v.home_from(ask.at, 2.3)             # true charge on getting home, the stream running on

The same boat number is the same boat on every day; days differ in stream, weather, plan and
noise. Steps are seconds. Missing on purpose: about a fifth of a percent of values, GPS gaps, and
what a sensor cannot see. Units and names are the logger's.
"""

from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from replay.boatsim.ahead import Reach, present_course, present_speed, reach
from replay.boatsim.boat import Faults, SimBoat
from replay.boatsim.instruments import sensors
from replay.boatsim.outing import Outing, run
from replay.boatsim.physics.place import Place
from tests.boats.boat_table import boat_table
from tests.boats.homeward import Homecoming, home_from
from tests.boats.random_boat import CELL_V, random_boat, random_faults
from tests.boats.random_day import Wish, random_place, random_scene

Floats = npt.NDArray[np.float64]

FIRST_DAY_UTC_S = 1767254400.0  # 2026-01-01 08:00:00 UTC
LOST_FRAC = 0.002
EMPTY_FRAC = 0.12  # of charge: the record ends here at the latest


@dataclass(frozen=True)
class Ask:
    """A moment at which "how far at this speed" has a true answer.

    Args:
        at: Step. t_utc_s: its time. soc_frac: true charge. speed_water_mps: lately.
        course_deg: made good lately. reach: first entry for the present speed, then for those
            asked.
    """

    at: int
    t_utc_s: float
    soc_frac: float
    speed_water_mps: float
    course_deg: float
    reach: Reach


@dataclass
class Voyage:
    """One day of one invented boat. Arrays have shape (n,), one value a second."""

    seed: int
    day: int
    boat_table: dict[str, Any]
    place: Place
    faults: Faults
    t0_utc_s: float
    channels: dict[str, Floats]
    outing: Outing
    true: dict[str, Floats]

    @property
    def n(self) -> int:
        """Number of seconds: the whole plan, or until the pack was too low to go on."""
        return len(self.true["soc_frac"])

    def ask(self, soc_frac: float, speeds_mps: Floats | None = None) -> Ask | None:
        """The first moment at or below a charge that has seven minutes of one motoring leg behind
        it; None where the voyage has none.

        speeds_mps: Other speeds through water to answer for, shape (k,).
        """
        at = self._steady(soc_frac)
        if at is None:
            return None
        present = present_speed(self.outing, at + 1)
        others = np.zeros(0) if speeds_mps is None else speeds_mps
        ahead = reach(self.outing, at, np.concatenate([[present], others]))
        soc = float(self.outing.soc_frac[at])
        course = present_course(self.outing, at + 1)
        return Ask(at, self.t0_utc_s + at, soc, present, course, ahead)

    def _steady(self, soc_frac: float) -> int | None:
        start, soc = 0, self.outing.soc_frac
        for leg in self.outing.scene.legs:
            end = start + int(leg.duration_s)
            if leg.doing == "motoring":
                for at in range(-(-(start + 420) // 60) * 60, min(end, self.n), 60):
                    if soc[at] <= soc_frac:
                        return at
            start = end
        return None

    def home_from(self, at: int, speed_mps: float) -> Homecoming:
        """Turns at a kept step (a multiple of 60) and motors straight home at a speed."""
        return home_from(self.outing, at, speed_mps)


def voyage(
    seed: int,
    day: int = 0,
    *,
    faults: Literal["drawn", "none"] | Faults = "drawn",
    wish: Wish | None = None,
    boat: SimBoat | None = None,
    wind_sensor: bool = False,
) -> Voyage:
    """One day of the boat of that number.

    Args:
        seed: Boat's number. day: 0, 1, ... of the same boat.
        faults: "drawn": half the boats have one (the same on every day, a lug's begins anew);
            "none"; or what is wanted.
        boat: Another boat to take instead of `random_boat(seed)`.
        wind_sensor: Apparent wind is measured too.
    """
    wish = Wish() if wish is None else wish
    sound = random_boat(seed) if boat is None else boat
    place = random_place(np.random.default_rng([seed, 21]))
    scene = random_scene(sound, place, np.random.default_rng([seed, 22, day]), wish)
    if faults == "drawn":
        volts = len(sound.cells.capacity_ah) * CELL_V
        current = 0.65 * sound.drive.rated_power_w / volts
        drawn = random_faults(
            np.random.default_rng([seed, 23]), int(volts / CELL_V), 3000.0, current
        )
        sound = replace(sound, faults=drawn)
    elif isinstance(faults, Faults):
        sound = replace(sound, faults=faults)
    outing = run(sound, scene, seed * 1000 + day)
    rng = np.random.default_rng([seed, 24, day])
    t0 = FIRST_DAY_UTC_S + 86400.0 * day
    last = int(np.argmax(outing.soc_frac < EMPTY_FRAC)) or outing.n
    said = measured(outing, place, rng)
    if wind_sensor:
        said |= sensors.wind(outing, rng)
    channels = {k: v[:last] for k, v in said.items()}
    true = {k: v[:last] for k, v in _true(outing).items()}
    table = boat_table(sound, place)
    return Voyage(seed, day, table, place, sound.faults, t0, channels, outing, true)


def measured(outing: Outing, place: Place, rng: np.random.Generator) -> dict[str, Floats]:
    """Everything the instruments say, each second, by the logger's channel names."""
    senses = sensors.electric(outing)
    out = {name: senses[name](value, rng) for name, value in sensors.truth(outing).items()}
    gap = int(rng.integers(600, max(outing.n - 200, 601)))
    nav = sensors.navigation(outing, place, rng, (gap, gap + int(rng.integers(10, 120))))
    out |= {name: sensors.NAVIGATION[name](value, rng) for name, value in nav.items()}
    out["course_ground_deg"][out["speed_ground_mps"] < 0.15] = np.nan
    out["variation_deg"] = np.full(outing.n, place.variation_deg)
    for value in out.values():
        value[rng.random(outing.n) < LOST_FRAC] = np.nan
    return out


def _true(outing: Outing) -> dict[str, Floats]:
    m, s = outing.motion, outing.series
    true = {
        "soc_frac": outing.soc_frac,
        "speed_water_mps": m.speed_water_mps,
        "heading_true_deg": m.heading_deg,
        "stream_east_mps": m.stream_east_mps,
        "stream_north_mps": m.stream_north_mps,
        "east_m": m.east_m,
        "north_m": m.north_m,
        "controller_w": m.controller_w,
        "hotel_w": s["hotel_w"],
        "solar_w": s["solar_w"],
        "pack_w": s["pack_v"] * s["pack_a"],
        "pack_a": s["pack_a"],
        "rest_v": s["rest_v"],
        "wire_heat_w": s["wire_heat_w"],
        "cell_heat_w": s["cell_heat_w"],
    }
    for k, run_ in enumerate(outing.boat.runs):
        true[f"lug_{run_.name}_temp_c"] = outing.lug_c[:, k]
    return true
