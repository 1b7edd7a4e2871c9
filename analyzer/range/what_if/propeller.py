"""Another propeller: what it does to the power, by a published series and the boat's own slip.

How heavily the propeller is loaded is drawn: by the power and the efficiency that such drives have
from battery to tow rope, and where the shaft's turns are known by the advance in each of them,
which says the loading by itself.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.estimation.quantiles import Z80
from analyzer.hull.drive import efficiency_range
from analyzer.hull.propeller import (
    THRUST_LOSS,
    THRUST_LOSS_SD,
    WAKE,
    WAKE_SD,
    Propeller,
    log_power_change,
)
from analyzer.range.monte_carlo import ReachInput
from analyzer.range.sample import Sample
from analyzer.range.what_if.changes import own_rng, with_power

Floats = npt.NDArray[np.float64]

# All assumed: how far the effective pitch lies off the one that is stamped; what of the series'
# difference another make of blade may lack or add; what a motor loses more or less where it turns
# so much faster, as ln power over ln turns; a change too small to be sure of.
ADVANCE_SD, MAKE_SD, MOTOR_SD, FLOOR_SD = 0.04, 0.4, 0.10, 0.005
LOADING = (0.02, 50.0)  # within which the series is read; assumed


@dataclass(frozen=True)
class OtherPropeller:
    """Another propeller on the same shaft.

    Args:
        old, new: The two. rated_power_w: Of the motor. density_kg_m3: Of the water.
        advance_m: Through the water for each turn of the shaft, (mean, sd), and the speed at which
            that was; None: the turns are not known.
    """

    old: Propeller
    new: Propeller
    rated_power_w: float
    density_kg_m3: float
    advance_m: tuple[float, float] | None = None
    at_mps: float = 0.0

    def __call__(self, given: ReachInput, drawn: Sample) -> Sample:
        """The draws with that propeller."""
        rng = own_rng(given, 5)
        n = len(drawn.draws.aside)
        loading = self.loadings(np.exp(drawn.draws.log_power), given.curve.speed_mps, rng)
        change, turns = log_power_change(self.old, self.new, loading)
        make = 1 + MAKE_SD * rng.standard_normal((n, 1))
        motor = MOTOR_SD * rng.standard_normal((n, 1)) * turns
        floor = FLOOR_SD * rng.standard_normal((n, 1))
        return with_power(given, drawn, change * make + motor + floor)

    def loadings(self, power_w: Floats, speed_mps: Floats, rng: np.random.Generator) -> Floats:
        """Loading T / (rho D² Va²) of each draw at each speed, (n, m).

        Args:
            power_w: From the pack, (n, m). speed_mps: Through water, (m,).
        """
        n = len(power_w)
        low, high = np.log(efficiency_range(self.rated_power_w))
        log_sd = (high - low) / 2 / Z80
        efficiency = np.exp((low + high) / 2 + log_sd * rng.standard_normal((n, 1)))
        left = 1 - (THRUST_LOSS + THRUST_LOSS_SD * rng.standard_normal((n, 1)))
        inflow = 1 - (WAKE + WAKE_SD * rng.standard_normal((n, 1)))
        thrust_n = efficiency * power_w / speed_mps / left
        disc = self.density_kg_m3 * self.old.diameter_m**2
        loading = thrust_n / (disc * np.square(inflow * speed_mps))
        if self.advance_m is not None:
            loading = loading * self._by_turns(loading, speed_mps, inflow[:, 0], rng)[:, None]
        return np.asarray(np.clip(loading, *LOADING))

    def _by_turns(
        self, loading: Floats, speed_mps: Floats, inflow: Floats, rng: np.random.Generator
    ) -> Floats:
        """What the loadings are multiplied by to give the measured advance a turn, (n,)."""
        assert self.advance_m is not None
        mean, sd = self.advance_m
        own = mean + sd * rng.standard_normal(len(inflow))
        own = own * (1 + ADVANCE_SD * rng.standard_normal(len(inflow)))
        measured = self.old.loading_at(own * inflow / self.old.diameter_m)
        there = np.array([np.interp(self.at_mps, speed_mps, row) for row in loading])
        return np.asarray(measured / there)
