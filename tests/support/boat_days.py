"""Logs of invented boats' days, as many as wanted, by replay/boatsim."""

from pathlib import Path

import numpy as np
import tomlkit

from logger.store import Block, Group, Quantum, Store, UtcFix
from tests.boats.random_day import Wish
from tests.boats.voyages import Voyage, voyage

# What such sensors resolve; the rest is kept exact. [the channel's unit]
STEPS = (
    ("_voltage_v", 0.001),
    ("_temp_c", 0.1),
    ("_current_a", 0.1),
    ("_power_w", 1.0),
    ("_deg", 1e-7),
    ("_mps", 0.001),
    ("_rps", 0.01),
    ("_nm", 0.1),
    ("_frac", 0.005),
)


def quantum(name: str) -> Quantum:
    """What a sensor of that channel resolves."""
    return Quantum(next((step for ending, step in STEPS if name.endswith(ending)), 0.0))


def write_day(path: Path, seed: int, day: int = 0, seconds: int | None = None) -> Voyage:
    """One day of the boat of that number as a log of its own.

    seconds: Only so much of it; None: all.
    """
    wish = Wish(end_soc=0.9) if seconds else Wish()
    return write_days(path, [voyage(seed, day, wish=wish)], seconds)


def write_days(path: Path, days: list[Voyage], seconds: int | None = None) -> Voyage:
    """Days of one boat in one log, a boot each; the last of them."""
    with Store.open(path, write=True) as store:
        store.save_boat(tomlkit.dumps(days[0].boat_table), round(days[0].t0_utc_s * 1e6))
        for trip in days:
            names = tuple(trip.channels)
            values = np.column_stack([trip.channels[n] for n in names])[:seconds]
            with store.writer(f"boat-{trip.seed}-day-{trip.day}") as writer:
                writer.add(UtcFix(0, round(trip.t0_utc_s * 1e6), "file", 1.0))
                for part in _groups(names):
                    group = Group(f"sim/{part[0]}", part, tuple(quantum(n) for n in part))
                    columns = [names.index(n) for n in part]
                    t_us = np.arange(len(values), dtype=np.int64) * 1_000_000
                    writer.add(Block(group, t_us, values[:, columns]))
    return days[-1]


def _groups(names: tuple[str, ...]) -> list[tuple[str, ...]]:
    """Cells, places and the rest arrive in groups of their own."""
    cells = tuple(n for n in names if n.startswith("cell_"))
    places = ("latitude_deg", "longitude_deg", "speed_ground_mps", "course_ground_deg")
    rest = tuple(n for n in names if n not in cells and n not in places)
    return [cells, places, rest]


def make(number_and_path: tuple[int, str]) -> int:
    """The log of one number, for a pool: boats differ, and so do their days; its bytes.

    Twelve minutes alongside and the first eighteen under way, so that many are soon looked at.
    """
    number, path = number_and_path
    write_day(Path(path), number, number % 3, 1800)
    for left in Path(path).parent.glob(f"{Path(path).name}[-.]*"):
        left.unlink()
    return Path(path).stat().st_size
