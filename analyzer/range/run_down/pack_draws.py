"""What a run-down starts from, what ends it, and what comes of it."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analyzer.estimation.results import BEYOND
from analyzer.pack.lead_acid.wells import Wells

Floats = npt.NDArray[np.float64]

MOST_S = 72 * 3600.0  # a run-down is not followed beyond three days; assumed
LIMITS = (
    "reserve",
    "weakest cell's cut-off",
    "controller cutback",
    "pack cut-off",
    "motor's temperature",
    "controller's temperature",
    BEYOND,
)
SOC_GRID = np.concatenate(
    [np.linspace(0, 0.1, 41), np.linspace(0.11, 0.9, 80), np.linspace(0.905, 1.0, 20)]
)


@dataclass(frozen=True)
class PackDraws:
    """Equally likely packs; arrays of shape (n,) are per mean cell unless said otherwise.

    soc: charge now, fraction. capacity_ah. resistance_ohm: all terms, settled, one cell.
    weak_resistance_ohm, weak_deficit_frac: of the weakest cell, above the mean cell.
    shift_v: this cell's open-circuit curve above the chemistry's.
    cells: in series. ocv_v: open-circuit voltage at `SOC_GRID`, discharging, shape (g,).
    wells, lag_ah: of lead-acid cells, and how far the available well lies behind now; else None.
    """

    soc: Floats
    capacity_ah: Floats
    resistance_ohm: Floats
    weak_resistance_ohm: Floats
    weak_deficit_frac: Floats
    shift_v: Floats
    cells: int
    ocv_v: Floats
    wells: Wells | None = None
    lag_ah: Floats | None = None

    def take(self, which: npt.NDArray[np.int64]) -> "PackDraws":
        """The draws picked by index."""
        return replace(
            self,
            soc=self.soc[which],
            capacity_ah=self.capacity_ah[which],
            resistance_ohm=self.resistance_ohm[which],
            weak_resistance_ohm=self.weak_resistance_ohm[which],
            weak_deficit_frac=self.weak_deficit_frac[which],
            shift_v=self.shift_v[which],
            wells=None if self.wells is None else self.wells.take(which),
            lag_ah=None if self.lag_ah is None else self.lag_ah[which],
        )


@dataclass(frozen=True)
class Limits:
    """What ends a run.

    reserve_frac: charge to keep. cell_cutoff_v: protection opens at any cell.
    controller_v: controller gives less or stops below; None: not known.
    cable_ohm: pack to controller, there and back.
    """

    reserve_frac: float
    cell_cutoff_v: float
    controller_v: float | None = None
    cable_ohm: float = 0.0


@dataclass(frozen=True)
class RunDown:
    """The run's end per draw and speed, each shape (n, k).

    end_soc: charge of the mean cell at the end. duration_s. limit: index into `LIMITS`.
    """

    end_soc: Floats
    duration_s: Floats
    limit: npt.NDArray[np.int64]
