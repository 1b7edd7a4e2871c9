"""The pack's voltage over a whole trip, split into what rest, resistance and polarisation give.

    volts = rest curve + gap·side + curve's error - r0·I - r1·I(τ1) - r2·I(τ2) + what is left

with I(τ) the current as a body of that slowness feels it. The rest curve follows the charge; its
error bends slowly with the charge moved; `side` says whether the pack stands on the charge (1) or
the discharge (-1) branch. Resistances grow in the cold by 1 - w + w·Arrhenius(33.8 kJ/mol): a
share w is charge transfer, whose energy is published, the rest is metal and electrolyte. What is
left over wanders for minutes and is whitened away (`sag_table.py`).

Linear but for the time constants, the shares, the branch it started on and how the resistance
changes with charge: one least-squares fit with priors for each choice of these, weighted by how
well it describes the trip. The readings go once through the whitening and into one table of
products, from which every fit takes its part. Looks at the whole trip, so it is for afterwards.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analyzer.pack.cell_model import default_params
from analyzer.pack.chemistry import chemistry
from analyzer.pack.soc import Charge
from analyzer.series.derived import cell_temp_c, held_current_a, mean_cell_v
from analyzer.series.series import Floats, Series
from analyzer.trips.sag_design import (
    CURVE_SD_V,
    Bools,
    Choice,
    Columns,
    Ints,
    bend_sd_v,
    bin_means,
    block_means,
    cold_factor,
    columns_of,
    smoothed,
    whitened,
)
from logger.boat import Boat

PRIOR_LN_SD = np.array([0.7, 0.7, 0.8, 0.35])  # of r0, r1, r2 and the gap; a factor of two
NEWTON_STEPS = 8
SMOOTH_S = 300.0
LEAST_WEIGHT = 1e-3
MOST_ROWS, BATCH = 9000, 400  # readings, and fits side by side: they are to fit a small board
# Of a trip's own, charge and the thermometer's place; and what has changed since all of them, which
# no number of earlier trips makes less, as else a pack that has just changed would be talked out
# of it.
TRIP_LN_SD, SINCE_LN_SD = 0.03, 0.03


@dataclass(frozen=True)
class Earlier:
    """An earlier trip's resistances of the mean cell, at that trip's own temperature.

    ohm, ln_sd: Ohmic, of the fast and of the slow pair; standard deviations of their logarithms.
    """

    temp_c: float
    ohm: tuple[float, ...]
    ln_sd: tuple[float, ...]


@dataclass(frozen=True)
class Split:
    """Per-cell fits; what is asked of them comes at pack level. [V], positive on discharge.

    Args:
        weight: Of each fit, (f,). x, cov: (f, p), (f, p, p) over r0, r1, r2, gap, curve's error.
        curve_v: The published rest curve along the trip.
        n, per: Grid times of the trip, and how many the columns and the curve take together.
    """

    columns: Columns
    choices: tuple[Choice, ...]
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

    def there(self, temp_c: float) -> Earlier:
        """What a later trip learns from this one, at a temperature of this trip."""
        ohm, ln_sd = [], []
        for k, name in enumerate(("share0", "share1", "share1")):
            share = np.array([getattr(c, name) for c in self.choices])
            logs = np.log(self.x[:, k] * cold_factor(share, temp_c))
            mean = float(self.weight @ logs)
            own = self.cov[:, k, k] / np.square(self.x[:, k])
            ohm.append(math.exp(mean))
            ln_sd.append(math.sqrt(float(self.weight @ (own + (logs - mean) ** 2))))
        return Earlier(temp_c, tuple(ohm), tuple(ln_sd))

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
        shares = [block_means(mask.astype(float), self.per) for mask in (chosen, rest)]
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


_LOSSES = ("ohmic_v", "polar_v", "ohmic_25_v", "polar_25_v")
_TERMS = ("charge used", "resistance", "polarisation", "cold")


def _picked(name: str, choice: Choice, columns: Columns) -> tuple[Ints, Floats]:
    """Columns that make a part of the voltage, and the sign of each parameter in it, 0: not."""
    sign = np.zeros(4 + len(columns.curve))
    if name == "rest":
        sign[3:] = 1.0
        return np.array([choice.side, *columns.curve]), sign
    which = choice.warm if "25" in name else choice.cold
    used = [0] if name.startswith("ohmic") else [1, 2]
    sign[used] = -1.0
    return np.array([which[k] for k in used]), sign


def _functionals(choice: Choice, columns: Columns, now: Floats, then: Floats) -> Floats:
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
    current = block_means(held_current_a(series)[0], per)
    volts = block_means(mean_cell_v(series, boat.pack), per)
    soc = block_means(charge.soc_frac, per)
    temp = smoothed(block_means(cell_temp_c(series), per), round(SMOOTH_S / step_s))
    curve = kind.ocv_v(soc, temp)
    known = np.isfinite(volts) & np.isfinite(curve)
    if known.sum() * step_s < 300.0 or np.abs(current[known]).max() < 0.05 * ah:
        return None
    columns = columns_of(kind, current, temp, soc, ah, step_s)
    binned = bin_means(np.column_stack([columns.table, volts - curve]), known, step_s)
    params = default_params(boat.pack)
    gap_v = float(np.interp(0.5, kind.soc, kind.half_gap_v))
    prior = np.array([params.r0_ohm, params.r1_ohm, params.r2_ohm, gap_v])
    bends = bend_sd_v(kind, soc, columns)
    fits = _fits(columns, whitened(*binned), prior, bends, earlier)
    cells = boat.pack.cells_in_series
    return Split(columns, *fits, np.asarray(curve), cells, series.n, per)


def _fits(
    columns: Columns, white: Floats, prior: Floats, bend_sd: Floats, earlier: Sequence[Earlier]
) -> tuple[tuple[Choice, ...], Floats, Floats, Floats]:
    """The choices that matter, with their weights, means and covariances."""
    gram = white.T @ white
    curve = columns.curve
    at = np.array([[*c.cold, c.side, *curve] for c in columns.choices])
    shares = np.array([(c.share0, c.share1, c.share1) for c in columns.choices])
    middle, ln_sd, apart = _expected(prior, shares, earlier)
    own = _own(len(curve), ln_sd, bend_sd)

    def settle(which: Ints) -> _Found:
        here, right = at[which], gram[at[which], -1]
        products = gram[here[:, :, None], here[:, None, :]]
        return _settled(products, right, middle[which], own)

    parts: list[tuple[Floats, Floats, Floats]] = []
    for first in range(0, len(at), BATCH):
        some = settle(np.arange(first, min(first + BATCH, len(at))))
        parts.append((some.x, some.cost, some.log_det))
    x, cost, log_det = (np.concatenate(part) for part in zip(*parts, strict=True))
    cost = cost + gram[-1, -1]
    scale = max(float(cost.min()) / len(white), 1.0)
    lean = np.array([c.log_prior for c in columns.choices])
    log_w = -0.5 * cost / scale - 0.5 * log_det + lean - 0.5 * apart
    weight = np.exp(log_w - log_w.max())
    keep = np.flatnonzero(weight > LEAST_WEIGHT)
    weight = weight[keep] / weight[keep].sum()
    last = settle(keep)
    cov = np.asarray(scale * np.linalg.inv(last.inner()), float)
    return tuple(columns.choices[k] for k in keep), weight, x[keep], cov


def _expected(
    prior: Floats, shares: Floats, earlier: Sequence[Earlier]
) -> tuple[Floats, Floats, Floats]:
    """What each fit is to find, before the readings: by the chemistry and by earlier trips.

    Args:
        prior: Of r0, r1, r2 and the gap. shares: Of charge transfer in r0, r1 and r2, (f, 3).
    Returns:
        Logarithms of r0, r1, r2 and the gap, (f, 4); their standard deviation, (4,); how far the
        sources lie apart by each fit's shares, as a sum of squares, (f,).
    """
    logs = np.tile(np.log(prior), (len(shares), 1))
    if not earlier:
        return logs, PRIOR_LN_SD, np.zeros(len(shares))
    said = np.array([np.log(one.ohm) - np.log(cold_factor(shares, one.temp_c)) for one in earlier])
    sure = 1 / (np.square([one.ln_sd for one in earlier]) + TRIP_LN_SD**2)
    total = sure.sum(axis=0)
    mean = np.einsum("sfk,sk->fk", said, sure) / total
    apart = np.einsum("sfk,sk->f", np.square(said - mean), sure)
    now, own = 1 / total + SINCE_LN_SD**2, np.square(PRIOR_LN_SD[:3])
    apart += (np.square(mean - logs[:, :3]) / (now + own)).sum(axis=1)
    logs[:, :3] = (mean * own + logs[:, :3] * now) / (now + own)
    return logs, np.append(np.sqrt(now * own / (now + own)), PRIOR_LN_SD[3]), apart


def _own(curve: int, ln_sd: Floats, bend_sd: Floats) -> Floats:
    """The priors' own part: on logarithms of r0, r1, r2 and the gap, then on the curve's error."""
    p = 4 + curve
    own = np.diag(np.concatenate([1 / ln_sd**2, np.full(curve, 1 / CURVE_SD_V**2)]))
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


def _settled(products: Floats, right: Floats, logs: Floats, own: Floats) -> _Found:
    """Fits in the logarithms of r0, r1, r2 and the gap, which cannot be below nothing, and
    straight in the curve's error. All fits at once, (f, p); a few Newton steps.

    Args:
        logs: Expected logarithms, (f, 4). own: See `_own`.
    """
    f, p = right.shape
    middle = np.concatenate([logs, np.zeros((f, p - 4))], axis=1)
    unknown = middle.copy()
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
