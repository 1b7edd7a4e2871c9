"""A cell's own curve and circuit from a stretch of log whose charge is known.

Everything but two time constants and the gap's reach enters the voltage in a straight line, so
the fit is linear least squares with the chemistry as prior, repeated over a small grid of those
three. What the stretch does not show stays as the chemistry has it.
"""

from dataclasses import dataclass, replace
from itertools import product

import numpy as np
import numpy.typing as npt

from analyzer.chemistry import GRID
from analyzer.measured import cell_temp_c, held_current_a, mean_cell_v
from analyzer.pack import Cell, CellParams, arrhenius
from analyzer.series import Series
from analyzer.steps import followed
from logger.boat import Pack
from logger.units import HOUR_S

Floats = npt.NDArray[np.float64]

FAST_TAUS_S = (8.0, 15.0, 30.0, 60.0)
SLOW_TAUS_S = (150.0, 400.0, 1000.0, 2500.0)
GAP_SOC = (0.01, 0.025, 0.06)
OHM_KNOTS = np.array([0.0, 0.03, 0.06, 0.1, 0.2, 0.4, 0.7, 1.0])
GAP_KNOTS = np.array([0.0, 0.1, 0.3, 0.6, 1.0])
CURVE_KNOTS = np.concatenate(
    [[0, 0.01, 0.02, 0.035, 0.05, 0.07], np.arange(0.1, 0.951, 0.05), [0.97, 0.985, 1.0]]
)
READING_SD_V = 0.005
FIT_STEP_S = 20.0  # faster than this is of no matter for the charge
CONSTANT_SD = 0.7  # of the logarithms of time constants and of the gap's reach
LASTS_S = 200.0  # an error of the circuit lasts about this long


@dataclass(frozen=True)
class Identified:
    """The cell, and how well it fits the stretch it came from.

    Args:
        rmse_v: Of the fit.
        soc_low, soc_high: Charge that the stretch covered; outside, the chemistry speaks.
    """

    cell: Cell
    rmse_v: float
    soc_low: float
    soc_high: float


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
class _Stretch:
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

    def means(self, values: Floats) -> Floats:
        """Means over the steps without a gap; shape (n,) or (n, k) to (m,) or (m, k)."""
        if not len(self.first):
            return values[:0]
        count = np.diff(np.append(self.first, len(self.amps)))
        total = np.add.reduceat(values, self.first, axis=0)
        return np.asarray((total.T / count).T[self.good])


def _stretch(series: Series, pack: Pack, soc: Floats, base: Cell) -> _Stretch:
    temp = cell_temp_c(series, 25.0)
    amps, lost = held_current_a(series)
    volts, kind = mean_cell_v(series, pack), base.kind
    whole = np.isfinite(volts) & ~lost & np.isfinite(soc)
    first = np.arange(0, series.n, max(round(FIT_STEP_S / series.step_s), 1))
    good = np.logical_and.reduceat(whole, first) if series.n else whole
    share = amps * series.step_s / (HOUR_S * base.params.capacity_ah)
    gap = arrhenius(temp, kind.gap_activation_j)
    ohmic, cold = kind.ohmic_factor(temp), kind.charge_factor(temp)
    return _Stretch(amps, volts, soc, ohmic, cold, gap, share, series.step_s, first, good)


def identify(
    series: Series, pack: Pack, soc: Floats, base: Cell, rested: bool = True
) -> Identified:
    """Fits curve, gap and circuit to a stretch of log.

    Args:
        series: With pack_current_a and a voltage.
        soc: Charge at each reading, from counting between anchors, shape (n,).
        base: Where to start from; its capacity is kept.
        rested: Whether the pack had rested before the stretch.
    Returns:
        A cell with the base's values where the stretch shows nothing.
    """
    s = _stretch(series, pack, np.asarray(soc, float), base)
    tried = [_fit(s, base, *constants) for constants in product(FAST_TAUS_S, SLOW_TAUS_S, GAP_SOC)]
    best = min(tried, key=lambda fit: fit.cost)
    error = foreseen_v(series, pack, best.cell, soc) - s.volts
    rmse = float(np.sqrt(np.nanmean(error**2)))
    seen = s.means(s.soc)
    low, high = float(np.quantile(seen, 0.002)), float(np.quantile(seen, 0.998))
    return Identified(_narrowed(best, base, low, high), rmse, low, high)


@dataclass(frozen=True)
class _Fit:
    """One fit; the doubts are of the logarithm of the slow resistance and of the gap's size."""

    cost: float
    cell: Cell
    slow_sd: float
    gap_sd: float


def _columns(s: _Stretch, base: Cell, tau1: float, tau2: float, gap_soc: float) -> list[Floats]:
    """Blocks of regressors: shift, curve, gap, r0, r1, r2; each (rows, k)."""
    p = base.params
    u1 = s.means(followed(s.amps * s.cold * p.r1_ohm, float(np.exp(-s.dt / tau1)), 0.0))
    u2 = s.means(followed(s.amps * s.cold * p.r2_ohm, float(np.exp(-s.dt / tau2)), 0.0))
    r0 = s.means(s.amps * s.ohmic * p.r0_ohm)
    h = s.means(hysteresis_path(s.share, gap_soc, 0.0) * s.gap)
    soc = s.means(s.soc)
    ohm = hats(soc, OHM_KNOTS)
    curve = hats(soc, CURVE_KNOTS)
    gap = hats(soc, GAP_KNOTS) * h[:, None]
    losses = [-ohm * u[:, None] for u in (r0, u1, u2)]
    return [np.ones((len(soc), 1)), curve, gap, *losses]


def _fit(s: _Stretch, base: Cell, tau1: float, tau2: float, gap_soc: float) -> _Fit:
    kind = base.kind
    blocks = _columns(s, base, tau1, tau2, gap_soc)
    fast = np.interp(OHM_KNOTS, kind.soc, kind.fast_shape)
    slow = np.interp(OHM_KNOTS, kind.soc, kind.slow_shape)
    half = np.interp(GAP_KNOTS, kind.soc, kind.half_gap_v)
    ends = np.interp(CURVE_KNOTS, kind.soc, kind.end_sd_v)
    prior = [np.zeros(1), np.zeros(len(CURVE_KNOTS)), half, fast, fast, slow]
    sd = [
        np.full(1, kind.curve_sd_v),
        np.hypot(kind.shape_sd_v, ends),
        half,
        0.7 * fast,
        0.7 * fast,
        0.7 * slow,
    ]
    a, mean, spread = np.hstack(blocks), np.concatenate(prior), np.concatenate(sd)
    target = s.means(s.volts - kind.ocv_v(s.soc)) - a @ mean
    weight = 1.0 / (READING_SD_V**2 * max(LASTS_S / max(s.dt, FIT_STEP_S), 1.0))
    normal = weight * a.T @ a + np.diag(1 / spread**2)
    step = np.linalg.solve(normal, weight * a.T @ target)
    left = target - a @ step
    cost = float(weight * left @ left + (step**2 / spread**2).sum())
    for value, usual in ((tau1, kind.tau1_s), (tau2, kind.tau2_s), (gap_soc, kind.gap_soc_frac)):
        cost += (np.log(value / usual) / CONSTANT_SD) ** 2
    found = mean + step
    doubt = np.sqrt(np.diag(np.linalg.inv(normal)))
    share = np.minimum(doubt / np.maximum(np.abs(found), 1e-9), 1.0)
    slow_at = len(mean) - len(OHM_KNOTS) + 5
    gap_at = 1 + len(CURVE_KNOTS) + 3
    cell = _cell(base, found, tau1, tau2, gap_soc)
    return _Fit(cost, cell, float(share[slow_at]), float(share[gap_at]))


def _cell(base: Cell, found: Floats, tau1: float, tau2: float, gap_soc: float) -> Cell:
    kind, p = base.kind, base.params
    sizes = [1, len(CURVE_KNOTS), len(GAP_KNOTS), *[len(OHM_KNOTS)] * 3]
    shift, curve, gap, r0, r1, r2 = np.split(found, np.cumsum(sizes)[:-1])
    ohm = [np.maximum(r, 0.02) for r in (r0, r1, r2)]
    # r0 and r1 share one shape by charge: that of their sum.
    mid = [float(np.interp(0.5, OHM_KNOTS, r)) for r in ohm]
    fast = (p.r0_ohm * ohm[0] + p.r1_ohm * ohm[1]) / (p.r0_ohm * mid[0] + p.r1_ohm * mid[1])
    new = replace(
        kind,
        mean_v=np.maximum.accumulate(
            kind.mean_v + float(shift[0]) + np.interp(GRID, CURVE_KNOTS, curve)
        ),
        half_gap_v=np.maximum(np.interp(GRID, GAP_KNOTS, gap), 0.0),
        fast_shape=np.interp(GRID, OHM_KNOTS, fast),
        slow_shape=np.interp(GRID, OHM_KNOTS, ohm[2] / mid[2]),
        gap_soc_frac=gap_soc,
    )
    params = CellParams(
        p.r0_ohm * mid[0], p.r1_ohm * mid[1], tau1, p.r2_ohm * mid[2], tau2, p.capacity_ah
    )
    return Cell(new, params, base.capacity_sd)


def _narrowed(fit: _Fit, base: Cell, low: float, high: float) -> Cell:
    """The cell with the smaller doubts of one that was measured, where it was measured."""
    cell = fit.cell
    inside = (cell.kind.soc >= low - 0.01) & (cell.kind.soc <= high + 0.01)
    kind = replace(
        cell.kind,
        curve_sd_v=0.005,
        shape_sd_v=0.003,
        end_sd_v=np.where(inside, 0.25 * base.kind.end_sd_v, base.kind.end_sd_v),
        axis_sd_frac=0.003,
        gap_sd=min(max(0.3 * fit.gap_sd, 0.1), 0.2),
        fast_sd=0.06,
        slow_sd=min(max(0.4 * fit.slow_sd, 0.1), 0.2),
        wander=0.05,
        loss_sd=0.15,
        source="curve, gap and circuit identified on this cell; else " + base.kind.source,
    )
    return Cell(kind, cell.params, cell.capacity_sd)


def foreseen_v(series: Series, pack: Pack, cell: Cell, soc: Floats) -> Floats:
    """Voltage of the mean cell that the cell's model foresees for the current and charge. [V]

    The pack is taken as rested midway between charge and discharge at the start.
    """
    s = _stretch(series, pack, np.asarray(soc, float), cell)
    kind, p = cell.kind, cell.params
    u1 = followed(s.amps * s.cold * p.r1_ohm, float(np.exp(-s.dt / p.tau1_s)), 0.0)
    u2 = followed(s.amps * s.cold * p.r2_ohm, float(np.exp(-s.dt / p.tau2_s)), 0.0)
    fast = np.interp(s.soc, kind.soc, kind.fast_shape)
    slow = np.interp(s.soc, kind.soc, kind.slow_shape)
    h = hysteresis_path(s.share, kind.gap_soc_frac, 0.0)
    loss = fast * (s.amps * s.ohmic * p.r0_ohm + u1) + slow * u2
    return np.asarray(kind.ocv_v(s.soc, cell_temp_c(series, 25.0), h) - loss)
