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

from analyzer.cells.full_place import charges_at_zero
from analyzer.cells.hypotheses import CAPACITY, CHARGE, GRID
from analyzer.cells.levels import LEVEL_C, Table
from analyzer.cells.median_curve import LEVEL_SD_V, MedianCurve, Shown
from analyzer.cells.published_curve import BEND_SOC
from analyzer.cells.raised import COUNTS_AS, MAD_EFFICIENCY, MAD_TO_SD
from analyzer.estimation.marginal import marginal
from analyzer.pack.cell_model import Chemistry

Floats = npt.NDArray[np.float64]

OFFSET_SD_V = 0.0015  # of a cell's voltage input; assumed
# Slow polarisation, which load steps do not show: of the median's resistance, as far as healthy
# cells differ; of the cell's own excess, as usual circuits have it (0.45 / 1.0); assumed.
SLOW_SHARE, SLOW_EXCESS = 0.05, 0.45
ALIKE = 2 * BEND_SOC / LEVEL_C  # neighbouring levels that share one error: the curve's
FULL_S = 30.0  # a level seen for so long counts in full; assumed
VISIBLE = 4.0  # standard deviations that show; assumed
USUAL_DEPTH = 0.8  # of a discharge, where nothing was seen; assumed
LEAST_LOSS = -0.5  # of a cell of more capacity than the others; assumed


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
        depth: As `Evidence` has it. readings: How many that err each for itself.
    """

    chi: Floats
    volume: Floats
    charge: Floats
    loss: Floats
    sd: Floats
    depth: float
    readings: float


def evidence(table: Table, kind: Chemistry, ohms: Ohms) -> Evidence:
    """What a table says of each cell; over all likely places of full where none was seen."""
    charges = charges_at_zero(table, kind, ohms.median)
    fits = [_fit(MedianCurve(table, kind, c, ohms.median), ohms) for c in charges]
    chi = np.array([fit.chi for fit in fits])
    # Where even the best hypothesis misses by more than its noise, all are less sure.
    best = chi.min(axis=(0, 2))[:, None]
    wide2 = np.maximum(best / fits[0].readings, 1.0)
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


def _fit(curve: MedianCurve, ohms: Ohms) -> _Fit:
    """For one place of full; see the module's docstring."""
    table, depth = curve.table, curve.depth
    shift = GRID.charge[:, None] + GRID.loss[:, None] * depth
    shown = curve.shown(shift)
    count = np.minimum(table.seconds / FULL_S, 1.0)
    # Few levels close together are one reading, not a tenth of one.
    readings = max(count.sum() / ALIKE, 1.0)
    share = count * readings / count.sum()
    weight = share / shown.variance
    design = _design(table.amps[:, 0], depth, shown)
    weighted = (design * weight[..., None]).transpose(0, 2, 1)
    at_rest_v = table.distance_v + np.outer(table.amps[:, 0], ohms.excess)
    residual = at_rest_v - shown.volts[..., None]  # (g, m, cells)
    chi = (weight[..., None] * residual**2).sum(axis=1).T
    prior_sd = _prior_sd(ohms)
    usual = _usual_spread(at_rest_v, design[0], shown.variance[0], prior_sd[:, 0], share)
    prior_sd[..., 2] *= np.where(GRID.cause == CHARGE, 1.0, usual)
    prior_sd[..., 3] *= np.where(GRID.cause == CAPACITY, 1.0, usual)
    fit = marginal(weighted @ design, weighted @ residual, prior_sd)
    noise = (share * np.log(shown.variance)).sum(axis=1)
    charge_sd, loss_sd = fit.sd[..., 2], fit.sd[..., 3]
    return _Fit(
        chi=chi - fit.explained,
        volume=fit.volume + noise,
        charge=GRID.charge + fit.found[..., 2],
        loss=np.maximum(GRID.loss + fit.found[..., 3], LEAST_LOSS),
        sd=np.where(GRID.cause == CHARGE, charge_sd, loss_sd),
        depth=float(depth.max()),
        readings=float(readings),
    )


def _usual_spread(
    at_rest_v: Floats, design: Floats, variance: Floats, prior_sd: Floats, share: Floats
) -> float:
    """How far this string's healthy cells differ, over what healthy cells do.

    The cells' median deviation at each level is held against what is expected there; the usual
    spread counts as much as so many cells (an inverse chi-square prior of a variance).

    Args:
        at_rest_v: Distances from the median cell, (m, cells).
        design, variance: Of a healthy cell, (m, 5), (m,). prior_sd: (cells, 5).
        share: What each level counts, (m,).
    """
    expected_v2 = variance + design**2 @ np.median(prior_sd, axis=0) ** 2
    apart_v = np.abs(at_rest_v - np.median(at_rest_v, axis=1)[:, None])
    spread_v = MAD_TO_SD * np.median(apart_v, axis=1)
    ratio = spread_v**2 / expected_v2
    mean_ratio = float(np.average(ratio, weights=share))
    others = at_rest_v.shape[1] - 1
    counted = MAD_EFFICIENCY * others
    variance_ratio = COUNTS_AS + counted * mean_ratio
    return math.sqrt(variance_ratio / (COUNTS_AS + counted))


def _design(amps: Floats, depth: Floats, shown: Shown) -> Floats:
    """What offset, resistance, charge, loss and the curve's error each add, (g, m, 5)."""
    offset = np.ones_like(shown.slope)
    columns = [offset, -amps * offset, -shown.slope, -shown.slope * depth, shown.doubt_v]
    return np.stack(columns, axis=2)


def _prior_sd(ohms: Ohms) -> Floats:
    """Of offset, resistance, what a bin leaves open, and the curve's error, (cells, g, 5)."""
    shape = (len(ohms.excess), len(GRID.cause), 1)
    ohmic = ohms.left_open_sd()[:, None, None]
    charge, loss = GRID.charge_sd[:, None], GRID.loss_sd[:, None]
    columns = [np.full(shape, OFFSET_SD_V)]
    columns += [np.broadcast_to(sd, shape) for sd in (ohmic, charge, loss, 1.0)]
    return np.concatenate(columns, axis=2)


def least_visible(table: Table, kind: Chemistry, r_ohm: float) -> float:
    """Smallest difference in charge that would show, as a share; infinite on a flat stretch."""
    doubt = math.sqrt(2) * kind.shape_sd_v / kind.shape_soc
    charges = charges_at_zero(table, kind, r_ohm)
    steepest = [MedianCurve(table, kind, c, r_ohm).slope.max() for c in charges]
    surely = float(np.median(steepest)) - doubt
    if surely <= 0:
        return math.inf
    return VISIBLE * math.hypot(LEVEL_SD_V, OFFSET_SD_V) / surely
