"""A cell's own curve and circuit from a stretch of log whose charge is known.

Everything but two time constants and the gap's reach enters the voltage in a straight line, so
the fit is linear least squares with the chemistry as prior, repeated over a small grid of those
three and of how far off the chemistry's curve this cell may be. What the stretch does not show
stays as the chemistry has it.
"""

from dataclasses import dataclass, replace
from itertools import product

import numpy as np
import numpy.typing as npt

from analyzer.pack.cell_model import Cell, CellParams
from analyzer.pack.curves.doubt import GRID, KNOTS, alike
from analyzer.series.derived import cell_temp_c
from analyzer.series.recursion import first_order_lag
from analyzer.series.series import Series
from logger.boat import Pack
from tests.support.identify_inputs import (
    FIT_STEP_S,
    Stretch,
    hats,
    hysteresis_path,
    stretch_of,
)

Floats = npt.NDArray[np.float64]

FAST_TAUS_S = (8.0, 15.0, 25.0, 45.0, 80.0)
SLOW_TAUS_S = (150.0, 400.0, 1000.0, 2500.0)
GAP_SOC = (0.01, 0.02, 0.04, 0.08)
# How far off the chemistry's curve this cell is, over what is usual: the stretch itself judges. Not
# below 1: what it does not show may still be as far off as with others.
SPREADS = (1.0, 2.0, 4.0)
OHM_KNOTS = np.array([0.0, 0.03, 0.06, 0.1, 0.2, 0.4, 0.7, 1.0])
GAP_KNOTS = np.array([0.0, 0.1, 0.3, 0.6, 1.0])
# Close enough for graphite's bends, which are some 4 % of charge wide.
CURVE_KNOTS = np.concatenate(
    [
        [0, 0.01, 0.02, 0.03, 0.04, 0.05, 0.06, 0.08],
        np.arange(0.1, 0.961, 0.02),
        [0.97, 0.98, 0.985, 0.99, 0.995, 1.0],
    ]
)
READING_SD_V = 0.003  # what the circuit leaves over, as a guess; see `identify`
LEAST_MODEL_SD_V = 0.001  # a step of a usual voltage input
LEAST_SD_V = 0.0005  # half a step of a usual voltage input
OHM_SD, GAP_SD = 0.7, 0.8  # relative
ALIKE_SOC = 0.4  # gap and resistance change as slowly as this with charge
LEAST_LASTS_S = 60.0
LEAST_LOSS_SD = 0.03
GAP_V = 0.015  # half of a usual gap
MOST_LEVEL_SD_V = 0.005  # from one run to another
SHAPE_SHARE = 0.7  # of that: the curve's part, by charge; the rest is the circuit's, and passes
BLOCK_S = 600.0
CONSTANT_SD = 0.7  # of the logarithms of time constants and of the gap's reach
LASTS_S = 200.0  # an error of the circuit lasts about this long, until the fit says
MOST_LASTS_S = 400.0


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


def identify(series: Series, pack: Pack, soc: Floats, base: Cell) -> Identified:
    """Fits curve, gap and circuit to a stretch of log.

    Args:
        series: With pack_current_a and a voltage.
        soc: Charge at each reading, from counting between anchors, shape (n,).
        base: Where to start from; its capacity is kept.
    Returns:
        A cell with the base's values where the stretch shows nothing.
    """
    s = stretch_of(series, pack, np.asarray(soc, float), base)
    choices = product(FAST_TAUS_S, SLOW_TAUS_S, GAP_SOC, SPREADS)
    best = min((_fit(s, base, c, READING_SD_V) for c in choices), key=lambda fit: fit.cost)
    best = _refined(s, base, best)
    # Once more, with the size and the duration of the errors that this stretch shows.
    left_v = float(np.std(best.left_v)) if len(best.left_v) else READING_SD_V
    lasts_s = _lasts_s(best.left_v, max(s.dt, FIT_STEP_S))
    sd_v = min(max(left_v, LEAST_SD_V), READING_SD_V)
    best = _fit(s, base, best.constants, sd_v, lasts_s)
    cell = _with_doubts(best, base, s, _unseen_off_v(s, base, best, sd_v))
    error = foreseen_v(series, pack, cell, soc) - s.volts
    rmse = float(np.sqrt(np.nanmean(error**2)))
    seen = s.means(s.soc)
    low, high = float(np.quantile(seen, 0.002)), float(np.quantile(seen, 0.998))
    return Identified(cell, rmse, low, high)


Constants = tuple[float, float, float, float]  # two time constants, the gap's reach, the spread


@dataclass(frozen=True)
class _Fit:
    """One fit: mean and covariance of all weights; left_v: what it leaves over, (m,).

    lasts_s: how long such an error lasts.
    """

    cost: float
    constants: Constants
    found: Floats
    cov: Floats
    left_v: Floats
    lasts_s: float

    def share(self, at: int) -> float:
        """Relative standard deviation of one weight, at most 1."""
        return min(float(self.cov[at, at] ** 0.5) / max(abs(float(self.found[at])), 1e-9), 1.0)


# Where the blocks of weights begin: curve, gap, r0, r1, r2, gap at the start.
_SIZES = [len(CURVE_KNOTS), len(GAP_KNOTS), *[len(OHM_KNOTS)] * 3, 1]
_AT = np.cumsum([0, *_SIZES])


def _columns(s: Stretch, base: Cell, tau1: float, tau2: float, gap_soc: float) -> Floats:
    """Regressors of curve, gap, r0, r1, r2 and of the gap at the start; (rows, weights)."""
    p = base.params
    u1, u2 = p.r1_ohm * s.felt(tau1), p.r2_ohm * s.felt(tau2)
    r0 = s.means(s.amps * s.ohmic * p.r0_ohm)
    h, left = s.branch(gap_soc)
    soc = s.means(s.soc)
    ohm = hats(soc, OHM_KNOTS)
    losses = [-ohm * u[:, None] for u in (r0, u1, u2)]
    gap = hats(soc, GAP_KNOTS) * h[:, None]
    return np.hstack([hats(soc, CURVE_KNOTS), gap, *losses, left[:, None]])


def _prior(base: Cell, spread: float) -> tuple[Floats, Floats]:
    """Mean and inverse covariance of the weights, from the chemistry.

    Neighbouring bends of a curve are off alike: as the charge filter takes them, with the
    reach `shape_soc`.
    """
    kind = base.kind
    fast = np.interp(OHM_KNOTS, kind.soc, kind.fast_shape)
    slow = np.interp(OHM_KNOTS, kind.soc, kind.slow_shape)
    half = np.interp(GAP_KNOTS, kind.soc, kind.half_gap_v)
    bends = spread * np.hypot(kind.shape_sd_v, np.interp(CURVE_KNOTS, kind.soc, kind.end_sd_v))
    blocks = [
        alike(CURVE_KNOTS, bends, kind.shape_soc) + kind.curve_sd_v**2,
        alike(GAP_KNOTS, GAP_SD * half, ALIKE_SOC),
        *[alike(OHM_KNOTS, OHM_SD * shape, ALIKE_SOC) for shape in (fast, fast, slow)],
        np.full((1, 1), max(float(half.mean()), 1e-3) ** 2),
    ]
    inverse = np.zeros((_AT[-1], _AT[-1]))
    for at, block in zip(_AT, blocks, strict=False):
        inverse[at : at + len(block), at : at + len(block)] = np.linalg.inv(block)
    mean = np.concatenate([np.zeros(len(CURVE_KNOTS)), half, fast, fast, slow, np.zeros(1)])
    return mean, inverse


def _unseen_off_v(s: Stretch, base: Cell, fit: _Fit, sd_v: float) -> Floats:
    """What the fit is off by where it has not looked: each other block, from the others. (m,) [V]

    What a fit leaves over where it looked flatters it: its curve bends after the circuit's errors.
    """
    t_s = np.arange(len(fit.left_v)) * max(s.dt, FIT_STEP_S)
    block = (t_s / BLOCK_S).astype(np.int64) % 2 == 0
    halves = (block, ~block)
    first, second = (_fit(s, base, fit.constants, sd_v, fit.lasts_s, half) for half in halves)
    return np.where(block, second.left_v, first.left_v)


def _refined(s: Stretch, base: Cell, best: _Fit) -> _Fit:
    """The best of the grid, its constants moved in turn by ever smaller steps.

    Only as long as that foresees better what the fit has not looked at.
    """
    sd_v = min(max(float(np.std(best.left_v)), LEAST_SD_V), READING_SD_V)
    least = _typical_v(_unseen_off_v(s, base, best, sd_v))
    for factor in (1.6, 1.3, 1.15):
        for k, turn in product(range(3), (factor, 1 / factor)):
            fast_s, slow_s, gap_soc, spread = (
                c * turn if k == at else c for at, c in enumerate(best.constants)
            )
            trial = replace(best, constants=(fast_s, slow_s, gap_soc, spread))
            off = _typical_v(_unseen_off_v(s, base, trial, sd_v))
            if off < least:
                best, least = trial, off
    return _fit(s, base, best.constants, sd_v)


def _typical_v(off_v: Floats) -> float:
    """Size of most errors; the knees' few blocks have no neighbours to be predicted from."""
    return 1.4826 * float(np.median(np.abs(off_v))) if len(off_v) else READING_SD_V


def _lasts_s(left_v: Floats, step_s: float) -> float:
    """How long an error lasts: the sum of the autocorrelation, up to where it is gone. [s]"""
    if len(left_v) < 3:
        return LASTS_S
    off = left_v - left_v.mean()
    power, total = float(off @ off), 1.0
    for lag in range(1, min(len(off), round(MOST_LASTS_S / step_s))):
        alike_now = float(off[lag:] @ off[:-lag]) / max(power, 1e-12)
        if alike_now < 0.05:
            break
        total += 2 * alike_now
    return float(np.clip(total * step_s, step_s, MOST_LASTS_S))


def _fit(
    s: Stretch, base: Cell, constants: Constants, sd_v: float,
    lasts_s: float = LASTS_S, use: npt.NDArray[np.bool_] | None = None,
) -> _Fit:  # fmt: skip
    """Weights for these constants; use: the rows that are taken, None all. Shape (m,)"""
    kind, (mean, inverse) = base.kind, _prior(base, constants[3])
    a = _columns(s, base, *constants[:3])
    target = s.means(s.volts - kind.ocv_v(s.soc)) - a @ mean
    weight = 1.0 / (sd_v**2 * max(lasts_s / max(s.dt, FIT_STEP_S), 1.0))
    taken = a if use is None else a * use[:, None]
    normal = weight * taken.T @ a + inverse
    step = np.linalg.solve(normal, weight * taken.T @ target)
    left = target - a @ step
    cost = float(weight * left @ left + step @ inverse @ step)
    cost += float(np.linalg.slogdet(normal)[1] - np.linalg.slogdet(inverse)[1])
    usual = (kind.tau1_s, kind.tau2_s, kind.gap_soc_frac, 1.0)
    cost += sum((np.log(v / u) / CONSTANT_SD) ** 2 for v, u in zip(constants, usual, strict=True))
    cov = np.asarray(np.linalg.inv(normal), dtype=np.float64)
    found = np.asarray(mean + step, dtype=np.float64)
    return _Fit(cost, constants, found, cov, left, lasts_s)


def _cell(base: Cell, fit: _Fit) -> Cell:
    kind, p = base.kind, base.params
    tau1, tau2, gap_soc, _ = fit.constants
    curve, gap, r0, r1, r2, _ = np.split(fit.found, _AT[1:-1])
    ohm = [np.maximum(r, 0.02) for r in (r0, r1, r2)]
    # r0 and r1 share one shape by charge: that of their sum.
    mid = [float(np.interp(0.5, OHM_KNOTS, r)) for r in ohm]
    fast = (p.r0_ohm * ohm[0] + p.r1_ohm * ohm[1]) / (p.r0_ohm * mid[0] + p.r1_ohm * mid[1])
    new = replace(
        kind,
        mean_v=np.maximum.accumulate(kind.mean_v + np.interp(GRID, CURVE_KNOTS, curve)),
        half_gap_v=np.maximum(np.interp(GRID, GAP_KNOTS, gap), 0.0),
        fast_shape=np.interp(GRID, OHM_KNOTS, fast),
        slow_shape=np.interp(GRID, OHM_KNOTS, ohm[2] / mid[2]),
        gap_soc_frac=gap_soc,
    )
    params = CellParams(
        p.r0_ohm * mid[0], p.r1_ohm * mid[1], tau1, p.r2_ohm * mid[2], tau2, p.capacity_ah
    )
    return replace(base, kind=new, params=params)


def _curve_cov_v2(fit: _Fit, soc: Floats) -> Floats:
    """How sure the curve's shape is at `KNOTS`, on the branch the stretch shows best. (k, k)

    A stretch of discharge alone cannot part curve and gap; their sum it knows well. The level
    of the whole curve is `curve_sd_v` and left out here.
    """
    count, gaps = _SIZES[0], hats(CURVE_KNOTS, GAP_KNOTS)
    cov = fit.cov[: _AT[2], : _AT[2]]
    seen = hats(soc, CURVE_KNOTS).mean(axis=0)
    level = np.eye(count) - seen[None, :]
    best, least = np.zeros((count, count)), np.inf
    for branch in np.linspace(-1.0, 1.0, 21):
        turn = np.hstack([np.eye(count), branch * gaps])
        variance = turn @ cov @ turn.T
        mean = float(seen @ np.diag(variance))
        if mean < least:
            best, least = level @ variance @ level.T, mean
    at = hats(KNOTS, CURVE_KNOTS)
    return np.asarray(at @ best @ at.T)


def _axis_sd(s: Stretch, cell: Cell, unseen_v: Floats, typical_v: float) -> float:
    """How far along the axis bends may lie off: as usual, and what steep stretches show.

    Charge that lags behind in the grains moves a bend with the load, and a fit that foresees the
    flat part to a millivolt may be off by ten there.
    """
    usual = cell.kind.axis_sd
    slope = np.interp(s.means(s.soc), GRID, np.gradient(cell.kind.mean_v, GRID))
    steep = usual * slope > typical_v
    if not steep.any():
        return usual
    off = np.abs(unseen_v[steep] / slope[steep])
    # by nine tenths of them, 1.645 of a normal distribution's sd: some blocks have no neighbours
    return float(np.hypot(usual, np.quantile(off, 0.9) / 1.645))


def _with_doubts(fit: _Fit, base: Cell, s: Stretch, unseen_v: Floats) -> Cell:
    """The cell, as sure as the fit is: by its covariance and by what it foresees badly."""
    cell, left_v = _cell(base, fit), max(_typical_v(unseen_v), LEAST_MODEL_SD_V)
    p, amps = cell.params, s.means(s.amps)
    loss_v = float(np.sqrt(np.mean(amps**2))) * (p.r0_ohm + p.r1_ohm + p.r2_ohm)
    left = left_v / max(loss_v, 1e-9)
    cov = _curve_cov_v2(fit, s.means(s.soc))
    kind = replace(
        cell.kind,
        curve_sd_v=min(left_v, MOST_LEVEL_SD_V, base.kind.curve_sd_v),
        shape_sd_v=min(SHAPE_SHARE * left_v, base.kind.shape_sd_v),
        end_sd_v=np.interp(GRID, KNOTS, np.sqrt(np.maximum(np.diag(cov), 0.0))),
        curve_per_ln_q_v=np.zeros(len(KNOTS)),
        curve_cov_v2=cov + alike(KNOTS, SHAPE_SHARE * left_v, base.kind.shape_soc),
        gap_sd=min(max(0.3 * fit.share(int(_AT[1]) + 3), 0.1), 0.2),
        fast_sd=0.06,
        slow_sd=min(max(0.4 * fit.share(int(_AT[4]) + 5), 0.1), 0.2),
        walk_share=0.05,
        ohm_shape_sd=0.0,
        model_sd_v=left_v,
        lasts_s=max(2 * fit.lasts_s, LEAST_LASTS_S),
        branch_sd=min(max(left_v / GAP_V, 0.1), base.kind.branch_sd),
        loss_sd=min(max(left, LEAST_LOSS_SD), base.kind.loss_sd),
        axis_sd=_axis_sd(s, cell, unseen_v, left_v),
        source="curve, gap and circuit identified on this cell; else " + base.kind.source,
    )
    return replace(cell, kind=kind)


def foreseen_v(series: Series, pack: Pack, cell: Cell, soc: Floats) -> Floats:
    """Voltage of the mean cell that the cell's model foresees for the current and charge. [V]

    The pack is taken as rested midway between charge and discharge at the start.
    """
    s = stretch_of(series, pack, np.asarray(soc, float), cell)
    kind, p = cell.kind, cell.params
    u1 = first_order_lag(s.amps * s.cold * p.r1_ohm, float(np.exp(-s.dt / p.tau1_s)), 0.0)
    u2 = first_order_lag(s.amps * s.cold * p.r2_ohm, float(np.exp(-s.dt / p.tau2_s)), 0.0)
    fast = np.interp(s.soc, kind.soc, kind.fast_shape)
    slow = np.interp(s.soc, kind.soc, kind.slow_shape)
    h = hysteresis_path(s.share, kind.gap_soc_frac, 0.0)
    loss = fast * (s.amps * s.ohmic * p.r0_ohm + u1) + slow * u2
    return np.asarray(kind.ocv_v(s.soc, cell_temp_c(series, 25.0), h) - loss)
