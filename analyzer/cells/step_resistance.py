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
        self.steps = 0
        self.offset_v = np.zeros(count)
        self._weight_s = 0.0
        self._last: tuple[Floats, float] | None = None

    def step(self, distance_v: Floats, current_a: float, least_a: float, dt_s: float) -> None:
        """Takes in one step's mean distances from the median cell, shape (cells,).

        Args:
            least_a: Changes of the current below this are left out.
        """
        last = self._last
        if last is not None and abs(current_a - last[1]) >= least_a:
            change_v = distance_v - last[0]
            change_a = current_a - last[1]
            self.sums[0] += change_a**2
            self.sums[1] -= change_a * change_v
            self.sums[2] += change_v**2
            self.steps += 1
        self._last = (distance_v, current_a)
        at_rest_v = distance_v
        if self.steps:
            at_rest_v = distance_v + self.sums[1] / self.sums[0] * current_a
        # A mean with weights that fall by e in OFFSET_MEMORY_S.
        self._weight_s = self._weight_s * math.exp(-dt_s / OFFSET_MEMORY_S) + dt_s
        self.offset_v = self.offset_v + (at_rest_v - self.offset_v) * (dt_s / self._weight_s)

    def excess_ohm(self) -> Floats:
        """Above the median cell, shape (cells,); 0 while nothing was seen."""
        square, cross, _ = self.sums
        nothing = np.zeros(self.count)
        return np.asarray(np.divide(cross, square, out=nothing, where=square > 0))

    def excess_sd_ohm(self) -> Floats:
        """Standard deviation of the above; infinite while nothing was seen."""
        if self.steps < LEAST_STEPS:
            return np.full(self.count, np.inf)
        square, cross, change_v2 = self.sums
        residual_v2 = np.maximum(change_v2 - cross**2 / square, 0.0)
        noise_v2 = residual_v2 / self.steps + 2 * READING_SD_V**2
        return np.asarray(np.sqrt(noise_v2 / square))
