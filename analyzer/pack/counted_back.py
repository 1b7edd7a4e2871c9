"""The charge during a trip, counted back from the next full charge.

When the pack is next seen full its charge is known, and so is what flowed between: at a time t of
the trip s(t) = 1 + (1 / C) * integral of I dt from t until full, I what of the current is stored,
positive when the pack gives. What that is worth hangs on the capacity C and the shunt's offset as
they are known by then.

Source: coulomb counting (textbook).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.pack.cell_model import Cell
from analyzer.pack.chemistry import LEAD
from analyzer.pack.soc import PackPosterior
from analyzer.pack.soc.terminal_current import terminal_current
from analyzer.series.derived import cell_temp_c, mean_cell_v
from analyzer.series.series import Series
from logger.boat import Pack
from logger.units import HOUR_S

Floats = npt.NDArray[np.float64]

FULL_SD = 0.01  # how full a pack is that is taken for full; assumed
MOST_SD = 0.04  # a charge known worse than this is no measure of another; assumed
# Others are often charged to 80 or 90 % on purpose: seen at the charger's end is not full.
SEEN_FULL = ("lfp", *LEAD)


@dataclass(frozen=True)
class CountedBack:
    """Charge from a trip's beginning until the pack was full; (n,) each, `step_s` apart.

    t0_us: Of the first, on the log's timeline. soc_frac, sd_frac: Mean and standard deviation.
    """

    t0_us: int
    step_s: float
    soc_frac: Floats
    sd_frac: Floats

    def at(self, t_us: int) -> tuple[float, float] | None:
        """Charge and its standard deviation at a time; None where it is not known well enough."""
        k = round((t_us - self.t0_us) / 1e6 / self.step_s)
        if not 0 <= k <= len(self.soc_frac):
            return None
        k = min(k, len(self.soc_frac) - 1)  # at its end
        if not self.sd_frac[k] <= MOST_SD:
            return None
        return float(self.soc_frac[k]), float(self.sd_frac[k])


def counted_back(series: Series, pack: Pack, at_full: PackPosterior) -> CountedBack | None:
    """Charge over a series that ends when the pack is full; None for cells not surely full then.

    Args:
        at_full: What was known of the pack then, or soon after.
    """
    if pack.chemistry not in SEEN_FULL:
        return None
    cell = Cell.from_dict(at_full.cell)
    volts, temp_c = mean_cell_v(series, pack), cell_temp_c(series, at_full.temp_c)
    sign = -1.0 if at_full.sign_reversed else 1.0
    current = terminal_current(series, cell, sign, volts, temp_c)
    ah, step_h = at_full.capacity_ah, series.step_s / HOUR_S
    ahead_frac = _until_end(current.stored_a - at_full.offset_a) * step_h / ah
    hours = _until_end(np.ones(series.n)) * step_h
    # A wrong capacity is worth more the more flowed since, a wrong offset the longer ago it was.
    capacity_sd = at_full.capacity_sd_ah / ah * np.abs(ahead_frac)
    offset_sd = at_full.offset_sd_a * hours / ah
    var = FULL_SD**2 + capacity_sd**2 + offset_sd**2 + _until_end(current.charge_var)
    return CountedBack(series.t0_us, series.step_s, 1.0 + ahead_frac, np.sqrt(var))


def _until_end(values: Floats) -> Floats:
    """Sums from each on until the last, (n,)."""
    return np.asarray(np.cumsum(values[::-1])[::-1])
