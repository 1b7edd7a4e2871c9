"""Invented boats with and without a change: what it truly would have done.

The changed boat goes on from the same moment of the same day, in the same state: charge, warmth,
hysteresis, stream, wind. What a change does is the simulator's own physics (`replay/boatsim`),
which shares no code with the analyzer.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
import tomlkit

from logger.store import Block, Group, Store, UtcFix
from replay.boatsim.ahead import (
    Around,
    _going_on,
    _RunDown,
    controller_w,
    ground_speed,
    held,
    mean_of,
    present_course,
    present_speed,
)
from replay.boatsim.boat import Faults, SimBoat
from replay.boatsim.motion import course_made_good
from replay.boatsim.outing import Outing
from replay.boatsim.physics.battery import Battery, Cells
from replay.boatsim.physics.heat import COPPER_OHM_MM2_M, COPPER_PER_K
from tests.boats.kind_boat import aged_frac
from tests.boats.random_boat import random_boat
from tests.boats.voyages import Voyage, voyage
from tests.support.blade_elements import lines
from tests.support.boat_days import quantum

Floats = npt.NDArray[np.float64]
LATELY_S = 300.0  # of which the present is a mean, as in `ahead`
SKIPPED = ("cell_", "probe_", "motor_temp", "controller_temp")


@dataclass(frozen=True)
class Changed:
    """One change: as the skipper asks for it, and what it does to the outing.

    asks: KEY=VALUE. changed: the outing with it, at a kept step.
    """

    asks: str
    changed: Callable[[Outing, int], Outing]


def in_service(number: int) -> SimBoat:
    """The boat of that number with a pack as old as packs in service are.

    `random_boat`'s are all but new (0.98 of the label, sd 0.025), and nothing in the boat file says
    so: a range that counts with packs in service is then wider than the truth is. Ages as those of
    the boats that `tests.field.score` asks about.
    """
    boat = random_boat(number)
    capacity = aged_frac(np.random.default_rng([number, 25]))
    older = 1 + 2.0 * (1 - min(capacity, 1.0))  # resistance grows with age, as in `kind_boat`
    ones = np.ones(len(boat.cells.capacity_ah))
    more = capacity * boat.rated_ah / float(boat.cells.capacity_ah.mean())
    return replace(boat, cells=boat.cells.scaled(ones * older, ones * more))


def moment(number: int, faults: Faults | str = "none") -> tuple[Voyage, int] | None:
    """A boat's day and a steady motoring moment at about half charge; None where it has none."""
    day = voyage(number, faults=faults, boat=in_service(number))  # type: ignore[arg-type]
    asked = day.ask(0.55)
    return None if asked is None else (day, asked.at)


def write_until(path: Path, day: Voyage, at: int, cells: bool = False) -> None:
    """The day's log up to a step; without cells and probes unless wanted, as they take time."""
    names = tuple(n for n in day.channels if cells or not n.startswith(SKIPPED))
    values = np.column_stack([day.channels[name] for name in names])[: at + 1]
    group = Group("sim/all", names, tuple(quantum(name) for name in names))
    with Store.open(path, write=True) as store:
        store.save_boat(tomlkit.dumps(day.boat_table), round(day.t0_utc_s * 1e6))
        with store.writer(f"boat-{day.seed}") as writer:
            writer.add(UtcFix(0, round(day.t0_utc_s * 1e6), "file", 1.0))
            writer.add(Block(group, np.arange(len(values), dtype=np.int64) * 1_000_000, values))


class _ToTheReserve(_RunDown):
    """A run that ends within a step where the reserve is reached, so that small changes show."""

    def _step(self, first: bool) -> None:
        before = getattr(self, "soc_before", None)
        was_alive, now = bool(self.alive[0]), float(self.battery.soc.mean())
        super()._step(first)
        if was_alive and not self.alive[0] and self.limit[0] == "reserve" and before is not None:
            part = (self.boat.reserve_frac - now) / (before - now)
            self.spent_s[0] += self.step_s[0] * (0.5 - part)
            made_mps = self.around.made_mps(self.begun_s + self.spent_s)
            self.made_m[0] += float(made_mps[0] * self.step_s[0] * (0.5 - part))
        self.soc_before = now


def true_reach(
    outing: Outing, at: int, water_mps: float, course_deg: float, goes_on: bool = False
) -> tuple[float, float]:
    """Distance [m] and time [s] from a step on at a speed through water, until the first limit.

    As `ahead.reach`, but the last step ends where the reserve is.

    Args:
        goes_on: Tide turns and nights come, as the answer counts with; else they stay as they are.
    """
    few = int(LATELY_S / outing.motion.dt_s)
    stream = outing.motion.stream_east_mps, outing.motion.stream_north_mps
    east, north = (mean_of(line, at + 1, few) for line in stream)
    heading = course_made_good(course_deg, water_mps, east, north)
    power = controller_w(outing, at * outing.motion.dt_s, water_mps, heading)
    now = held(outing, at, np.array([power]))
    made = ground_speed(course_deg, np.array([water_mps]), east, north)
    around = Around(lambda _: made, lambda _: now.other_w)
    if goes_on:
        around = _going_on(outing, course_deg, np.array([water_mps]))
    run = _ToTheReserve(outing, at, now, around)
    run.to_the_end()
    made_m = run.made_m if goes_on else made * run.spent_s
    return float(made_m[0]), float(run.spent_s[0])


def true_gain(day: Voyage, at: int, change: Changed) -> tuple[float, float]:
    """Distance and time with the change less those without, at the present speed."""
    speed, course = present_speed(day.outing, at + 1), present_course(day.outing, at + 1)
    before = true_reach(day.outing, at, speed, course, goes_on=True)
    after = true_reach(change.changed(day.outing, at), at, speed, course, goes_on=True)
    return after[0] - before[0], after[1] - before[1]


def larger_pack(factor: float) -> Callable[[Outing, int], Outing]:
    """Cells of so many times the plates, as full and as warm as those aboard."""

    def change(outing: Outing, at: int) -> Outing:
        was = outing.batteries[at].cells
        cells = replace(
            was,
            capacity_ah=was.capacity_ah * factor,
            r_ohm=was.r_ohm / factor,
            r1_ohm=was.r1_ohm / factor,
            r2_ohm=was.r2_ohm / factor,
            heat_j_k=was.heat_j_k * factor,
            loss_w_k=was.loss_w_k * factor ** (2 / 3),
            link_ohm=was.link_ohm / factor,
        )
        return _with_cells(outing, at, cells, 1 / factor)

    return change


def _with_cells(outing: Outing, at: int, cells: Cells, sag: float) -> Outing:
    """Other cells in the state of those aboard."""
    old = outing.batteries[at]
    new = Battery(cells, old.soc.copy(), 20.0)
    new.temp_c, new.play, new.sagged = old.temp_c.copy(), old.play.copy(), old.sagged * sag
    new.refresh(0.0, 0.0, 20.0)
    return replace(outing, batteries={**outing.batteries, at: new})


def hotel_w(power_w: float) -> Callable[[Outing, int], Outing]:
    """Everything beside the motor takes so much."""

    def change(outing: Outing, at: int) -> Outing:
        boat = replace(outing.boat, hotel_w=power_w, pilot_w=0.0, fridge_w=0.0)
        return replace(outing, boat=boat)

    return change


def panels(factor: float) -> Callable[[Outing, int], Outing]:
    """So many times the panels."""

    def change(outing: Outing, at: int) -> Outing:
        series = {**outing.series, "solar_w": outing.series["solar_w"] * factor}
        boat = replace(outing.boat, solar_peak_w=outing.boat.solar_peak_w * factor)
        return replace(outing, series=series, boat=boat)

    return change


def cable(run: int, size_mm2: float) -> Callable[[Outing, int], Outing]:
    """One run in another size, as warm as it is under load (40 °C, assumed)."""

    def change(outing: Outing, at: int) -> Outing:
        own = outing.boat.runs[run]
        warm = COPPER_OHM_MM2_M * own.length_m * (1 + COPPER_PER_K * 20)
        less = warm / own.size_mm2 - warm / size_mm2
        return replace(outing, loop_ohm={**outing.loop_ohm, at: outing.loop_ohm[at] - less})

    return change


def propeller(diameter: float = 1.0, pitch: float = 1.0) -> Callable[[Outing, int], Outing]:
    """A propeller of so many times the diameter and pitch: its lines change as blade elements do.

    The simulator's own law draws plausible propellers, one by one; how one changes with its pitch
    is no part of it.
    """

    def change(outing: Outing, at: int) -> Outing:
        drive = outing.boat.drive
        old = drive.pitch_m / drive.diameter_m
        area = 0.35 if drive.blades == 2 else 0.5
        before = lines(old, area, drive.blades)
        after = lines(old * pitch / diameter, area, drive.blades)
        thrust, thrust_slope, torque, torque_slope = np.divide(after, before)
        other = replace(
            drive,
            diameter_m=drive.diameter_m * diameter,
            pitch_m=drive.pitch_m * pitch,
            kt_0=drive.kt_0 * thrust,
            kt_slope=drive.kt_slope * thrust_slope,
            kq_0=drive.kq_0 * torque,
            kq_slope=drive.kq_slope * torque_slope,
        )
        return replace(outing, boat=replace(outing.boat, drive=other))

    return change


def changes_of(day: Voyage) -> dict[str, Changed]:
    """Changes that such a boat can be asked about."""
    table, boat = day.boat_table, day.outing.boat
    rated = table["pack"]["rated_capacity_ah"]
    size = boat.runs[0].size_mm2
    motor = table["motor"]
    made = {
        "half as large again": Changed(
            f"pack.rated_capacity_ah={1.5 * rated}", larger_pack(1.5)
        ),
        "four fifths of the pack": Changed(
            f"pack.rated_capacity_ah={0.8 * rated}", larger_pack(0.8)
        ),
        "hotel load 20 W": Changed("hotel.power_w=20", hotel_w(20.0)),
        "cable of twice the size": Changed(
            f"cable.battery_positive.size_mm2={2 * size}", cable(0, 2 * size)
        ),
        "a tenth more pitch": Changed(
            f"motor.propeller_pitch_m={1.1 * motor['propeller_pitch_m']}", propeller(pitch=1.1)
        ),
        "a tenth less pitch": Changed(
            f"motor.propeller_pitch_m={0.9 * motor['propeller_pitch_m']}", propeller(pitch=0.9)
        ),
        "a tenth more diameter": Changed(
            f"motor.propeller_diameter_m={1.1 * motor['propeller_diameter_m']}",
            propeller(diameter=1.1),
        ),
    }  # fmt: skip
    if boat.solar_peak_w > 0:
        peak = 2 * boat.solar_peak_w
        made["twice the panels"] = Changed(f"solar.peak_w={peak}", panels(2.0))
    return made
