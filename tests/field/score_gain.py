"""How good `keelwatt gain` is: each measure's gain against the boat simulated with and without it.

    python -m tests.field.score_gain --boats 60

From a full pack at the boat's usual speed, on the course and in the wind of the day, without
stream and sun. Prints how many 80 % ranges held the truth, and how many signs were right; some 30 s
of processor time a boat. A second pack is one of the same lot as the first; what a panel, a night's
load, a clean bottom and a known charge buy is not judged here.
"""

import tempfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from analyzer.answers import open_log
from analyzer.answers.gain.rows import GainRow
from replay.boatsim.ahead import present_course
from replay.boatsim.outing import Outing
from replay.boatsim.physics.battery import Battery
from tests.field.score_what_if import Row, run
from tests.support.changed_boats import (
    cable,
    larger_pack,
    moment,
    propeller,
    true_reach,
    write_until,
)

SIZES_MM2 = (10, 16, 25, 35, 50, 70, 95, 120, 150, 185, 240)  # IEC 60228
HALF_KNOT_MPS = 0.5 * 1852 / 3600  # by definition
Table = dict[str, Any]  # of a boat file
Change = Callable[[Outing, int], Outing]


def full(outing: Outing, at: int) -> Outing:
    """The boat at a step with a full and rested pack, in no stream and no sun."""
    old = outing.batteries[at]
    soc = np.minimum(old.soc - old.soc.mean() + 1.0, 1.02)
    battery = Battery(old.cells, soc, 20.0)
    battery.temp_c = old.temp_c.copy()
    battery.refresh(0.0, 0.0, 20.0)
    still = np.zeros_like(outing.motion.stream_east_mps)
    motion = replace(outing.motion, stream_east_mps=still, stream_north_mps=still)
    series = {**outing.series, "solar_w": np.zeros_like(outing.series["solar_w"])}
    batteries = {**outing.batteries, at: battery}
    return replace(outing, motion=motion, series=series, batteries=batteries)


def next_size(size_mm2: float) -> float:
    """The next size of the standard."""
    return min((size for size in SIZES_MM2 if size > 1.1 * size_mm2), default=size_mm2)


def all_cables(outing: Outing, at: int) -> Outing:
    """Every run one size larger."""
    for k, own in enumerate(outing.boat.runs):
        outing = cable(k, next_size(own.size_mm2))(outing, at)
    return outing


def screw(text: str, day_table: Table) -> Change:
    """The propeller that the answer speaks of, by its diameter and pitch in centimetres."""
    motor = day_table["motor"]
    sizes = text.split(" of ")[1].split(" cm")[0].split(" x ")
    diameter, pitch = (float(size) / 100 for size in sizes)
    larger = abs(diameter / motor["propeller_diameter_m"] - 1) > 0.05
    steps = round(10 * (pitch / motor["propeller_pitch_m"] - 1)) / 10
    return propeller(diameter=1.1 if larger else 1.0, pitch=1 + steps)


def true_m(row: GainRow, outing: Outing, at: int, speed_mps: float, table: Table) -> float | None:
    """What a measure truly buys; None where it is not judged here. [m]"""
    course = present_course(outing, at + 1)
    plain = true_reach(outing, at, speed_mps, course)[0]
    if row.measure == "slower":
        return true_reach(outing, at, speed_mps - HALF_KNOT_MPS, course)[0] - plain
    changes: dict[str, Change] = {
        "second_pack": larger_pack(2.0),
        "larger_pack": larger_pack(1.5),
        "cable": all_cables,
    }
    if row.measure == "propeller":
        changes["propeller"] = screw(row.text, table)
    if row.measure not in changes:
        return None
    changed = changes[row.measure](outing, at)
    return true_reach(changed, at, speed_mps, course)[0] - plain


def boat_rows(number: int) -> Iterator[Row]:
    """Every measure of one boat that is judged here."""
    found = moment(number)
    if found is None:
        return
    day, at = found
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.sqlite"
        write_until(path, day, at)
        with open_log(path, write=True) as log:
            log.refresh()
            answer = log.gain()
    outing = full(day.outing, at)
    for row in answer.rows:
        true = true_m(row, outing, at, answer.speed_water_mps, day.boat_table)
        if true is None:
            continue
        far = row.distance
        ends = (value or 0.0 for value in (far.low, far.mid, far.high))
        yield Row(number, row.measure, *ends, true)


if __name__ == "__main__":
    run(__doc__, boat_rows, 9000)
