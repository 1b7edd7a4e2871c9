"""Records of an invented boat into a log, and plain counting as they come by.

Plain counting is what an ampere-hour counter and a handheld GPS give: label Ah less counted Ah,
above the reserve, at the mean Wh per mile so far on this outing, +-25 %. It counts from the last
charge that was seen to end (current under 5 % of the label at the end), or from full where
nothing was seen of the charging.
"""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import tomlkit

from logger.store import Block, Group, Store, UtcFix
from tests.boats.kind_boat import KindBoat
from tests.boats.kind_days import Record
from tests.boats.kind_table import kind_table
from tests.support.boat_days import quantum

COUNTING_FRAC = 0.25
FULL_TAIL_FRAC = 0.05
LEAST_M = 300.0  # made good before a mean per mile says anything
PARTS = (("cell_", "block_"), ("probe_",), ("latitude", "longitude", "speed_ground", "course_g"))


class BoatLog:
    """The log of one boat, growing record by record. boat_file and path: for the command line."""

    def __init__(self, folder: Path, of: KindBoat, place) -> None:
        self.path, self.boat_file = folder / "log.sqlite", folder / "boat.toml"
        text = tomlkit.dumps(kind_table(of, place))
        self.boat_file.write_text(text, encoding="utf-8")
        with Store.open(self.path, write=True) as store:
            store.save_boat(text, 0)

    def add(self, record: Record) -> None:
        """Appends a record to its boot."""
        with Store.open(self.path, write=True) as store, store.writer(record.boot) as writer:
            if record.boot_utc_s is not None:
                writer.add(UtcFix(0, round(record.boot_utc_s * 1e6), "gnss", 1.0))
            for names in _groups(tuple(record.channels)):
                group = Group(f"sim/{names[0]}", names, tuple(quantum(n) for n in names))
                values = np.column_stack([record.channels[n] for n in names])
                t_s = record.mono_s + record.step_s * np.arange(len(values))
                writer.add(Block(group, np.round(t_s * 1e6).astype(np.int64), values))


def _groups(names: tuple[str, ...]) -> list[tuple[str, ...]]:
    """Cells, probes, places and the rest arrive apart."""
    parts = [tuple(n for n in names if n.startswith(part)) for part in PARTS]
    rest = tuple(n for n in names if not any(n in part for part in parts))
    return [part for part in (*parts, rest) if part]


@dataclass
class Counter:
    """Plain counting; see the module."""

    label_ah: float
    reserve_frac: float
    recorded: bool  # whether charging is seen
    used_ah: float = 0.0
    boot: str = ""
    energy_wh: float = 0.0
    made_m: float = 0.0
    volts: float = 0.0
    counts: bool = field(default=False)

    def see(self, record: Record) -> None:
        """Counts a record."""
        volts = record.channels["pack_voltage_v"]
        if "pack_current_a" not in record.channels:
            return
        amps, speed = record.channels["pack_current_a"], record.channels["speed_ground_mps"]
        if record.boot != self.boot:
            self.boot, self.energy_wh, self.made_m = record.boot, 0.0, 0.0
            self.used_ah = self.used_ah if self.recorded else 0.0
        hours = record.step_s / 3600
        self.used_ah = max(self.used_ah + float(np.nansum(amps)) * hours, 0.0)
        self.volts, self.counts = float(np.nanmean(volts)), True
        if record.alongside:
            if abs(float(np.nanmean(amps[-20:]))) < FULL_TAIL_FRAC * self.label_ah:
                self.used_ah = 0.0
            return
        both = np.isfinite(speed) & np.isfinite(amps) & np.isfinite(volts)
        self.energy_wh += float((volts * amps)[both].sum()) * hours
        self.made_m += float(speed[both].sum()) * record.step_s

    def range_m(self) -> tuple[float, float, float] | None:
        """Low, middle and high; None where nothing is counted. [m]"""
        if not self.counts or self.made_m < LEAST_M or self.energy_wh <= 0:
            return None
        left_wh = (self.label_ah * (1 - self.reserve_frac) - self.used_ah) * self.volts
        mid = max(left_wh, 0.0) * self.made_m / self.energy_wh
        return mid * (1 - COUNTING_FRAC), mid, mid * (1 + COUNTING_FRAC)
