"""A year of one invented boat, with what was true: 52 weekends, growth, age, a loosening lug.

    python -m tests.boats.year LOG [--weeks N]     # writes the log, prints the truth as JSON

The demo's boat (`replay/boatsim`) goes out once a week from April on. Week by week:

- friction grows with what grows on the bottom, until it is cleaned once (`CLEANED_WEEK`);
- the pack loses capacity and its resistance rises, straight over the year;
- one lug loosens from `LOOSE_FROM_WEEK` on, and is seen to by nobody;
- air, water and so the pack are as warm as the season; wind, stream and sky are drawn.

Every `LONG_EACH`th outing spends the pack nearly whole, so that its capacity shows. The figures
are assumed; growth adds to a bottom's power what yards tell of a year in the water (common
practice, no source). Readings come every two seconds, cells and temperatures every ten.
"""

import argparse
import json
import math
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from logger.store import Block, Group, Store, UtcFix
from replay.boatsim import demo_boat as demo
from replay.boatsim.boat import Faults, SimBoat
from replay.boatsim.instruments import sensors
from replay.boatsim.motion import steady_turns
from replay.boatsim.outing import Outing, move, run
from replay.boatsim.physics.battery import Cells
from replay.boatsim.physics.drive import input_w, torque_nm
from replay.boatsim.physics.place import Sky, Stream, Wind
from replay.boatsim.scene import Leg, Scene, Shore
from tests.support.boat_days import quantum

Floats = npt.NDArray[np.float64]
WEEKS = 52
FIRST_UTC_S = 1775286000.0  # 2026-04-04 07:00 UTC, a Saturday
WEEK_S = 7 * 86400.0
STEP_S = 2.0
SLOW_EACH = 5  # steps from one reading of cells and temperatures to the next
CLEANED_WEEK = 28
GROWTH_A_WEEK = 0.014  # of the smooth hull's friction
CAPACITY_A_YEAR, OHM_A_YEAR = -0.06, 0.15
LOOSE_FROM_WEEK, LOOSE_OHM_A_WEEK, LOOSE_RUN = 18, 30e-6, 1
LONG_EACH = 6
USUAL_MPS = 4.9 * demo.KN  # the middle of its motoring by time
EMPTY_FRAC = 0.03  # the record ends there at the latest; a tenth shows no capacity
BOAT_FILE = Path(demo.__file__).parent.parent / "demo" / "boat.toml"
SLOW = ("cell_", "probe_", "ambient_", "motor_temp", "controller_temp", "pack_temp", "water_temp")


@dataclass(frozen=True)
class Week:
    """What was true of the boat in a week.

    Args:
        start_utc_s: When its record begins.
        rough_frac: Friction over the smooth line's.
        power_over_clean: Power at `USUAL_MPS` over that of the clean bottom, no wind.
        speed_over_clean: Speed at the power that the clean bottom takes there, over that speed.
        capacity_ah: Mean of the cells. ohm_over_new: Their resistance over that of the first week.
        lug_ohm: Added by the loose lug. air_c: Of the day.
    """

    number: int
    start_utc_s: float
    rough_frac: float
    power_over_clean: float
    speed_over_clean: float
    capacity_ah: float
    ohm_over_new: float
    lug_ohm: float
    air_c: float
    long: bool


def weeks(count: int = WEEKS) -> list[Week]:
    """The year as it truly was."""
    clean = demo.demo_boat(faults=False)
    cells = clean.cells
    return [_week(number, clean, float(cells.capacity_ah.mean())) for number in range(count)]


def _week(number: int, clean: SimBoat, capacity_ah: float) -> Week:
    since = number - CLEANED_WEEK if number >= CLEANED_WEEK else number
    rough = clean.hull.rough_frac + GROWTH_A_WEEK * since
    boat = replace(clean, hull=replace(clean.hull, rough_frac=rough))
    years = number / 52
    season = math.cos(2 * math.pi * (number - 16) / 52)  # warmest at the end of July
    start_s = FIRST_UTC_S + number * WEEK_S
    return Week(
        number,
        start_s,
        rough,
        power_w(boat, USUAL_MPS) / power_w(clean, USUAL_MPS),
        _same_power(boat, power_w(clean, USUAL_MPS)) / USUAL_MPS,
        capacity_ah * (1 + CAPACITY_A_YEAR * years),
        1 + OHM_A_YEAR * years,
        max(number - LOOSE_FROM_WEEK, 0) * LOOSE_OHM_A_WEEK,
        14.0 + 8.0 * season,
        number % LONG_EACH == LONG_EACH - 1,
    )


def power_w(boat: SimBoat, speed_mps: float) -> float:
    """At the controller, at a speed in still air and flat water. [W]"""
    turns = steady_turns(boat, speed_mps, speed_mps, 0.0)
    torque = torque_nm(boat.drive, turns, speed_mps, boat.water.density_kg_m3)
    return float(input_w(boat.drive, turns, torque))


def _same_power(boat: SimBoat, power: float) -> float:
    """Speed at a power. [m/s]"""
    speeds = np.arange(0.6, 1.05, 0.01) * USUAL_MPS
    return float(np.interp(power, [power_w(boat, float(v)) for v in speeds], speeds))


def outing(week: Week, seed: int = 24) -> Outing:
    """The weekend's outing."""
    rng = np.random.default_rng([seed, week.number])
    boat = demo.demo_boat(faults=False)
    cells = boat.cells
    assert isinstance(cells, Cells)
    aged = replace(
        cells,
        capacity_ah=cells.capacity_ah * week.capacity_ah / cells.capacity_ah.mean(),
        r_ohm=cells.r_ohm * week.ohm_over_new,
        r1_ohm=cells.r1_ohm * week.ohm_over_new,
        r2_ohm=cells.r2_ohm * week.ohm_over_new,
    )
    loose = Faults(loose_run=LOOSE_RUN, loose_from_s=-1e6, loose_to_s=-9e5, loose_ohm=week.lug_ohm)
    hull = replace(boat.hull, rough_frac=week.rough_frac)
    boat = replace(boat, cells=aged, hull=hull, faults=loose)
    scene = _scene(week, rng)
    number = seed * 1000 + week.number
    return run(boat, scene, number, move(boat, scene, number, STEP_S))


def _scene(week: Week, rng: np.random.Generator) -> Scene:
    day = demo.demo_scene()
    late = rng.uniform(0, 2 * math.pi)
    way = math.radians(rng.normal(112, 15))
    peak = float(rng.uniform(0.2, 0.55))
    parts = peak * math.cos(late), peak * math.sin(late)
    stream = Stream(
        (0.0, parts[0] * math.sin(way), parts[1] * math.sin(way)),
        (0.0, parts[0] * math.cos(way), parts[1] * math.cos(way)),
    )
    wind_mps = float(rng.uniform(1.0, 6.5))
    into_year = (week.start_utc_s - FIRST_UTC_S) / 86400 + 94
    sky = Sky(
        demo.LATITUDE_DEG,
        int(into_year) % 365 + 1,
        day.sky.noon_s,
        float(rng.uniform(0.3, 0.8)),
        0.2,
        week.air_c,
    )
    return replace(
        day,
        legs=_plan(week, rng),
        stream=stream,
        wind=Wind(wind_mps, float(rng.uniform(0, 360)), 0.16, 2.0),
        sky=sky,
        rough=0.009 * wind_mps,
        start_soc=0.93,
        shore=Shore(60.0, 56.2),
        warm_up_s=2700.0,
    )


def _plan(week: Week, rng: np.random.Generator) -> tuple[Leg, ...]:
    """Out under motor, a sail, home under motor, and to the charger."""
    way = float(rng.normal(110, 25)) % 360
    speeds = rng.uniform(3.6, 5.4, 6) * demo.KN
    out = [
        Leg("motoring", 600.0, float(speeds[0]), way),
        Leg("motoring", 780.0, float(speeds[1]), (way + float(rng.normal(0, 30))) % 360),
    ]
    sails = Leg("sailing", 2100.0, 0.0, (way + 180) % 360, float(rng.uniform(3.5, 5.2)) * demo.KN)
    home = [
        Leg("motoring", 660.0, float(speeds[2]), (way + 160) % 360),
        Leg("motoring", 900.0, float(speeds[3]), None, 0.0, -900.0, 100.0),
    ]
    if week.long:
        fast = 5.0 * demo.KN
        out += [Leg("motoring", 2700.0, fast, (way + turn) % 360) for turn in (-20, 90, 200)]
        home = [Leg("motoring", 10800.0, fast, (way + 170) % 360)]
    shore = Leg("shore", 7800.0 if week.long else 3300.0)
    return Leg("shore", 900.0), Leg("lying", 120.0), *out, sails, *home, shore


def channels(day: Outing, week: Week, seed: int = 24) -> tuple[dict[str, Floats], int]:
    """What the logger holds of a day, every step, and how many steps it is long.

    A long outing's motoring ends where the pack is nearly empty: the rest is left out.
    """
    rng = np.random.default_rng([seed, week.number, 3])
    true = sensors.truth(day)
    senses = sensors.electric(day)
    found = {name: senses[name](values, rng) for name, values in true.items() if name in senses}
    found |= sensors.navigation(day, demo.PLACE, rng, None)
    found.pop("controller_fault_code")
    spent = np.flatnonzero((day.soc_frac < EMPTY_FRAC) & (day.motion.doing == "motoring"))
    return found, int(spent[0]) if len(spent) else day.n


def write(path: Path, count: int = WEEKS, seed: int = 24) -> list[Week]:
    """The year's log; what was true of it."""
    told = weeks(count)
    with Store.open(path, write=True) as store:
        store.save_boat(BOAT_FILE.read_text("utf-8"), round(FIRST_UTC_S * 1e6))
        for week in told:
            found, steps = channels(outing(week, seed), week, seed)
            with store.writer(f"week-{week.number:02d}") as writer:
                writer.add(UtcFix(0, round(week.start_utc_s * 1e6), "file", 1.0))
                for block in _blocks(found, steps):
                    writer.add(block)
    return told


def _blocks(found: dict[str, Floats], steps: int) -> Iterator[Block]:
    """Fast and slow channels, in groups of their own."""
    slow = tuple(name for name in found if name.startswith(SLOW))
    places = ("latitude_deg", "longitude_deg", "speed_ground_mps", "course_ground_deg")
    rest = tuple(name for name in found if name not in slow and name not in places)
    for names, each in ((places, 1), (rest, 1), (slow, SLOW_EACH)):
        at = np.arange(0, steps, each)
        group = Group(f"year/{names[0]}", names, tuple(quantum(name) for name in names))
        values = np.column_stack([found[name][at] for name in names])
        yield Block(group, (at * STEP_S * 1e6).astype(np.int64), values)


def main() -> None:
    """Writes the log, and prints what was true."""
    options = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    options.add_argument("log", type=Path)
    options.add_argument("--weeks", type=int, default=WEEKS)
    asked = options.parse_args()
    print(json.dumps([asdict(week) for week in write(asked.log, asked.weeks)]))


if __name__ == "__main__":
    main()
