"""All of one invented boat: fixed properties, faults and its instruments' errors."""

from dataclasses import dataclass
from typing import Protocol, Self

import numpy as np
import numpy.typing as npt

from replay.boatsim.physics.drive import Drive
from replay.boatsim.physics.heat import Run
from replay.boatsim.physics.hull import Hull, Water

Floats = npt.NDArray[np.float64]


class Pack(Protocol):
    """A pack's state, stepped in time; `physics.battery.Battery` says what each part is."""

    temp_c: Floats
    rest_v: Floats

    @property
    def soc(self) -> Floats: ...
    @property
    def whole_ohm(self) -> Floats | float: ...
    def copy(self) -> Self: ...
    def refresh(self, heat_j: float, passed_s: float, air_c: float) -> None: ...
    def source(self) -> tuple[Floats, Floats]: ...
    def step(self, current_a: float, dt_s: float) -> None: ...


class AnyCells(Protocol):
    """A pack's fixed properties."""

    @property
    def capacity_ah(self) -> Floats: ...
    def scaled(self, resistance: Floats, capacity: Floats) -> Self: ...
    def pack(self, soc: Floats, temp_c: float) -> Pack: ...


@dataclass(frozen=True)
class Faults:
    """What is wrong. Cells count from 1; None: nothing of that kind.

    Args:
        weak_cell, weak_factor: A cell of raised resistance; its resistances over sound ones.
        small_cell, small_factor: A cell of less capacity; its capacity over a sound one's.
        low_cell, low_frac: A cell that lies lower in charge than the others, by this much.
        loose_run: Index of the run whose lug loosens, from sound at loose_from_s to
            `loose_ohm` more at loose_to_s.
    """

    weak_cell: int | None = None
    weak_factor: float = 1.0
    small_cell: int | None = None
    small_factor: float = 1.0
    low_cell: int | None = None
    low_frac: float = 0.0
    loose_run: int | None = None
    loose_from_s: float = 0.0
    loose_to_s: float = 1.0
    loose_ohm: float = 0.0

    def extra_ohm(self, runs: int, t_s: float) -> Floats:
        """Contact resistance added to each run at a time. [ohm] shape (runs,)"""
        extra = np.zeros(runs)
        if self.loose_run is not None:
            share = (t_s - self.loose_from_s) / (self.loose_to_s - self.loose_from_s)
            share = min(max(share, 0.0), 1.0)
            extra[self.loose_run] = self.loose_ohm * share * share * (3 - 2 * share)
        return extra

    def charge_deficit(self, cells: int) -> Floats:
        """How much lower each cell lies in charge. [frac] shape (cells,)"""
        lower = np.zeros(cells)
        if self.low_cell is not None:
            lower[self.low_cell - 1] = self.low_frac
        return lower

    def in_cells(self, cells: AnyCells) -> AnyCells:
        """Cells with these faults in them."""
        more, less = np.ones(len(cells.capacity_ah)), np.ones(len(cells.capacity_ah))
        if self.weak_cell is not None:
            more[self.weak_cell - 1] = self.weak_factor
        if self.small_cell is not None:
            less[self.small_cell - 1] = self.small_factor
        return cells.scaled(more, less)


@dataclass(frozen=True)
class Instruments:
    """Constant errors of the sensors; noise and steps are in `sensors.py`."""

    shunt_offset_a: float = 0.0
    shunt_gain: float = 1.0
    volts_gain: float = 1.0
    paddle_gain: float = 1.0
    compass_offset_deg: float = 0.0
    deviation_deg: float = 0.0  # height of the compass's deviation curve
    probe_offset_c: tuple[float, ...] = (0.0,)
    gauge_offset_frac: float = 0.0


@dataclass(frozen=True)
class SimBoat:
    """One invented boat.

    Args:
        cells: As they would be without faults.
        runs: Cable runs in the order positive lug, negative lug, contactor, controller lug.
        rated_ah: What the maker says. cutoff_v: lowest cell. cutback_v: controller's input.
        hotel_w: Always on. pilot_w: under way as well. fridge_w: on and off.
        charge_spread: Standard deviation of the cells' states of charge.
    """

    name: str
    hull: Hull
    water: Water
    drive: Drive
    cells: AnyCells
    runs: tuple[Run, ...]
    rated_ah: float
    cutoff_v: float
    cutback_v: float
    reserve_frac: float
    hotel_w: float
    pilot_w: float
    fridge_w: float
    solar_peak_w: float
    instruments: Instruments = Instruments()
    faults: Faults = Faults()
    charge_spread: float = 0.004

    def true_cells(self) -> AnyCells:
        """The cells with the faults in them."""
        return self.faults.in_cells(self.cells)
