"""Levels of cells as a healthy pack leaves them on its way down."""

import numpy as np

from analyzer.cells.levels import Levels
from analyzer.pack.cell_model import chemistry
from logger.boat import Pack

STEP_S = 10.0


def run_down(pack: Pack, amps: float, high: float, low: float) -> Levels:
    """At a steady current from one charge to another, all cells alike and on the curve."""
    kind = chemistry(pack.chemistry)
    levels = Levels(pack, pack.cells_in_series)
    step = amps * STEP_S / 3600 / pack.rated_capacity_ah
    for soc in np.arange(high, low, -step):
        volts = float(kind.ocv_v(soc, 25.0, -1.0))
        levels.move(volts, amps, STEP_S)
        levels.add(volts, np.zeros(pack.cells_in_series), amps, STEP_S)
    return levels
