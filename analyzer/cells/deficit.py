"""The posterior over hypotheses of each cell, from what one stretch of log has shown.

Of a hypothesis the distance of a cell from the median cell at each level is

    d_i = o - r(x_i) I_i - q J_i + V(x_i + shift(D_i)) - V(x_i) + u e_i + noise_i,

o the error of its voltage input, r what its resistance is off by, I the current, q and J the same
of slow polarisation and the lagged current, x the charge moved, e how far the curve may be off
where it was not seen. What a bin leaves open of s and c, and o, r at some charges, q and u are
linear with Gaussian priors and marginalised; the evidence of each hypothesis is the
marginal likelihood (textbook: Gaussian linear model).
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.cells.full_place import axes
from analyzer.cells.hypotheses import CAPACITY, CHARGE, GRID, HEALTHY, PRIOR
from analyzer.cells.levels import LEVEL_C, Table
from analyzer.cells.median_curve import LEVEL_SD_V, MedianCurve, Shown, published_curves
from analyzer.cells.ohms import COUNTS_AS, MAD_EFFICIENCY, MAD_TO_SD, Ohms, hats
from analyzer.cells.published_curve import BEND_SOC
from analyzer.estimation.marginal import marginal
from analyzer.pack.cell_model import Chemistry

Floats = npt.NDArray[np.float64]

OFFSET_SD_V = 0.0015  # of a cell's voltage input; assumed
ALIKE = 2 * BEND_SOC / LEVEL_C  # neighbouring levels that share one error: the curve's
OF_CHARGE, OF_LOSS, OF_SLOW = 1, 2, 4  # columns of the linear model: by definition
FULL_S = 30.0  # a level seen for so long counts in full; assumed
# A cell takes a little more than full, and gives a little more than all, before it is driven out of
# its bounds (reversed, or past its protection), and how far these are known; assumed.
FULLEST, EMPTIEST, BEYOND_SD = 1.03, -0.1, 0.02
IN_BIN = 3.0  # standard deviations of a bin that its slope is good for; assumed
FAR = 0.2  # of the charge apart, from which a cell is never sound for want of a cause; assumed
VISIBLE = 4.0  # standard deviations that show; assumed
USUAL_DEPTH = 0.8  # of a discharge, where nothing was seen; assumed
LEAST_LOSS = -0.5  # of a cell of more capacity than the others; assumed


@dataclass(frozen=True)
class Evidence:
    """Of each cell and hypothesis, (cells, 2, g).

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
        shape = (cells, len(PRIOR), 1)
        own_sd = np.where(GRID.cause == CHARGE, GRID.charge_sd, GRID.loss_sd)
        return cls(
            log_likelihood=np.zeros((cells, *PRIOR.shape)),
            charge=np.tile(GRID.charge, shape),
            loss=np.tile(GRID.loss, shape),
            sd=np.tile(own_sd, shape),
            depth=USUAL_DEPTH,
        )


@dataclass(frozen=True)
class _Fit:
    """Of all hypotheses for one place of full and usual or raised resistances, (cells, g).

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
    """What a table says of each cell; over all likely places of full and capacities."""
    likely = axes(table, kind, ohms.median)
    published = published_curves(kind)
    curves = [MedianCurve(table, kind, axis, ohms.median, published) for axis in likely]
    usual = [_fit(curve, ohms.if_usual()) for curve in curves]
    raised = usual
    if not ohms.known:
        raised = [_fit(curve, ohms.if_raised()) for curve in curves]
    chi = _of_all("chi", usual, raised)
    volume = _of_all("volume", usual, raised)
    readings = usual[0].readings
    # Where even the best hypothesis misses by more than its noise, all are less sure.
    best = chi.min(axis=(0, 2, 3))[:, None, None]
    wide2 = np.maximum(best / readings, 1.0)
    far = _far_apart(chi, usual[0].depth)
    widened2 = np.where(far, 1.0, wide2)
    misfit = chi / widened2
    misfit += readings * np.log(widened2)
    log_likelihood = -0.5 * (misfit + volume)
    most = log_likelihood.max(axis=0)
    share = np.exp(log_likelihood - most)
    total = share.sum(axis=0)
    share /= total
    sd = share * _of_all("sd", usual, raised)
    charge = share * _of_all("charge", usual, raised)
    loss = share * _of_all("loss", usual, raised)
    depths = [fit.depth for fit in usual]
    return Evidence(
        log_likelihood=most + np.log(total / len(usual)),
        charge=charge.sum(axis=0),
        loss=loss.sum(axis=0),
        sd=np.sqrt(wide2) * sd.sum(axis=0),
        depth=float(np.mean(depths)),
    )


def _of_all(name: str, usual: list[_Fit], raised: list[_Fit]) -> Floats:
    """One figure of all fits, (axes, cells, 2, g)."""
    both = (usual, raised)
    rows = [[getattr(fit, name) for fit in fits] for fits in both]
    return np.stack(rows).transpose(1, 2, 0, 3)


def _far_apart(chi: Floats, depth: float) -> npt.NDArray[np.bool_]:
    """Health of cells that stand far from the others by what fits best, (cells, 1, g).

    That no cause fits such a cell well is no reason to call it sound: absolute distance counts.

    Args:
        chi: Misfit of each axis, (axes, cells, 2, g).
        depth: Charge given from full, as a share of Ah.
    """
    behind = GRID.charge + GRID.loss * depth
    likeliest = chi.min(axis=(0, 2)).argmin(axis=1)
    far = behind[likeliest] >= FAR
    return np.asarray(far[:, None, None] & (GRID.cause == HEALTHY))


def _fit(curve: MedianCurve, ohms: Ohms) -> _Fit:
    """For one curve; see the module's docstring."""
    table, depth = curve.table, curve.depth
    shift = GRID.charge[:, None] + GRID.loss[:, None] * depth
    shown = curve.shown(shift)
    count = np.minimum(table.seconds / FULL_S, 1.0)
    # Few levels close together are one reading, not a tenth of one.
    readings = max(count.sum() / ALIKE, 1.0)
    share = count * readings / count.sum()
    weight = share / shown.variance
    design = _design(curve, shown)
    weighted = (design * weight[..., None]).transpose(0, 2, 1)
    excess = [ohms.excess, ohms.slow()[0]]
    at_rest_v = table.distance_v + table.amps[:, [0, 2]] @ excess
    cross = weighted @ at_rest_v
    cross -= weighted @ shown.volts[..., None]
    prior_sd = _prior_sd(ohms, curve.kind)
    usual = _usual_spread(at_rest_v, design[0], shown.variance[0], prior_sd[:, 0], share)
    prior_sd[..., OF_CHARGE] *= np.where(GRID.cause == CHARGE, 1.0, usual)
    prior_sd[..., OF_LOSS] *= np.where(GRID.cause == CAPACITY, 1.0, usual)
    fit = marginal(weighted @ design, cross, prior_sd)
    noise = (share * np.log(shown.variance)).sum(axis=1)
    own_charge, own_loss = fit.found[..., OF_CHARGE], fit.found[..., OF_LOSS]
    # Not of the noise: however badly readings are met, it counts in full.
    beyond = _beyond(curve.axis.at(table.place + shift))
    outside = _outside_bin(fit.found, prior_sd)
    outside += _wrong_side(at_rest_v, curve, ohms, share)
    outside += beyond**2 @ share
    return _Fit(
        chi=_squares(weight, at_rest_v, shown.volts) - fit.explained,
        volume=fit.volume + noise + outside,
        charge=GRID.charge + own_charge,
        loss=np.maximum(GRID.loss + own_loss, LEAST_LOSS),
        sd=np.where(GRID.cause == CHARGE, fit.sd[..., OF_CHARGE], fit.sd[..., OF_LOSS]),
        depth=float(depth.max()),
        readings=float(readings),
    )


def _squares(weight: Floats, at_rest_v: Floats, volts: Floats) -> Floats:
    """Weighted sum of squares of at_rest_v (m, cells) less volts (g, m): (cells, g), without an
    array of all three."""
    weighted_v = weight * volts
    square_v2 = (weighted_v * volts).sum(axis=1)
    crossed = weighted_v @ at_rest_v
    own = weight @ at_rest_v**2
    return np.asarray((own - 2 * crossed).T + square_v2)


def _beyond(charge: Floats) -> Floats:
    """How far a charge is beyond what a cell can hold or give, in standard deviations."""
    over = np.maximum(charge - FULLEST, 0.0)
    under = np.maximum(EMPTIEST - charge, 0.0)
    return np.asarray((over + under) / BEYOND_SD)


def _outside_bin(found: Floats, prior_sd: Floats) -> Floats:
    """How far a size is corrected beyond what its bin stands for, squared, (cells, g): there the
    curve is another, and another bin's."""
    sizes = [OF_CHARGE, OF_LOSS]
    corrected = np.abs(found[..., sizes])
    corrected /= prior_sd[..., sizes]
    over = np.maximum(corrected - IN_BIN, 0.0)
    return np.asarray((over**2).sum(axis=-1))


def _wrong_side(at_rest_v: Floats, curve: MedianCurve, ohms: Ohms, share: Floats) -> Floats:
    """How far a cell stands on the side where no cell of that charge can, squared, (cells, g): the
    curve rises with charge.

    Args:
        at_rest_v: Distance from the median cell, (m, cells). share: What each level counts, (m,).
    """
    mean_v = np.average(at_rest_v, axis=0, weights=share)
    drawn_a = np.abs(curve.table.amps[:, 0])
    mean_a = np.average(drawn_a, weights=share)
    most_ohm = ohms.left_open_sd(curve.kind).max(axis=1)
    sd_v = np.hypot(OFFSET_SD_V, mean_a * most_ohm)
    apart = mean_v / sd_v
    lacking = np.sign(GRID.charge + GRID.loss)
    over = np.maximum(np.outer(apart, lacking) - IN_BIN, 0.0)
    return np.asarray(over**2)


def _usual_spread(
    at_rest_v: Floats, design: Floats, variance: Floats, prior_sd: Floats, share: Floats
) -> float:
    """How far this string's healthy cells differ, over what healthy cells do.

    The cells' median deviation at each level is held against what is expected there; the usual
    spread counts as much as so many cells (an inverse chi-square prior of a variance).

    Args:
        at_rest_v: Distances from the median cell, (m, cells).
        design, variance: Of a healthy cell, (m, k), (m,). prior_sd: (cells, k).
        share: What each level counts, (m,).
    """
    expected_v2 = variance + design**2 @ np.median(prior_sd, axis=0) ** 2
    middle_v = np.median(at_rest_v, axis=1)
    apart_v = np.abs(at_rest_v - middle_v[:, None])
    spread_v = MAD_TO_SD * np.median(apart_v, axis=1)
    ratio = spread_v**2 / expected_v2
    mean_ratio = float(np.average(ratio, weights=share))
    others = at_rest_v.shape[1] - 1
    counted = MAD_EFFICIENCY * others
    variance_ratio = COUNTS_AS + counted * mean_ratio
    return math.sqrt(variance_ratio / (COUNTS_AS + counted))


def _design(curve: MedianCurve, shown: Shown) -> Floats:
    """What offset, charge, loss, the curve's error and resistances each add, (g, m, k)."""
    amps, slope = curve.table.amps, shown.slope
    slow = -amps[:, 2]
    fast = -amps[:, 0] * hats(curve.charge)
    columns = [1.0, -slope, -slope * curve.depth, shown.doubt_v, slow, *fast]
    design = np.empty((*slope.shape, len(columns)))
    for k, column in enumerate(columns):
        design[..., k] = column
    return design


def _prior_sd(ohms: Ohms, kind: Chemistry) -> Floats:
    """Of each, with what a bin leaves open of charge and loss, (cells, g, k)."""
    fast_sd = ohms.left_open_sd(kind)
    _, slow_sd = ohms.slow()
    columns = OF_SLOW + 1 + fast_sd.shape[1]
    sizes = (len(fast_sd), len(GRID.cause), columns)
    sd = np.ones(sizes)  # of the curve's error: by definition
    sd[..., 0] = OFFSET_SD_V
    sd[..., OF_CHARGE] = GRID.charge_sd
    sd[..., OF_LOSS] = GRID.loss_sd
    sd[..., OF_SLOW] = slow_sd[:, None]
    sd[..., OF_SLOW + 1 :] = fast_sd[:, None]
    return sd


def least_visible(table: Table, kind: Chemistry, r_ohm: float) -> float:
    """Smallest difference in charge that would show, as a share; infinite on a flat stretch."""
    doubt = math.sqrt(2) * kind.shape_sd_v / kind.shape_soc
    likely = axes(table, kind, r_ohm)
    steepest = [MedianCurve(table, kind, axis, r_ohm).slope.max() for axis in likely]
    surely = float(np.median(steepest)) - doubt
    if surely <= 0:
        return math.inf
    return VISIBLE * math.hypot(LEVEL_SD_V, OFFSET_SD_V) / surely
