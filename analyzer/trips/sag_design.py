"""The table that a trip's split is fitted from: what each part of the circuit feels, grid time by
grid time, and that table whitened.

A column is a current as one part feels it, for one share of cold and one shape over charge; the
branch of the rest curve for each start; 1; and the bends of the curve's error. What is left over
wanders for minutes and is whitened away, so that what a term gets wrong for a while counts once
and not with every reading.
"""

import math
from dataclasses import dataclass
from itertools import product

import numpy as np
import numpy.typing as npt

from analyzer.pack.chemistry import Chemistry, Numeric, arrhenius
from analyzer.series.series import Floats
from logger.units import HOUR_S

Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]

TAU1_S = (8.0, 14.0, 23.0, 37.0, 60.0)
TAU2_S = (200.0, 350.0, 600.0, 1050.0, 1800.0)
TRANSFER_J = 33.8e3  # of charge transfer, Electrochim. Acta 60 (2012) 269
# Shares of charge transfer. Of a whole cell about half: 20 kJ/mol taken together, as large cells
# show near 10 °C, is a share of 0.5. Polarisation has more of it than the ohmic part.
SHARES0, SHARES1 = (0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8), (0.2, 0.35, 0.5, 0.65, 0.8, 0.95)
SHARE0, SHARE1 = (0.47, 0.15), (0.6, 0.2)
STARTS = (-1.0, 0.0, 1.0)
BIN_S = 10.0
WHITE_SD_V = 0.0003  # of a bin's mean, per cell: meters and their time stamps
# What the circuit leaves, and for how long it stays the same; and of the loss, since a third of a
# kelvin between probe and cells makes a hundredth of it.
LEFT_SD_V, LEFT_FRAC, LEFT_S = 0.001, 0.01, 300.0
KNOT_FRAC = 0.05  # charge between the bends of the rest curve's error
# Of that error as a whole, and from bend to bend: two measured cells against the published curve.
CURVE_SD_V, BEND_SD_V = 0.03, 0.004


@dataclass(frozen=True)
class Choice:
    """Which columns a fit takes: of r0, r1, r2 with and without the cold, and of the branch.

    share0, share1: Of charge transfer in r0, and in r1 and r2.
    """

    cold: tuple[int, int, int]
    warm: tuple[int, int, int]
    side: int
    log_prior: float
    share0: float
    share1: float


@dataclass(frozen=True)
class Columns:
    """All columns at each grid time, (n, columns), and which of them mean what.

    The last ones are the branch for each start, 1, and the bends.
    """

    table: Floats
    choices: tuple[Choice, ...]
    ones: int

    @property
    def curve(self) -> Ints:
        """Of the rest curve's error."""
        return np.arange(self.ones, self.table.shape[1])


def columns_of(
    kind: Chemistry, current: Floats, temp_c: Floats, soc: Floats, ah: float, step_s: float
) -> Columns:
    """Currents as r0, r1 and r2 feel them, by cold's share and shape; branches; bends."""
    shapes = [
        (np.ones(len(soc)), np.ones(len(soc))),
        (np.interp(soc, kind.soc, kind.fast_shape), np.interp(soc, kind.soc, kind.slow_shape)),
    ]
    drives: list[Floats] = []
    keys: dict[tuple[int, int, float, float], int] = {}

    def column(part: int, shape: int, tau_s: float, share: float) -> int:
        key = (part, shape, tau_s, share)
        if key not in keys:
            keys[key] = len(drives)
            drives.append(current * shapes[shape][part // 2] * cold_factor(share, temp_c))
        return keys[key]

    n_side = len(STARTS)
    picks = []
    for shape, tau1, tau2, w0, w1 in product((0, 1), TAU1_S, TAU2_S, SHARES0, SHARES1):
        cold = (column(0, shape, 0.0, w0), column(1, shape, tau1, w1), column(2, shape, tau2, w1))
        warm = tuple(column(p, shape, t, 0.0) for p, t in enumerate((0.0, tau1, tau2)))
        lean = ((w0 - SHARE0[0]) / SHARE0[1]) ** 2 + ((w1 - SHARE1[0]) / SHARE1[1]) ** 2
        picks.append((cold, (warm[0], warm[1], warm[2]), -0.5 * lean, w0, w1))
    felt_by = felt(np.column_stack(drives), np.array([k[2] for k in keys]), step_s)
    moved = np.cumsum(current) * step_s / HOUR_S / ah
    gap = arrhenius(temp_c, kind.gap_activation_j)
    sides = [_side(kind, moved, start) * gap for start in STARTS]
    knots = np.arange(moved.min(), moved.max() + KNOT_FRAC, KNOT_FRAC)
    bends = np.maximum(1 - np.abs(moved[:, None] - knots) / KNOT_FRAC, 0.0)
    table = np.column_stack([-felt_by, *sides, np.ones(len(moved)), bends])
    first = felt_by.shape[1]
    choices = tuple(
        Choice(cold, warm, first + side, *rest)
        for (cold, warm, *rest), side in product(picks, range(n_side))
    )
    return Columns(table, choices, first + n_side)


def cold_factor(share: Numeric, temp_c: Numeric) -> Numeric:
    """Resistance over that at 25 °C, for a share of charge transfer."""
    return 1 - share + share * arrhenius(temp_c, TRANSFER_J)


def block_means(values: Floats, per: int) -> Floats:
    """Means of so many values each, the last of what is left; NaN where one is missing."""
    if per == 1 or not len(values):
        return values
    starts = np.arange(0, len(values), per)
    count = np.diff(np.append(starts, len(values)))
    return np.asarray(np.add.reduceat(values, starts) / count)


def bin_means(table: Floats, known: Bools, step_s: float) -> tuple[Floats, Floats]:
    """Means over bins of `BIN_S`, of known readings, and the bins' times. (m, columns), (m,)"""
    per = max(round(BIN_S / step_s), 1)
    at = np.arange(len(table)) // per
    starts = np.flatnonzero(np.diff(at, prepend=-1))
    count = np.add.reduceat(known.astype(float), starts)
    total = np.add.reduceat(np.where(known[:, None], table, 0.0), starts, axis=0)
    seen = count >= 0.5 * per
    return np.asarray(total[seen] / count[seen, None]), np.asarray(starts[seen] * step_s, float)


def whitened(rows: Floats, t_s: Floats) -> Floats:
    """Rows less what those before foretell of a wandering error, in its standard deviations.

    Args:
        rows: The last column is the voltage less the rest curve's.
    """
    out = np.empty_like(rows)
    loss_v2 = float(np.mean(np.square(rows[:, -1]))) if len(rows) else 0.0
    left_v2 = LEFT_SD_V**2 + LEFT_FRAC**2 * loss_v2
    mean, var, last = np.zeros(rows.shape[1]), left_v2, t_s[0]
    for k, (row, t) in enumerate(zip(rows, t_s.tolist(), strict=True)):
        keep = math.exp(-(t - last) / LEFT_S)
        mean, var, last = keep * mean, keep * keep * var + left_v2 * (1 - keep * keep), t
        total = var + WHITE_SD_V**2
        out[k] = (row - mean) / math.sqrt(total)
        gain = var / total
        mean, var = mean + gain * (row - mean), var * (1 - gain)
    return out


def bend_sd_v(kind: Chemistry, soc: Floats, columns: Columns) -> Floats:
    """How far the curve's error may change from bend to bend, shape (bends - 1,). [V]

    More towards empty and full, where the published curves themselves lie apart.
    """
    bends = columns.table[:, columns.ones + 1 :]
    weight = bends.sum(axis=0)
    place = (bends * np.nan_to_num(soc)[:, None]).sum(axis=0) / np.maximum(weight, 1e-9)
    apart = np.diff(np.interp(place, kind.soc, kind.end_sd_v))
    return np.asarray(np.hypot(BEND_SD_V, apart))


def _side(kind: Chemistry, moved: Floats, start: float) -> Floats:
    """Which branch the pack stands on, -1 to 1, as charge moves; from `start`. Shape (n,)"""
    out, y = [], start
    for step in np.diff(moved, prepend=moved[:1]).tolist():
        keep = math.exp(-abs(step) / kind.gap_soc_frac)
        y = keep * y - (1 - keep) * (1.0 if step > 0 else -1.0)
        out.append(y)
    return np.array(out)


def felt(drive: Floats, tau_s: Floats, step_s: float) -> Floats:
    """Drives as first-order bodies feel them, from rest. Shapes (n, k), (k,); 0: at once.

    Between two readings the drive is taken for their mean.
    """
    keep = np.where(tau_s > 0, np.exp(-step_s / np.maximum(tau_s, 1e-9)), 0.0)
    push = np.nan_to_num(drive) * (1 - keep)
    push[1:] -= 0.5 * np.diff(push, axis=0) * (tau_s > 0)
    y = np.zeros(len(keep))
    for k in range(len(push)):
        y = keep * y + push[k]
        push[k] = y
    return np.asarray(push)


def smoothed(values: Floats, per: int) -> Floats:
    """Mean over about so many grid times, as far as they go at the ends."""
    if per < 2 or len(values) < 3:
        return values
    half = min(per // 2, (len(values) - 1) // 2)
    total = np.concatenate([[0.0], np.cumsum(values)])
    low = np.maximum(np.arange(len(values)) - half, 0)
    high = np.minimum(np.arange(len(values)) + half + 1, len(values))
    return np.asarray((total[high] - total[low]) / (high - low))
