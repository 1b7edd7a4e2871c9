"""The pack's voltage over a whole trip, split into what rest, resistance and polarisation give.

    volts = rest curve + gap·side + curve's error - r0·I - r1·I(τ1) - r2·I(τ2) + what is left

with I(τ) the current as a body of that slowness feels it. The rest curve follows the charge; its
error bends slowly with the charge moved; `side` says whether the pack stands on the charge (1) or
the discharge (-1) branch. Resistances grow in the cold by 1 - w + w·Arrhenius(33.8 kJ/mol): a
share w is charge transfer, whose energy is published, the rest is metal and electrolyte. What is
left over wanders for minutes and is whitened away, so that what a term gets wrong for a while
counts once and not with every reading.

Linear but for the time constants, the shares, the branch it started on and how the resistance
changes with charge: one least-squares fit with priors for each choice of these, weighted by how
well it describes the trip. The readings go once through the whitening and into one table of
products, from which every fit takes its part. Looks at the whole trip, so it is for afterwards.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
import numpy.typing as npt

from analyzer.chemistry import Chemistry, Numeric, arrhenius, chemistry
from analyzer.measured import cell_temp_c, held_current_a, mean_cell_v
from analyzer.pack import default_params
from analyzer.series import Floats, Series
from analyzer.soc import Charge
from logger.boat import Boat
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
LEFT_SD_V, LEFT_S = 0.001, 300.0  # what the circuit leaves, and for how long it stays the same
KNOT_FRAC = 0.05  # charge between the bends of the rest curve's error
# Of that error as a whole, and from bend to bend: two measured cells against the published curve.
CURVE_SD_V, BEND_SD_V = 0.03, 0.004
PRIOR_LN_SD = np.array([0.7, 0.7, 0.8, 0.35])  # of r0, r1, r2 and the gap; a factor of two
NEWTON_STEPS = 8
SMOOTH_S = 300.0
LEAST_WEIGHT = 1e-3
MOST_ROWS, BATCH = 9000, 400  # readings, and fits side by side: they are to fit a small board
AGEING_LN_SD = 0.04  # from trip to trip: charge, age, the thermometer's place


@dataclass(frozen=True)
class Earlier:
    """An earlier trip's resistances of the mean cell, at that trip's own temperature.

    ohm, pair_ohm: Ohmic, and of the fast pair. ln_sd, pair_ln_sd: Standard deviations of their
    logarithms.
    """

    temp_c: float
    ohm: float
    ln_sd: float
    pair_ohm: float
    pair_ln_sd: float


@dataclass(frozen=True)
class _Choice:
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
class _Columns:
    """All columns at each grid time, (n, columns), and which of them mean what.

    The last ones are the branch for each start, 1, and the bends.
    """

    table: Floats
    choices: tuple[_Choice, ...]
    ones: int

    @property
    def curve(self) -> Ints:
        """Of the rest curve's error."""
        return np.arange(self.ones, self.table.shape[1])


@dataclass(frozen=True)
class Split:
    """Per-cell fits; what is asked of them comes at pack level. [V], positive on discharge.

    Args:
        weight: Of each fit, (f,). x, cov: (f, p), (f, p, p) over r0, r1, r2, gap, curve's error.
        curve_v: The published rest curve along the trip.
        n, per: Grid times of the trip, and how many the columns and the curve take together.
    """

    columns: _Columns
    choices: tuple[_Choice, ...]
    weight: Floats
    x: Floats
    cov: Floats
    curve_v: Floats
    cells: int
    n: int
    per: int

    def series(self) -> dict[str, Floats]:
        """Means at each grid time: rest_v, ohmic_v, polar_v, ohmic_25_v, polar_25_v. (n,) each"""
        parts = {"rest_v": self._along("rest"), **{k: self._along(k) for k in _LOSSES}}
        parts["rest_v"] = parts["rest_v"] + self.curve_v
        return {k: np.repeat(self.cells * v, self.per)[: self.n] for k, v in parts.items()}

    def resistances(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """Ohmic, and of both pairs, at 25 °C: mean and standard deviation. [ohm] of the pack"""
        out = []
        for h in (np.array([1.0, 0, 0]), np.array([0, 1.0, 1.0])):
            means, inner = self.x[:, :3] @ h, np.einsum("p,fpq,q->f", h, self.cov[:, :3, :3], h)
            mean = float(self.weight @ means)
            var = float(self.weight @ (inner + (means - mean) ** 2))
            out.append((self.cells * mean, self.cells * math.sqrt(max(var, 0.0))))
        return out[0], out[1]

    def there(self, temp_c: float) -> tuple[tuple[float, float], tuple[float, float]]:
        """Ohmic, and of the fast pair, at a temperature of the trip: [ohm] of the mean cell, and
        its logarithm's standard deviation.
        """
        out = []
        for k, name in enumerate(("share0", "share1")):
            share = np.array([getattr(c, name) for c in self.choices])
            logs = np.log(self.x[:, k] * _cold(share, temp_c))
            mean = float(self.weight @ logs)
            own = self.cov[:, k, k] / np.square(self.x[:, k])
            var = float(self.weight @ (own + (logs - mean) ** 2))
            out.append((math.exp(mean), math.sqrt(var)))
        return out[0], out[1]

    def _along(self, name: str) -> Floats:
        total = np.zeros(self.columns.table.shape[1])
        for w, choice, x in zip(self.weight, self.choices, self.x, strict=True):
            at, sign = _picked(name, choice, self.columns)
            np.add.at(total, at, w * (sign * x)[sign != 0])
        return np.asarray(self.columns.table @ total)

    def terms(self, chosen: Bools, rest: Bools) -> dict[str, tuple[float, float]]:
        """Mean and standard deviation of each term over some grid times.

        Args:
            chosen: Where the account is wanted. rest: Where the pack's rest was taken.
        Returns:
            "charge used", "resistance", "polarisation", "cold"; "slow", the first and the third
            together, which a trip tells apart less well than it knows their sum; "all" together.
        """
        shares = [_blocks(mask.astype(float), self.per) for mask in (chosen, rest)]
        now, then = (share @ self.columns.table / share.sum() for share in shares)
        curve = float(np.diff([share @ self.curve_v / share.sum() for share in shares])[0])
        h = np.stack([_functionals(c, self.columns, now, then) for c in self.choices])
        means = np.einsum("ftp,fp->ft", h, self.x)
        means[:, 0] += curve
        inner = np.einsum("ftp,fpq,fuq->ftu", h, self.cov, h)
        mean = self.weight @ means
        apart = means - mean
        cov = np.einsum("f,ftu->tu", self.weight, inner + apart[:, :, None] * apart[:, None, :])
        sd = np.sqrt(np.maximum(np.diag(cov), 0.0))
        found = zip(_TERMS, self.cells * mean, self.cells * sd, strict=True)
        out = {name: (float(m), float(s)) for name, m, s in found}
        for name, which in (("slow", np.array([1.0, 0, 1, 0])), ("all", np.ones(len(_TERMS)))):
            var = max(float(which @ cov @ which), 0.0)
            out[name] = (float(self.cells * (which @ mean)), self.cells * math.sqrt(var))
        return out


def _cold(share: Numeric, temp_c: Numeric) -> Numeric:
    """Resistance over that at 25 °C, for a share of charge transfer."""
    return 1 - share + share * arrhenius(temp_c, TRANSFER_J)


_LOSSES = ("ohmic_v", "polar_v", "ohmic_25_v", "polar_25_v")
_TERMS = ("charge used", "resistance", "polarisation", "cold")


def _picked(name: str, choice: _Choice, columns: _Columns) -> tuple[Ints, Floats]:
    """Columns that make a part of the voltage, and the sign of each parameter in it, 0: not."""
    sign = np.zeros(4 + len(columns.curve))
    if name == "rest":
        sign[3:] = 1.0
        return np.array([choice.side, *columns.curve]), sign
    which = choice.warm if "25" in name else choice.cold
    used = [0] if name.startswith("ohmic") else [1, 2]
    sign[used] = -1.0
    return np.array([which[k] for k in used]), sign


def _functionals(choice: _Choice, columns: _Columns, now: Floats, then: Floats) -> Floats:
    """Each term as a row over the parameters, (terms, p)."""
    h = np.zeros((len(_TERMS), 4 + len(columns.curve)))
    rest = [choice.side, *columns.curve]
    h[0, 3:] = then[rest] - now[rest]
    warm, cold = -now[list(choice.warm)], -now[list(choice.cold)]
    h[1, 0], h[2, 1:3] = warm[0], warm[1:]
    h[3, :3] = cold - warm
    return h


def split(
    series: Series, charge: Charge, boat: Boat, earlier: Sequence[Earlier] = ()
) -> Split | None:
    """Fits the trip; None where it has too little load to tell anything.

    Args:
        earlier: Trips at other temperatures, which tell how this pack takes the cold.
    """
    kind, ah = chemistry(boat.pack.chemistry), boat.pack.rated_capacity_ah
    per = max(math.ceil(series.n / MOST_ROWS), 1)  # a long trip is taken in small steps
    step_s = per * series.step_s
    current = _blocks(held_current_a(series)[0], per)
    volts = _blocks(mean_cell_v(series, boat.pack), per)
    soc = _blocks(charge.soc_frac, per)
    temp = _smooth(_blocks(cell_temp_c(series), per), round(SMOOTH_S / step_s))
    curve = kind.ocv_v(soc, temp)
    known = np.isfinite(volts) & np.isfinite(curve)
    if known.sum() * step_s < 300.0 or np.abs(current[known]).max() < 0.05 * ah:
        return None
    columns = _columns(kind, current, temp, soc, ah, step_s)
    binned = _binned(np.column_stack([columns.table, volts - curve]), known, step_s)
    params = default_params(boat.pack)
    gap_v = float(np.interp(0.5, kind.soc, kind.half_gap_v))
    prior = np.array([params.r0_ohm, params.r1_ohm, params.r2_ohm, gap_v])
    bends = _bend_sd(kind, soc, columns)
    fits = _fits(columns, _whitened(*binned), prior, bends, earlier)
    cells = boat.pack.cells_in_series
    return Split(columns, *fits, np.asarray(curve), cells, series.n, per)


def _blocks(values: Floats, per: int) -> Floats:
    """Means of so many values each, the last of what is left; NaN where one is missing."""
    if per == 1 or not len(values):
        return values
    starts = np.arange(0, len(values), per)
    count = np.diff(np.append(starts, len(values)))
    return np.asarray(np.add.reduceat(values, starts) / count)


def _columns(
    kind: Chemistry, current: Floats, temp_c: Floats, soc: Floats, ah: float, step_s: float
) -> _Columns:
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
            drives.append(current * shapes[shape][part // 2] * _cold(share, temp_c))
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
        _Choice(cold, warm, first + side, *rest)
        for (cold, warm, *rest), side in product(picks, range(n_side))
    )
    return _Columns(table, choices, first + n_side)


def _binned(table: Floats, known: Bools, step_s: float) -> tuple[Floats, Floats]:
    """Means over bins of `BIN_S`, of known readings, and the bins' times. (m, columns), (m,)"""
    per = max(round(BIN_S / step_s), 1)
    at = np.arange(len(table)) // per
    starts = np.flatnonzero(np.diff(at, prepend=-1))
    count = np.add.reduceat(known.astype(float), starts)
    total = np.add.reduceat(np.where(known[:, None], table, 0.0), starts, axis=0)
    seen = count >= 0.5 * per
    return np.asarray(total[seen] / count[seen, None]), np.asarray(starts[seen] * step_s, float)


def _whitened(rows: Floats, t_s: Floats) -> Floats:
    """Rows less what those before foretell of a wandering error, in its standard deviations."""
    out = np.empty_like(rows)
    mean, var, last = np.zeros(rows.shape[1]), LEFT_SD_V**2, t_s[0]
    for k, (row, t) in enumerate(zip(rows, t_s.tolist(), strict=True)):
        keep = math.exp(-(t - last) / LEFT_S)
        mean, var, last = keep * mean, keep * keep * var + LEFT_SD_V**2 * (1 - keep * keep), t
        total = var + WHITE_SD_V**2
        out[k] = (row - mean) / math.sqrt(total)
        gain = var / total
        mean, var = mean + gain * (row - mean), var * (1 - gain)
    return out


def _bend_sd(kind: Chemistry, soc: Floats, columns: _Columns) -> Floats:
    """How far the curve's error may change from bend to bend, shape (bends - 1,). [V]

    More towards empty and full, where the published curves themselves lie apart.
    """
    bends = columns.table[:, columns.ones + 1 :]
    weight = bends.sum(axis=0)
    place = (bends * np.nan_to_num(soc)[:, None]).sum(axis=0) / np.maximum(weight, 1e-9)
    apart = np.diff(np.interp(place, kind.soc, kind.end_sd_v))
    return np.asarray(np.hypot(BEND_SD_V, apart))


def _fits(
    columns: _Columns, white: Floats, prior: Floats, bend_sd: Floats, earlier: Sequence[Earlier]
) -> tuple[tuple[_Choice, ...], Floats, Floats, Floats]:
    """The choices that matter, with their weights, means and covariances."""
    gram = white.T @ white
    curve = columns.curve
    at = np.array([[*c.cold, c.side, *curve] for c in columns.choices])
    own = _own(len(curve), bend_sd)

    def settle(which: Ints) -> _Found:
        here = at[which]
        return _settled(gram[here[:, :, None], here[:, None, :]], gram[here, -1], prior, own)

    parts: list[tuple[Floats, Floats, Floats]] = []
    for first in range(0, len(at), BATCH):
        some = settle(np.arange(first, min(first + BATCH, len(at))))
        parts.append((some.x, some.cost, some.log_det))
    x, cost, log_det = (np.concatenate(part) for part in zip(*parts, strict=True))
    cost = cost + gram[-1, -1]
    scale = max(float(cost.min()) / len(white), 1.0)
    lean = np.array([c.log_prior for c in columns.choices])
    shares = np.array([(c.share0, c.share1) for c in columns.choices]).T
    for other in earlier:
        lean += _agrees(other.ohm, other.ln_sd, x[:, 0], shares[0], other.temp_c)
        lean += _agrees(other.pair_ohm, other.pair_ln_sd, x[:, 1], shares[1], other.temp_c)
    log_w = -0.5 * cost / scale - 0.5 * log_det + lean
    weight = np.exp(log_w - log_w.max())
    keep = np.flatnonzero(weight > LEAST_WEIGHT)
    weight = weight[keep] / weight[keep].sum()
    last = settle(keep)
    cov = np.asarray(scale * np.linalg.inv(last.inner()), float)
    return tuple(columns.choices[k] for k in keep), weight, x[keep], cov


def _agrees(then_ohm: float, ln_sd: float, at_25: Floats, share: Floats, temp_c: float) -> Floats:
    """How well each fit agrees with what was found at another temperature, as a logarithm."""
    off = np.log(at_25 * _cold(share, temp_c) / then_ohm)
    return np.asarray(-0.5 * np.square(off) / (ln_sd**2 + AGEING_LN_SD**2))


def _own(curve: int, bend_sd: Floats) -> Floats:
    """The priors' own part: on logarithms of r0, r1, r2 and the gap, then on the curve's error."""
    p = 4 + curve
    own = np.diag(np.concatenate([1 / PRIOR_LN_SD**2, np.full(curve, 1 / CURVE_SD_V**2)]))
    if curve > 2:
        steps = np.diff(np.eye(p)[5:], axis=0) / bend_sd[:, None]
        own += steps.T @ steps
    return own


@dataclass(frozen=True)
class _Found:
    """Of some fits: parameters, (f, p); cost without the readings' own part, and the logarithm of
    the inverse covariance's determinant in the fit's own unknowns, (f,).
    """

    x: Floats
    cost: Floats
    log_det: Floats
    products: Floats
    own: Floats

    def inner(self) -> Floats:
        """The inverse covariance of x, (f, p, p)."""
        size = np.ones_like(self.x)
        size[:, :4] = self.x[:, :4]
        return self.products + self.own / size[:, :, None] / size[:, None, :]


def _settled(products: Floats, right: Floats, prior: Floats, own: Floats) -> _Found:
    """Fits in the logarithms of r0, r1, r2 and the gap, which cannot be below nothing, and
    straight in the curve's error. All fits at once, (f, p); a few Newton steps.
    """
    f, p = right.shape
    middle = np.concatenate([np.log(prior), np.zeros(p - 4)])
    unknown = np.tile(middle, (f, 1))
    x, stretch = unknown.copy(), np.ones((f, p))
    for step in range(NEWTON_STEPS + 1):
        x[:, :4] = stretch[:, :4] = np.exp(unknown[:, :4])
        x[:, 4:] = unknown[:, 4:]
        inner = products * stretch[:, :, None] * stretch[:, None, :] + own
        if step == NEWTON_STEPS:
            break
        slope = right - np.einsum("fpq,fq->fp", products, x)
        pull = stretch * slope - (unknown - middle) @ own
        move = np.linalg.solve(inner, pull[:, :, None])[:, :, 0]
        move[:, :4] = np.clip(move[:, :4], -1.0, 1.0)
        unknown = unknown + move
    off = unknown - middle
    cost = np.einsum("fp,fpq,fq->f", x, products, x) - 2 * np.einsum("fp,fp->f", x, right)
    cost += np.einsum("fp,pq,fq->f", off, own, off)
    return _Found(x, cost, np.asarray(np.linalg.slogdet(inner)[1]), products, own)


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


def _smooth(values: Floats, per: int) -> Floats:
    """Mean over about so many grid times, as far as they go at the ends."""
    if per < 2 or len(values) < 3:
        return values
    half = min(per // 2, (len(values) - 1) // 2)
    total = np.concatenate([[0.0], np.cumsum(values)])
    low = np.maximum(np.arange(len(values)) - half, 0)
    high = np.minimum(np.arange(len(values)) + half + 1, len(values))
    return np.asarray((total[high] - total[low]) / (high - low))
