"""The pack's voltage over a whole trip, split into what rest, resistance and polarisation give.

    volts = rest curve + gap·side + curve's error - r0·I - r1·I(τ1) - r2·I(τ2)

with I(τ) the current as a body of that slowness feels it, each scaled by the cold. The rest curve
follows the charge; its error bends slowly with the charge moved; `side` says whether the pack
stands on the charge (1) or the discharge (-1) branch. Linear but for the time constants and the
branch it started on: one least-squares fit with priors for each of a few choices of these, weighted
by how well they describe the trip. Looks at the whole trip, so it is for afterwards.
"""

import math
from dataclasses import dataclass
from itertools import product

import numpy as np
import numpy.typing as npt

from analyzer.chemistry import Chemistry, chemistry
from analyzer.measured import cell_temp_c, held_current_a, mean_cell_v
from analyzer.pack import CellParams, default_params
from analyzer.series import Floats, Series
from analyzer.soc import Charge
from logger.boat import Boat
from logger.units import HOUR_S

TAU1_S = (10.0, 20.0, 40.0)
TAU2_S = (250.0, 500.0, 1000.0)
READING_SD_V = 0.0015  # per cell and reading; the circuit's own errors are of this size too
LASTS_S = 120.0  # for how long such an error stays the same
KNOT_FRAC = 0.08  # charge between the bends of the rest curve's error
CURVE_SD_V, BEND_SD_V = 0.012, 0.0025  # of that error, and from bend to bend
MOST_ROWS = 6000
STARTS = (-1.0, 0.0, 1.0)
PRIOR_SD = np.array([0.6, 0.7, 0.8, 0.4])  # of r0, r1, r2 and the gap, relative


@dataclass(frozen=True)
class Split:
    """Pack-level volts at each grid time, shape (n,); losses positive on discharge.

    Args:
        rest_v: Open-circuit voltage.
        ohmic_v, polar_v: Losses at the temperature of the moment.
        ohmic_sd, polar_sd, loss_sd: Relative standard deviations of ohmic, polar and their sum.
        rest_sd_v: Standard deviation of a difference of two rest voltages of the trip.
    """

    rest_v: Floats
    ohmic_v: Floats
    polar_v: Floats
    ohmic_sd: float
    polar_sd: float
    loss_sd: float
    rest_sd_v: float


@dataclass(frozen=True)
class _Inputs:
    volts: Floats
    curve: Floats  # rest, midway between the branches
    sides: tuple[Floats, ...]  # by the branch at the start
    drive0: Floats  # current times the cold's factor on r0
    drive: Floats  # the same for the pairs
    bends: Floats  # (n, knots)
    step_s: float


def split(series: Series, charge: Charge, boat: Boat) -> Split | None:
    """Fits the trip; None where it has too little load to tell anything."""
    kind, params = chemistry(boat.pack.chemistry), default_params(boat.pack)
    given = _inputs(series, charge, boat, kind)
    known = np.flatnonzero(np.isfinite(given.volts) & np.isfinite(given.curve))
    least = 0.05 * boat.pack.rated_capacity_ah
    if len(known) * series.step_s < 300.0 or np.abs(given.drive0[known]).max() < least:
        return None
    rows = known[:: max(len(known) // MOST_ROWS, 1)]
    gap_v = float(np.mean(kind.gap_v(cell_temp_c(series), 0.5)))
    choices = product(TAU1_S, TAU2_S, given.sides)
    fits = [_fit(given, rows, params, gap_v, choice) for choice in choices]
    weight = np.exp(np.array([f.log_weight for f in fits]) - max(f.log_weight for f in fits))
    return _mixed(given, fits, weight / weight.sum(), boat.pack.cells_in_series)


def _inputs(series: Series, charge: Charge, boat: Boat, kind: Chemistry) -> _Inputs:
    current, _ = held_current_a(series)
    temp = cell_temp_c(series)
    moved = np.cumsum(current) * series.step_s / HOUR_S / boat.pack.rated_capacity_ah
    knots = np.arange(moved.min(), moved.max() + KNOT_FRAC, KNOT_FRAC) if series.n else np.zeros(1)
    bends = np.maximum(1 - np.abs(moved[:, None] - knots) / KNOT_FRAC, 0.0)
    return _Inputs(
        mean_cell_v(series, boat.pack),
        kind.ocv_v(charge.soc_frac, temp),
        tuple(_side(kind, moved, start) for start in STARTS),
        current * kind.ohmic_factor(temp),
        current * kind.charge_factor(temp),
        bends,
        series.step_s,
    )


def _side(kind: Chemistry, moved: Floats, start: float) -> Floats:
    """Which branch the pack stands on, -1 to 1, as charge moves; from `start`. Shape (n,)"""
    out, y = [], start
    for step in np.diff(moved, prepend=moved[:1]).tolist():
        keep = math.exp(-abs(step) / kind.gap_soc_frac)
        y = keep * y - (1 - keep) * (1.0 if step > 0 else -1.0)
        out.append(y)
    return np.array(out)


@dataclass(frozen=True)
class _Fit:
    x: Floats  # r0, r1, r2, gap, curve error, bends
    cov: Floats
    pair1: Floats
    pair2: Floats
    side: Floats
    log_weight: float


def _fit(
    given: _Inputs,
    rows: npt.NDArray[np.int64],
    params: CellParams,
    gap_v: float,
    choice: tuple[float, float, Floats],
) -> _Fit:
    pair1 = felt(given.drive, choice[0], given.step_s)
    pair2 = felt(given.drive, choice[1], given.step_s)
    side = choice[2]
    ones = np.ones(len(given.volts))
    columns = [-given.drive0, -pair1, -pair2, side, ones, given.bends]
    table = np.column_stack(columns)[rows]
    target = (given.volts - given.curve)[rows]
    prior = np.array([params.r0_ohm, params.r1_ohm, params.r2_ohm, gap_v])
    mean = np.concatenate([prior, np.zeros(table.shape[1] - 4)])
    sd = np.concatenate([PRIOR_SD * prior, np.full(table.shape[1] - 4, CURVE_SD_V)])
    spacing_s = given.step_s * max(len(given.volts) / max(len(rows), 1), 1.0)
    var = READING_SD_V**2 * max(LASTS_S / spacing_s, 1.0)
    steps = np.diff(np.eye(table.shape[1])[5:], axis=0) / BEND_SD_V
    inner = table.T @ table / var + np.diag(1 / sd**2) + steps.T @ steps
    cov = np.asarray(np.linalg.inv(inner), dtype=np.float64)
    x = cov @ (table.T @ target / var + mean / sd**2)
    left = target - table @ x
    cost = float(left @ left) / var + float((((x - mean) / sd) ** 2).sum())
    cost += float(((steps @ x) ** 2).sum())
    log_weight = -0.5 * cost - 0.5 * float(np.linalg.slogdet(inner)[1])
    return _Fit(x, cov, pair1, pair2, side, log_weight)


def _mixed(given: _Inputs, fits: list[_Fit], weight: Floats, cells: int) -> Split:
    ohmic = sum(w * f.x[0] * given.drive0 for w, f in zip(weight, fits, strict=True))
    polar = sum(
        w * (f.x[1] * f.pair1 + f.x[2] * f.pair2) for w, f in zip(weight, fits, strict=True)
    )
    rest = given.curve + sum(
        w * (f.x[3] * f.side + f.x[4] + given.bends @ f.x[5:])
        for w, f in zip(weight, fits, strict=True)
    )
    best = fits[int(np.argmax(weight))]
    typical = np.array([1.0, 0.9, 0.6])  # of a long load: what the pairs feel of it
    loss = typical @ best.x[:3]
    ohmic_sd = _spread([f.x[0] for f in fits], weight, best.cov[0, 0] ** 0.5)
    pairs = [float(typical[1:] @ f.x[1:3]) for f in fits]
    pair_var = float(typical[1:] @ best.cov[1:3, 1:3] @ typical[1:])
    polar_sd = _spread(pairs, weight, pair_var**0.5)
    loss_var = float(typical @ best.cov[:3, :3] @ typical)
    return Split(
        cells * np.asarray(rest),
        cells * np.asarray(ohmic),
        cells * np.asarray(polar),
        ohmic_sd / max(abs(float(best.x[0])), 1e-9),
        polar_sd / max(abs(float(weight @ np.array(pairs))), 1e-9),
        loss_var**0.5 / max(abs(float(loss)), 1e-9),
        cells * _bend_sd(best.cov[5:, 5:]),
    )


def _spread(values: list[float], weight: Floats, inner_sd: float) -> float:
    apart = np.array(values) - float(weight @ np.array(values))
    return float(np.hypot(inner_sd, np.sqrt(weight @ apart**2)))


def _bend_sd(cov: Floats) -> float:
    """Standard deviation of the difference between the first and the last bend. [V]"""
    return float(np.sqrt(max(cov[0, 0] + cov[-1, -1] - 2 * cov[0, -1], 0.0)))


def felt(drive: Floats, tau_s: float, step_s: float) -> Floats:
    """A drive as a first-order body feels it, from rest. Shape (n,)"""
    keep = float(np.exp(-step_s / tau_s))
    out, y = [], 0.0
    for u in np.nan_to_num(drive).tolist():
        y = keep * y + (1 - keep) * u
        out.append(y)
    return np.array(out)
