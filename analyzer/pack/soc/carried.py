"""What the charge filter carries from step to step and stretch to stretch beside its mixture."""

from dataclasses import dataclass

import numpy as np

from analyzer.pack.chemistry import LEAD
from analyzer.pack.lead_acid.charge import (
    ACCEPTED_S,
    GIVES_C,
    SURFACE_S,
    SURFACE_V,
    highest_soc,
)
from analyzer.pack.soc.after_gap import reset_after_gap
from analyzer.pack.soc.filter import GaussianMixtureFilter
from analyzer.pack.soc.noise import OFFSET_SD_C
from analyzer.pack.soc.states import LN_Q, FilterStep
from logger.units import HOUR_S

# What load before the log began may add to the voltage, and how it fades; assumed.
INITIAL_POLARISATION_SD_V, SETTLE_S = 0.01, 900.0
LEAST_DRIFT = 0.005  # of the charge, where the voltage says most; assumed
LEAST_SLOPE_V = 1e-3  # per unit of charge, against a division by zero


@dataclass
class Carried:
    """Fields as in `PackPosterior`; settle_s: how fast the polarisation's doubt fades [s];
    stored_a: what of late went into the cell and stayed [A]."""

    initial_polarisation_sd_v: float = INITIAL_POLARISATION_SD_V
    drift_sd: float = 0.0
    full_us: int | None = None
    sign_reversed: bool = False
    gap_s: float = 0.0
    recent_ah: tuple[float, ...] = ()
    settle_s: float = SETTLE_S
    emptied: bool = False
    stored_a: float = 0.0

    def is_emptied_by(self, step: FilterStep, at_bottom: bool) -> bool:
        """Whether a step ends a discharge: one end, one anchor, until charge has gone in again."""
        before = self.emptied
        self.emptied = at_bottom or (before and step.charge_as >= 0)
        return at_bottom and not before

    def hold_surface_charge(self, step: FilterStep, by_charger: bool, ah: float) -> None:
        """Lead-acid plates hold what a charge left on them until they give or rest long."""
        if by_charger:
            self.initial_polarisation_sd_v, self.settle_s = SURFACE_V, SURFACE_S
        elif step.charge_as > GIVES_C * ah * step.length_s:
            self.settle_s = SETTLE_S

    def keep_room(self, step: FilterStep, mixture: GaussianMixtureFilter) -> None:
        """A lead-acid cell that takes a current has room for it: it is not that near to full."""
        if mixture.kind.name not in LEAD:
            return
        # a mean that begins at nothing: the first minutes of a charge say little
        share = 1.0 - float(np.exp(-step.length_s / ACCEPTED_S))
        self.stored_a += share * (-step.charge_as / step.length_s - self.stored_a)
        if self.stored_a > GIVES_C * mixture.ah:
            capacity_ah = mixture.ah * np.exp(mixture.mean[LN_Q])
            mixture.stay_below(highest_soc(np.asarray(self.stored_a), capacity_ah))

    def pass_gap(self, mixture: GaussianMixtureFilter, gap_s: float) -> None:
        """Goes on after a time without readings that was too long to bridge."""
        # the prior after a gap takes in what counting had lost: it starts again from nothing
        reset_after_gap(mixture, gap_s, self.drift_sd)
        self.drift_sd, self.gap_s = 0.0, gap_s
        self.initial_polarisation_sd_v = INITIAL_POLARISATION_SD_V

    def be_full(self, t_us: int) -> None:
        """An anchor ends what counting had lost. t_us: on the log's timeline. [µs]"""
        self.drift_sd, self.gap_s, self.full_us = 0.0, 0.0, t_us

    def pass_time(self, length_s: float, mixture: GaussianMixtureFilter, soc: float) -> None:
        """Lets load of before fade, and what counting alone would lose add up.

        The voltage sets a bound to the latter: the curve's doubt and half its gap, over its
        slope. The filter itself takes errors of curve and gap for passing ones; they are not.
        """
        self.initial_polarisation_sd_v *= float(np.exp(-length_s / self.settle_s))
        model = mixture.model
        _, slope, half_gap_v, *_ = model.tables[:, model.row(soc)]
        # the voltage cannot place the charge better than its curve and branch are known
        bound = float(np.hypot(mixture.kind.shape_sd_v, half_gap_v))
        bound /= max(float(slope), LEAST_SLOPE_V)
        grown = self.drift_sd + OFFSET_SD_C * length_s / HOUR_S
        self.drift_sd = min(grown, max(bound, LEAST_DRIFT))
