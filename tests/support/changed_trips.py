"""Invented outings that differ in one thing: the same way, weather and speeds, another boat."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from replay.boatsim.boat import SimBoat
from replay.boatsim.outing import move, run
from tests.boats.boat_table import boat_table
from tests.boats.random_day import Wish, random_place, random_scene
from tests.boats.voyages import FIRST_DAY_UTC_S, Voyage, measured
from tests.support.changed_boats import in_service, write_until

START_SOC = 0.93  # of every boat, with and without the change; by choice


@dataclass(frozen=True)
class TripPair:
    """One outing, and what it would have been.

    Args:
        day: As it was, as the logger would hold it.
        more: KEY=VALUE to the charge that was truly left more at the end. [frac]
    """

    day: Voyage
    more: dict[str, float]


def trip_pair(number: int) -> TripPair:
    """The outing of that number: out and home without shore power, and its changed boats."""
    boat, place = in_service(number), random_place(np.random.default_rng([number, 21]))
    scene = random_scene(boat, place, np.random.default_rng([number, 22]), Wish(end_soc=0.42))
    scene = replace(scene, legs=scene.legs[1:], warm_up_s=0.0, start_soc=START_SOC)
    motion = move(boat, scene, number)
    outing = run(boat, scene, number, motion)
    said = measured(outing, place, np.random.default_rng([number, 24]))
    true = {"soc_frac": outing.soc_frac}
    table = boat_table(boat, place)
    day = Voyage(number, 0, table, place, boat.faults, FIRST_DAY_UTC_S, said, outing, true)
    more = {}
    for asks, other in _others(boat, table["pack"]["rated_capacity_ah"]).items():
        would = run(other, scene, number, motion)
        more[asks] = float(would.soc_frac[-1] - outing.soc_frac[-1])
    return TripPair(day, more)


def _others(boat: SimBoat, rated_ah: float) -> dict[str, SimBoat]:
    """The boat with another pack, another load, and more panels."""
    return {
        f"pack.rated_capacity_ah={1.5 * rated_ah}": _scaled(boat, 1.5),
        f"pack.rated_capacity_ah={0.85 * rated_ah}": _scaled(boat, 0.85),
        "hotel.power_w=20": replace(boat, hotel_w=20.0, pilot_w=0.0, fridge_w=0.0),
        f"solar.peak_w={boat.solar_peak_w + 200}": replace(
            boat, solar_peak_w=boat.solar_peak_w + 200
        ),
    }


def _scaled(boat: SimBoat, factor: float) -> SimBoat:
    """So many times the plates in each cell."""
    ones = np.ones(len(boat.cells.capacity_ah))
    return replace(boat, cells=boat.cells.scaled(ones / factor, ones * factor))


def write_trip(path: Path, pair: TripPair) -> None:
    """The log of the outing as it was."""
    write_until(path, pair.day, pair.day.n - 1)
