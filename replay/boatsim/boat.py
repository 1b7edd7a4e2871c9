"""All of one invented boat: fixed properties, faults and its instruments' errors."""

from dataclasses import dataclass, field, replace

import numpy as np

from replay.boatsim.battery import Cells
from replay.boatsim.drive import Drive
from replay.boatsim.heat import Run
from replay.boatsim.hull import Hull, Water


@dataclass(frozen=True)
class Faults:
    """What is wrong.

    Args:
        weak_cell: Number of a cell of raised resistance, from 1; None: none.
        weak_factor: Its resistances over what they would be.
        loose_run: Index of the run whose lug loosens; None: none.
        loose_from_s, loose_to_s: It goes from sound to `loose_ohm` more between these.
    """

    weak_cell: int | None = None
    weak_factor: float = 1.0
    loose_run: int | None = None
    loose_from_s: float = 0.0
    loose_to_s: float = 1.0
    loose_ohm: float = 0.0

    def extra_ohm(self, runs: int, t_s: float) -> "np.ndarray[tuple[int], np.dtype[np.float64]]":
        """Contact resistance added to each run at a time. [ohm] shape (runs,)"""
        extra = np.zeros(runs)
        if self.loose_run is not None:
            share = (t_s - self.loose_from_s) / (self.loose_to_s - self.loose_from_s)
            share = min(max(share, 0.0), 1.0)
            extra[self.loose_run] = self.loose_ohm * share * share * (3 - 2 * share)
        return extra


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
        box_heat_j_k, box_loss_w_k: air of the space with battery and controller.
    """

    name: str
    hull: Hull
    water: Water
    drive: Drive
    cells: Cells
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
    box_heat_j_k: float = 9000.0
    box_loss_w_k: float = 28.0
    about: dict[str, str] = field(default_factory=dict)

    def true_cells(self) -> Cells:
        """The cells with the weak one's fault in them."""
        number = self.faults.weak_cell
        if number is None:
            return self.cells
        factor = np.ones(len(self.cells.capacity_ah))
        factor[number - 1] = self.faults.weak_factor
        c = self.cells
        return replace(
            c, r_ohm=c.r_ohm * factor, r1_ohm=c.r1_ohm * factor, r2_ohm=c.r2_ohm * factor
        )

    def without_faults(self) -> "SimBoat":
        """The same boat, sound."""
        return replace(self, faults=Faults())
