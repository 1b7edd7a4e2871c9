"""Recordings whose truth is known: the demo's outing and invented boats of other kinds.

A recording is what the instruments said, one array of times and one of values for each channel,
so that a channel can be broken without its neighbours. The truth stays in the simulated outing.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from logger.units import DAY_S
from replay.boatsim import demo, demo_boat
from replay.boatsim.boat import SimBoat
from replay.boatsim.outing import Outing, run
from replay.boatsim.physics.place import Place, Sky
from replay.boatsim.scene import Leg, Scene
from tests.boats import voyages
from tests.boats.boat_table import boat_table
from tests.boats.random_boat import CELL_V, random_boat, random_faults
from tests.boats.random_day import Wish, random_place, random_scene

Floats = npt.NDArray[np.float64]

EMPTY_FRAC = 0.12  # of charge: a recording ends here at the latest, as `voyages` does
DEMO = -1  # the boat's number that means the demo

# Channels that one device sends together, so that they fail together.
DEVICES: dict[str, tuple[str, ...]] = {
    "pack sensor": ("pack_voltage_v", "pack_current_a"),
    "gauge": ("pack_soc_frac", "pack_temp_c"),
    "cell monitor": ("cell_",),
    "controller": ("controller_", "shaft_speed_rps", "motor_"),
    "gps": ("latitude_deg", "longitude_deg", "speed_ground_mps", "course_ground_deg"),
    "speed log": ("speed_water_mps", "water_temp_c"),
    "compass": ("heading_magnetic_deg", "variation_deg"),
    "charging": ("solar_power_w", "shore_power_w"),
    "probes": ("probe_", "ambient_temp_c"),
}

# What a boat has on board; a skipper with little to measure with is the usual one.
KITS: dict[str, tuple[str, ...]] = {
    "all": tuple(DEVICES),
    "plain": ("pack sensor", "gps"),
    "no cells": ("pack sensor", "gps", "controller", "speed log", "compass"),
    "no pack sensor": ("controller", "gps", "gauge", "charging"),
    "gauge and gps": ("gauge", "gps"),
    "no gps": ("pack sensor", "cell monitor", "controller", "speed log", "compass"),
}


@dataclass(frozen=True)
class Reading:
    """One channel's readings: times since the recording's start [s] and values, shape (n,)."""

    t_s: Floats
    value: Floats


@dataclass(frozen=True)
class Recording:
    """What was recorded and what truly was.

    Args:
        boat: Content of boat.toml.
        readings: Channel -> readings; missing values are NaN.
        boots: When each boot of the recorder began, and by how much its date is wrong. [s]
    """

    name: str
    boat: dict[str, Any]
    readings: Mapping[str, Reading]
    outing: Outing
    start_utc_s: float
    place: Place
    boots: tuple[tuple[float, float], ...] = ((0.0, 0.0),)

    @property
    def length_s(self) -> int:
        """Seconds until the plan ends or the pack is nearly empty."""
        low = self.outing.soc_frac < EMPTY_FRAC
        return int(np.argmax(low)) if low.any() else self.outing.n


@dataclass(frozen=True)
class Throttle:
    """A throttle that is moved on a motoring leg: speeds wanted times `factor`.

    Args:
        from_s: When. factor: of the leg's speed through water.
        every_s: Back and forth this often from then on; 0: once.
    """

    from_s: int
    factor: float
    every_s: int = 0

    def factor_at(self, t_s: int) -> float:
        """What holds at a time."""
        if t_s < self.from_s:
            return 1.0
        there = not self.every_s or (t_s - self.from_s) // self.every_s % 2 == 0
        return self.factor if there else 1.0


def devices_of(channel: str) -> str:
    """The device that sends a channel."""
    return next(d for d, names in DEVICES.items() if channel.startswith(names))


def channels_of(device: str, among: Mapping[str, Reading]) -> tuple[str, ...]:
    """What of a recording comes from a device."""
    return tuple(name for name in among if name.startswith(DEVICES[device]))


def split(legs: tuple[Leg, ...], throttle: Throttle | None) -> tuple[Leg, ...]:
    """The same plan with the throttle moved: no leg is longer or shorter than before."""
    if throttle is None:
        return legs
    out: list[Leg] = []
    start = 0
    for leg in legs:
        end = start + int(leg.duration_s)
        out += _pieces(leg, start, end, throttle)
        start = end
    return tuple(out)


def _pieces(leg: Leg, start: int, end: int, throttle: Throttle) -> list[Leg]:
    if leg.doing != "motoring":
        return [leg]
    moves = [throttle.from_s]
    if throttle.every_s:
        moves = list(range(throttle.from_s, end, throttle.every_s))
    edges = [start, *(t for t in moves if start < t < end), end]
    return [
        replace(leg, duration_s=b - a, speed_mps=leg.speed_mps * throttle.factor_at(a))
        for a, b in pairwise(edges)
    ]


def scene_of(number: int, day: int = 0) -> tuple[SimBoat, Place, Scene]:
    """Boat, place and day of that number."""
    if number == DEMO:
        return demo_boat.demo_boat(), demo_boat.PLACE, demo_boat.demo_scene()
    boat = random_boat(number)
    place = random_place(np.random.default_rng([number, 21]))
    scene = random_scene(boat, place, np.random.default_rng([number, 22, day]), Wish())
    cells = len(boat.cells.capacity_ah)
    current = 0.65 * boat.drive.rated_power_w / (cells * CELL_V)
    faults = random_faults(np.random.default_rng([number, 23]), cells, 3000.0, current)
    return replace(boat, faults=faults), place, scene


@lru_cache(maxsize=4)
def _sailed(number: int, throttle: Throttle | None) -> tuple[Outing, Place, dict[str, Floats]]:
    boat, place, scene = scene_of(number)
    seed = demo.DEFAULT_SEED if number == DEMO else number * 1000
    outing = run(boat, replace(scene, legs=split(scene.legs, throttle)), seed)
    rng = np.random.default_rng([abs(number), 24])
    return outing, place, voyages.measured(outing, place, rng)


def start_utc_s(sky: Sky, place: Place) -> float:
    """When a day must have begun so that its sun stands as it does over its place, within the
    equation of time's quarter of an hour. [s] UTC, to the minute; the year is `voyages`'."""
    day_utc_s = voyages.FIRST_DAY_UTC_S // DAY_S * DAY_S + (sky.day - 1) * DAY_S
    noon_utc_s = day_utc_s + DAY_S / 2 - place.longitude_deg / 360 * DAY_S
    return round((noon_utc_s - sky.noon_s) / 60) * 60.0


def recording(number: int, kit: str = "all", throttle: Throttle | None = None) -> Recording:
    """The sound recording of a boat's day.

    Args:
        number: Of an invented boat, or `DEMO`. kit: What it has on board, see `KITS`.
    """
    outing, place, said = _sailed(number, throttle)
    t_s = np.arange(outing.n, dtype=float)
    wanted = {name for device in KITS[kit] for name in channels_of(device, said)}  # type: ignore[arg-type]
    readings = {name: Reading(t_s, value) for name, value in said.items() if name in wanted}
    if number == DEMO:
        table = tomllib.loads((demo.SHIPPED / "boat.toml").read_text(encoding="utf-8"))
        table.pop("source", None)
        name, start = "demo", demo_boat.START_UTC_S
    else:
        table = boat_table(outing.boat, place)
        name, start = f"boat {number}", start_utc_s(outing.scene.sky, place)
    return Recording(f"{name}, {kit}", table, readings, outing, start, place)
