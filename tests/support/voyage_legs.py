"""Outings of an invented boat: its speeds, legs and shore charger, and its true pack."""

from dataclasses import dataclass, field, replace

import numpy as np

from analyzer.environment.stream import Calibration
from analyzer.hull.steady_points import SteadyPoints
from analyzer.pack.cell_model import Cell, default_cell, measured_capacity
from analyzer.pack.soc import PackPosterior
from analyzer.pack.soc import known as charge_known
from analyzer.series.series import Series
from tests.support.voyage_pack import Pack
from tests.support.voyages import STEP_S, Craft, Leg, Place

TOP_S, TOP_V = 1800.0, 3.5


@dataclass(frozen=True)
class Known:
    """What earlier trips taught."""

    points: SteadyPoints = field(default_factory=SteadyPoints.none)
    calibration: Calibration | None = None
    charge: PackPosterior | None = None


def at_shore(craft: Craft, pack: Pack, t0: float, *, fill: bool = False) -> Series:
    """On the shore's charger: filled at a fifth of its capacity an hour, then held at the top."""
    parts = [pack.fill(0.2 * craft.true_ah, TOP_V)] if fill else []
    parts.append(pack.charge(TOP_V, TOP_S))
    current, volts = (np.concatenate([p[k] for p in parts]) for k in (0, 1))
    n = len(current)
    noise = craft.rng.standard_normal((2, n))
    values = {
        "pack_voltage_v": 16 * volts * craft.volts_gain + 0.01 * noise[0],
        "pack_current_a": current * craft.shunt_gain + craft.shunt_off + 0.1 * noise[1],
        "pack_temp_c": np.full(n, craft.temp_c),
        "speed_ground_mps": np.abs(0.05 * craft.rng.standard_normal(n)),
        "course_ground_deg": craft.rng.uniform(0, 360, n),
        "shaft_speed_rps": np.zeros(n),
    }
    return Series(round(t0 * 1e6), STEP_S, n, values)


def speeds(craft: Craft) -> tuple[float, float]:
    """The slowest and fastest speed this boat is motored at: two hours' charge at the least."""
    top = 0.36 * np.sqrt(9.81 * craft.hull.length_m)
    while watts(craft, craft.turns_for(top), top) > 0.45 * craft.rated_ah * 51.2:
        top *= 0.95
    return 0.6 * top, top


def watts(craft: Craft, turns: float, speed: float) -> float:
    """Drive input at a shaft speed and speed through water. [W]"""
    return float(craft.drive.input_w(np.array([turns]), np.array([speed]))[0])


def outing_legs(craft: Craft, place: Place, minutes: float) -> list[Leg]:
    """Motoring legs on several courses and speeds, now and then sails or sails with motor."""
    r, low_high = craft.rng, speeds(craft)
    legs, base = [], r.uniform(0, 360)
    while sum(leg.duration_s for leg in legs) < minutes * 60:
        course = (base + r.choice([0.0, 0.0, 90.0, 180.0, -60.0]) + 15 * r.standard_normal()) % 360
        speed = r.uniform(*low_high)
        turns = craft.turns_for(speed, craft.weather_n(place, course, speed))
        kind = r.random()
        seconds = r.uniform(600, 2400)
        if kind < 0.12:
            legs.append(Leg(seconds, course, 0.0))
        elif kind < 0.24:
            legs.append(Leg(seconds, course, turns, r.uniform(0.2, 0.6)))
        else:
            legs.append(Leg(seconds, course, turns))
    return legs


def told_state(craft: Craft, soc: float, t_us: int) -> PackPosterior:
    """The pack's true charge and capacity, as if somebody could know them."""
    return charge_known(craft.boat.pack, soc, 0.003, true_cell(craft), t_us)


def true_cell(craft: Craft) -> Cell:
    """The usual cell with the pack's true capacity."""
    cell = default_cell(craft.boat.pack)
    params = replace(cell.params, capacity_ah=craft.true_ah)
    return measured_capacity(replace(cell, params=params), 0.01)
