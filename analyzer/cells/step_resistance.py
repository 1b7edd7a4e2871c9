"""Resistance of each cell above the median cell's, from its answer to load steps.

Between two steps of the log in which the current changes by dI, a cell's distance from the median
cell changes by dd = -r dI. Least squares over all such pairs gives r = -sum(dI dd) / sum(dI²), so
that a slow drift of the distance (charge and curve) does not look like resistance.
"""

import math

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

READING_SD_V = 0.0007  # of a step's mean distance, resolution and jitter together; assumed
OFFSET_MEMORY_S = 1800.0  # over which the distance at no load is a mean; assumed
LEAST_STEPS = 3  # load steps before an error can be told; assumed


class StepResistance:
    """Per cell: resistance above the median cell's from load steps, distance at no load.

    Args:
        count: Cells.
    """

    def __init__(self, count: int) -> None:
        self.count = count
        self.sums = np.zeros((3, count))  # of dI², -dI·dd, dd²
        self.steps = np.zeros(count, dtype=np.int64)
        self.offset_v = np.zeros(count)
        self._weight_s = np.zeros(count)
        self._last: tuple[Floats, float] | None = None

    def forget_last(self) -> None:
        """A gap in the log: the next step is compared with nothing."""
        self._last = None

    def step(self, distance_v: Floats, current_a: float, least_a: float, dt_s: float) -> None:
        """Takes in one step's mean distances from the median cell, shape (cells,).

        Args:
            distance_v: NaN where a cell stands on a bend of its curve, where its charge too moves
                its voltage.
            least_a: Changes of the current below this are left out.
        """
        last = self._last
        if last is not None and abs(current_a - last[1]) >= least_a:
            self._take(distance_v - last[0], current_a - last[1])
        self._last = (distance_v, current_a)
        at_rest_v = distance_v + self.excess_ohm() * current_a
        # A mean with weights that fall by e in OFFSET_MEMORY_S.
        known = np.isfinite(at_rest_v)
        self._weight_s = self._weight_s * math.exp(-dt_s / OFFSET_MEMORY_S) + dt_s * known
        share = dt_s / np.maximum(self._weight_s, dt_s)
        self.offset_v += np.where(known, (at_rest_v - self.offset_v) * share, 0.0)

    def _take(self, change_v: Floats, change_a: float) -> None:
        known = np.isfinite(change_v)
        change_v = np.where(known, change_v, 0.0)
        self.sums[0] += known * change_a**2
        self.sums[1] -= change_a * change_v
        self.sums[2] += change_v**2
        self.steps += known

    def excess_ohm(self) -> Floats:
        """Above the median cell, shape (cells,); 0 while nothing was seen."""
        square, cross, _ = self.sums
        nothing = np.zeros(self.count)
        return np.asarray(np.divide(cross, square, out=nothing, where=square > 0))

    def excess_sd_ohm(self) -> Floats:
        """Standard deviation of the above; infinite while nothing was seen."""
        square, cross, change_v2 = self.sums
        enough = self.steps >= LEAST_STEPS
        square = np.where(enough, square, 1.0)
        residual_v2 = np.maximum(change_v2 - cross**2 / square, 0.0)
        noise_v2 = residual_v2 / np.maximum(self.steps, 1) + 2 * READING_SD_V**2
        return np.where(enough, np.sqrt(noise_v2 / square), np.inf)
