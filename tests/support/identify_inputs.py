"""A stretch of log as fits of a cell's circuit take it: means over steps, without the gaps."""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from analyzer.pack.cell_model import Cell, arrhenius
from analyzer.series.derived import cell_temp_c, held_current_a, mean_cell_v
from analyzer.series.recursion import first_order_lag
from analyzer.series.series import Series
from logger.boat import Pack
from logger.units import HOUR_S

Floats = npt.NDArray[np.float64]

FIT_STEP_S = 20.0  # faster than this is of no matter for the charge


def hats(x: Floats, knots: Floats) -> Floats:
    """Weights of linear interpolation between knots, shape (n, knots)."""
    table = np.zeros((len(x), len(knots)))
    at = np.clip(np.searchsorted(knots, x, side="right") - 1, 0, len(knots) - 2)
    part = np.clip((x - knots[at]) / (knots[at + 1] - knots[at]), 0.0, 1.0)
    rows = np.arange(len(x))
    table[rows, at], table[rows, at + 1] = 1 - part, part
    return table


def hysteresis_path(share: Floats, gap_soc: float, start: float) -> Floats:
    """Hysteresis state along charge steps (given positive, as a share of capacity). (n,)"""
    keep = np.exp(-np.abs(share) / gap_soc).tolist()
    out, h = [], start
    for k, toward in zip(keep, (-np.sign(share)).tolist(), strict=True):
        h = toward + (h - toward) * k
        out.append(h)
    return np.array(out)


@dataclass
class Stretch:
    """Readings of the mean cell: current [A], volts, charge, temperature factors; all (n,)."""

    amps: Floats
    volts: Floats
    soc: Floats
    ohmic: Floats
    cold: Floats
    gap: Floats
    share: Floats
    dt: float
    first: npt.NDArray[np.int64]  # readings where the fit's steps begin
    good: npt.NDArray[np.bool_]  # steps without a gap
    memo: dict[tuple[str, float], Floats] = field(default_factory=dict)

    def felt(self, tau_s: float) -> Floats:
        """Means of the current as a pair of that time constant feels it, cold included. (m,)"""
        key = ("felt", tau_s)
        if key not in self.memo:
            keep = float(np.exp(-self.dt / tau_s))
            self.memo[key] = self.means(first_order_lag(self.amps * self.cold, keep, 0.0))
        return self.memo[key]

    def branch(self, gap_soc: float) -> tuple[Floats, Floats]:
        """Means of the hysteresis from midway, and of what is left of the start's, (m,) each."""
        key = ("branch", gap_soc)
        if key not in self.memo:
            left = np.exp(-np.cumsum(np.abs(self.share)) / gap_soc)
            both = [hysteresis_path(self.share, gap_soc, 0.0), left]
            self.memo[key] = np.array([self.means(one * self.gap) for one in both])
        return self.memo[key][0], self.memo[key][1]

    def means(self, values: Floats) -> Floats:
        """Means over the steps without a gap; shape (n,) or (n, k) to (m,) or (m, k)."""
        if not len(self.first):
            return values[:0]
        count = np.diff(np.append(self.first, len(self.amps)))
        total = np.add.reduceat(values, self.first, axis=0)
        return np.asarray((total.T / count).T[self.good])


def stretch_of(series: Series, pack: Pack, soc: Floats, base: Cell) -> Stretch:
    """The readings of a series whose charge is known. soc: shape (n,)."""
    temp = cell_temp_c(series, 25.0)
    amps, lost = held_current_a(series)
    volts, kind = mean_cell_v(series, pack), base.kind
    whole = np.isfinite(volts) & ~lost & np.isfinite(soc)
    first = np.arange(0, series.n, max(round(FIT_STEP_S / series.step_s), 1))
    good = np.logical_and.reduceat(whole, first) if series.n else whole
    share = amps * series.step_s / (HOUR_S * base.params.capacity_ah)
    gap = arrhenius(temp, kind.gap_activation_j)
    ohmic, cold = kind.ohmic_factor(temp), kind.charge_factor(temp)
    return Stretch(amps, volts, soc, ohmic, cold, gap, share, series.step_s, first, good)
