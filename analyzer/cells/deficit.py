"""The posterior over hypotheses of each cell, from what one stretch of log has shown.

Of a hypothesis the distance of a cell from the median cell at each level is

    d_i = o - r I_i + V(x_i + shift(D_i)) - V(x_i) + u e_i + noise_i,

o the error of its voltage input, r what its resistance is off by, I the current, x the charge
moved, e how far the curve may be off where it was not seen. What a bin leaves open of s and c, and
o, r and u are linear with Gaussian priors and marginalised; the evidence of each hypothesis is the
marginal likelihood (textbook: Gaussian linear model).
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.cells.hypotheses import CHARGE, GRID
from analyzer.cells.levels import LEVEL_C, Table
from analyzer.cells.median_curve import BEND_SOC, LEVEL_SD_V, MedianCurve, polarised
from analyzer.pack.cell_model import Chemistry

Floats = npt.NDArray[np.float64]

OFFSET_SD_V = 0.0015  # of a cell's voltage input; assumed
# Slow polarisation, which load steps do not show: of the median's resistance, as far as healthy
# cells differ; of the cell's own excess, as usual circuits have it (0.45 / 1.0); assumed.
SLOW_SHARE, SLOW_EXCESS = 0.05, 0.45
ALIKE = 2 * BEND_SOC / LEVEL_C  # neighbouring levels that share one error: the curve's
FULL_S = 30.0  # a level seen for so long counts in full; assumed
PLACES = 5  # equally likely places of full that are tried where none was seen; assumed
VISIBLE = 4.0  # standard deviations that show; assumed
USUAL_DEPTH = 0.8  # of a discharge, where nothing was seen; assumed
UNSEEN_STEP = 0.02  # of the places of full looked at first


@dataclass(frozen=True)
class Evidence:
    """Of each cell and hypothesis, (cells, g).

    Args:
        log_likelihood: Up to a constant of the cell.
        charge, loss: As `GRID` has them, corrected within the bin.
        sd: Of the correction, of charge where that is the cause, else of loss.
        depth: Charge given from full at the lowest level seen, as a share of Ah.
    """

    log_likelihood: Floats
    charge: Floats
    loss: Floats
    sd: Floats
    depth: float

    @classmethod
    def nothing(cls, cells: int) -> "Evidence":
        """Of a stretch in which nothing was seen: the bins as they stand."""
        shape = (cells, 1)
        own_sd = np.where(GRID.cause == CHARGE, GRID.charge_sd, GRID.loss_sd)
        return cls(
            log_likelihood=np.zeros((cells, len(GRID.prior))),
            charge=np.tile(GRID.charge, shape),
            loss=np.tile(GRID.loss, shape),
            sd=np.tile(own_sd, shape),
            depth=USUAL_DEPTH,
        )


@dataclass(frozen=True)
class Ohms:
    """Resistances of one cell. [ohm]

    Args:
        median: Of the median cell.
        excess, excess_sd: Of each above it, (cells,); sd infinite where nothing is known.
    """

    median: float
    excess: Floats
    excess_sd: Floats

    def left_open_sd(self) -> Floats:
        """What load steps leave open of what a steady load drops, (cells,)."""
        known = np.where(np.isfinite(self.excess_sd), self.excess_sd, 0.2 * self.median)
        own = SLOW_EXCESS * np.abs(self.excess)
        return np.asarray(np.sqrt(known**2 + own**2 + (SLOW_SHARE * self.median) ** 2))


@dataclass(frozen=True)
class _Fit:
    """Of all hypotheses for one place of full, (cells, g).

    Args:
        chi: What is missed by, in its noise, as a sum of squares.
        volume: What a hypothesis costs that leaves more open, as twice a log.
        charge, loss, sd: As `Evidence` has them.
        depth: As `Evidence` has it. levels: Counted, those seen shortly in part.
    """

    chi: Floats
    volume: Floats
    charge: Floats
    loss: Floats
    sd: Floats
    depth: float
    levels: float


def evidence(table: Table, kind: Chemistry, ohms: Ohms) -> Evidence:
    """What a table says of each cell; over all likely places of full where none was seen."""
    charges = _charges(table, kind, ohms.median)
    fits = [_fit(MedianCurve(table, kind, c, ohms.median), ohms) for c in charges]
    chi = np.array([fit.chi for fit in fits])
    # Where even the best hypothesis misses by more than its noise, all are less sure.
    best = chi.min(axis=(0, 2))[:, None]
    wide2 = np.maximum(best * ALIKE / fits[0].levels, 1.0)
    log_likelihood = -0.5 * (chi / wide2 + [fit.volume for fit in fits])
    most = log_likelihood.max(axis=0)
    share = np.exp(log_likelihood - most)
    total = share.sum(axis=0)
    share /= total

    def mixed(name: str) -> Floats:
        return np.asarray((share * [getattr(fit, name) for fit in fits]).sum(axis=0))

    return Evidence(
        log_likelihood=most + np.log(total / len(fits)),
        charge=mixed("charge"),
        loss=mixed("loss"),
        sd=np.sqrt(wide2) * mixed("sd"),
        depth=float(np.mean([fit.depth for fit in fits])),
    )


def _charges(table: Table, kind: Chemistry, r_ohm: float) -> Floats:
    """Charge of the median cell where `place` is 0: known from a full charge, else by its curve.

    The chemistry's curve is held against the median cell's own, whose errors are alike over
    `shape_soc`, so that a span counts as so many independent readings.
    """
    if table.full_place is not None:
        return np.array([1.0 + table.full_place])
    place = table.place
    trial = np.arange(1.02, np.ptp(place) * 0.8, -UNSEEN_STEP) + place.min()
    trial = trial if len(trial) else np.array([1.0 + place.min()])
    at = trial[:, None] - place
    inside = np.clip(at, 0.0, 1.0)
    expected_v = kind.ocv_v(inside, 25.0, -table.way.astype(float))
    expected_v = expected_v + kind.docv_dsoc(inside) * (at - inside)
    drop_v = r_ohm * (1.0 + polarised(kind)[1]) * table.amps[:, 0]
    residual_v = table.volts + drop_v - expected_v
    level_v = residual_v.mean(axis=1)
    shape_v2 = residual_v.var(axis=1)
    slope_v = (kind.docv_dsoc(inside) * UNSEEN_STEP / 2).mean(axis=1)
    readings = np.ptp(place) / kind.shape_soc + 1.0
    own_v2 = kind.shape_sd_v**2 + slope_v**2
    miss = readings * shape_v2 / own_v2 + level_v**2 / (kind.curve_sd_v**2 + slope_v**2)
    weight = np.exp(-0.5 * (miss - miss.min()))
    below = np.cumsum(weight) / weight.sum()
    wanted = (np.arange(PLACES) + 0.5) / PLACES
    return np.unique(np.interp(wanted, below, trial).round(3))


def _fit(curve: MedianCurve, ohms: Ohms) -> _Fit:
    """For one place of full; see the module's docstring."""
    table, depth = curve.table, curve.depth
    shift = GRID.charge[:, None] + GRID.loss[:, None] * depth
    volts, slope, variance, doubt_v = curve.shown(shift)
    count = np.minimum(table.seconds / FULL_S, 1.0)
    weight = count / (ALIKE * variance)
    ones = np.ones_like(shift)
    amps = table.amps[:, 0]
    design = np.stack([ones, -amps * ones, -slope, -slope * depth, doubt_v], axis=2)
    weighted = (design * weight[:, :, None]).transpose(0, 2, 1)
    at_rest_v = table.distance_v + ohms.excess * amps[:, None]
    residual = at_rest_v - volts[:, :, None]  # (g, m, cells)
    chi = (weight[:, :, None] * residual**2).sum(axis=1).T
    fit = _marginal(weighted @ design, weighted @ residual, _prior_sd(ohms))
    noise = (count * np.log(variance)).sum(axis=1) / ALIKE
    return _Fit(
        chi=chi - fit.explained,
        volume=fit.volume + noise,
        charge=GRID.charge + fit.found[:, :, 2],
        loss=np.maximum(GRID.loss + fit.found[:, :, 3], -0.5),
        sd=np.where(GRID.cause == CHARGE, fit.sd[:, :, 2], fit.sd[:, :, 3]),
        depth=float(depth.max()),
        levels=float(count.sum()),
    )


@dataclass(frozen=True)
class _Marginal:
    """Gaussian linear model, its coefficients marginalised.

    Args:
        found, sd: Of the coefficients, (cells, g, k).
        explained: By how much they lessen the chi-square, (cells, g).
        volume: Log of the posterior's over the prior's inverse volume, twice, (cells, g).
    """

    found: Floats
    sd: Floats
    explained: Floats
    volume: Floats


def _marginal(square: Floats, cross: Floats, prior_sd: Floats) -> _Marginal:
    """From the normal equations.

    Args:
        square: Design by design, weighted, (g, k, k). cross: By residual, (g, k, cells).
        prior_sd: Of the coefficients about nought, (cells, g, k).
    """
    precision = square + _diagonal(prior_sd**-2.0)
    covariance = np.linalg.inv(precision)
    target = cross.transpose(2, 0, 1)
    found = (covariance @ target[..., None])[..., 0]
    volume = np.linalg.slogdet(precision)[1] + 2 * np.log(prior_sd).sum(axis=-1)
    sd = np.sqrt(np.diagonal(covariance, axis1=-2, axis2=-1))
    return _Marginal(found, sd, (target * found).sum(axis=-1), volume)


def _prior_sd(ohms: Ohms) -> Floats:
    """Of offset, resistance, what a bin leaves open, and the curve's error, (cells, g, 5)."""
    shape = (len(ohms.excess), len(GRID.cause), 1)
    parts = [
        np.full(shape, OFFSET_SD_V),
        np.broadcast_to(ohms.left_open_sd()[:, None, None], shape),
        np.broadcast_to(GRID.charge_sd[:, None], shape),
        np.broadcast_to(GRID.loss_sd[:, None], shape),
        np.ones(shape),
    ]
    return np.concatenate(parts, axis=2)


def _diagonal(values: Floats) -> Floats:
    """Diagonal matrices of the last axis, (..., k, k)."""
    return np.asarray(values[..., None] * np.eye(values.shape[-1]))


def least_visible(table: Table, kind: Chemistry, r_ohm: float) -> float:
    """Smallest difference in charge that would show, as a share; infinite on a flat stretch."""
    doubt = math.sqrt(2) * kind.shape_sd_v / kind.shape_soc
    slopes = [MedianCurve(table, kind, c, r_ohm).slope.max() for c in _charges(table, kind, r_ohm)]
    surely = float(np.median(slopes)) - doubt
    return VISIBLE * math.hypot(LEVEL_SD_V, OFFSET_SD_V) / surely if surely > 0 else math.inf
