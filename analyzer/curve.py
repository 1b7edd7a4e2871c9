"""A power curve with its uncertainty: log power over speed as a Gaussian process on a grid.

The curve is a prior shape times exp(f), with f Gaussian over the grid. Fitting points is the
conjugate Bayesian update in the space of the points; heavy-tailed noise by reweighting
(Student t); the size of the curve's wiggles and of the noise is judged by the points too, by
their evidence on a small grid. Drawn curves never fall with speed.

Source: C. E. Rasmussen, C. K. I. Williams, "Gaussian Processes for Machine Learning", 2006,
chapter 2; Student-t reweighting as in K. Lange et al., J. Am. Stat. Assoc. 84 (1989) 881.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from analyzer.estimate import Estimate
from analyzer.wind import BEYOND_WIND

Floats = npt.NDArray[np.float64]

STUDENT_DOF = 4.0
ROUNDS = 6
LOCAL_SCALES = (0.35, 0.7, 1.4, 2.8)  # how much smaller or larger wiggles may be than thought
NOISE_SCALES = (0.35, 0.7, 1.4, 2.8)  # and the points' own errors
SCALE_LOG_SD = 0.7
Z80 = 1.2815515655446004  # standard normal quantile at 0.9


@dataclass(frozen=True)
class CurvePoints:
    """Measured points of a curve.

    speed_mps, power_w: shape (n,). log_sd: own relative error of each power, shape (n,).
    speed_sd_mps: error of the speed that all points of one group share, shape (n,).
    group: shape (n,), integers; below zero for one whose own error has wind and sea in it.
    wind_log_sd: what a wind not measured may do to all points of a group, shape (n,).
    """

    speed_mps: Floats
    power_w: Floats
    log_sd: Floats
    speed_sd_mps: Floats
    group: npt.NDArray[np.int64]
    wind_log_sd: Floats | None = None

    def take(self, which: npt.NDArray[np.bool_]) -> "CurvePoints":
        """The points picked by a mask of shape (n,)."""
        return CurvePoints(
            self.speed_mps[which],
            self.power_w[which],
            self.log_sd[which],
            self.speed_sd_mps[which],
            self.group[which],
            None if self.wind_log_sd is None else self.wind_log_sd[which],
        )


@dataclass(frozen=True)
class PowerCurve:
    """Electrical power for propulsion against speed through water.

    Args:
        speed_mps: Grid, rising, shape (m,).
        log_power: Mean of ln(power / W) at the grid, shape (m,).
        cov: Covariance of the same, shape (m, m).
        local: Part of `cov` whose size the points themselves may judge, shape (m, m): the curve's
            wiggles about its published shape. None once judged.
        noise_scale: How large the points' own errors were over what they were said to be.
        leg_sd: Wind and sea of one leg about the curve, in ln power.
        seen_mps: Lowest and highest speed of the points used; None from the hull alone.
        minutes: Steady motoring behind it.
        reason: What it rests on.
        recent: The legs just sailed, which share their wind with what the boat does now, and the
            curve without them.
    """

    speed_mps: Floats
    log_power: Floats
    cov: Floats
    noise_scale: float = 1.0
    leg_sd: float = 0.0
    seen_mps: tuple[float, float] | None = None
    local: Floats | None = None
    minutes: float = 0.0
    reason: str = "from the hull's numbers alone"
    used: tuple[str, ...] = field(default_factory=tuple)
    recent: "Recent | None" = None

    @cached_property
    def _root(self) -> Floats:
        """Square root of the covariance, its few largest directions, shape (m, r)."""
        values, vectors = np.linalg.eigh(self.cov)
        large = values > 1e-6 * values[-1]
        return np.asarray(vectors[:, large] * np.sqrt(values[large]))

    def between(self, speed_mps: Floats) -> tuple[npt.NDArray[np.int64], Floats]:
        """Grid index below each speed and the share of the way to the next, each (k,)."""
        place = np.interp(speed_mps, self.speed_mps, np.arange(len(self.speed_mps)))
        low = np.minimum(place.astype(np.int64), len(self.speed_mps) - 2)
        return low, place - low

    def weights(self, speed_mps: Floats) -> Floats:
        """Linear interpolation from the grid to speeds, shape (k, m); held beyond the ends."""
        low, share = self.between(speed_mps)
        rows = np.zeros((len(low), len(self.speed_mps)))
        index = np.arange(len(low))
        rows[index, low] = 1 - share
        rows[index, low + 1] = share
        return rows

    def cov_rows(self, speed_mps: Floats) -> Floats:
        """Covariance of ln power at speeds with the grid, shape (k, m)."""
        low, share = self.between(speed_mps)
        part = share[:, None]
        return np.asarray((1 - part) * self.cov[low] + part * self.cov[low + 1])

    def read(self, lines: Floats, speed_mps: Floats) -> Floats:
        """Curves on the grid (n, m) read at the same speeds (k,): shape (n, k)."""
        low, share = self.between(speed_mps)
        return np.asarray((1 - share) * lines[:, low] + share * lines[:, low + 1])

    def read_each(self, lines: Floats, speed_mps: Floats) -> Floats:
        """Curves on the grid (n, m) read at speeds of their own (n, k): shape (n, k)."""
        place = np.interp(speed_mps, self.speed_mps, np.arange(len(self.speed_mps)))
        low = np.minimum(place.astype(np.int64), len(self.speed_mps) - 2)
        below = np.take_along_axis(lines, low, axis=1)
        above = np.take_along_axis(lines, low + 1, axis=1)
        return np.asarray(below + (place - low) * (above - below))

    def read_own(self, lines: Floats, speed_mps: Floats) -> Floats:
        """Curves on the grid (n, m), each read at its own speed (n,): shape (n,)."""
        low, share = self.between(speed_mps)
        index = np.arange(len(low))
        return np.asarray((1 - share) * lines[index, low] + share * lines[index, low + 1])

    def lines(self, n: int, rng: np.random.Generator) -> Floats:
        """Equally likely ln power at the grid as the Gaussian has it, shape (n, m)."""
        normal = rng.standard_normal((n, self._root.shape[1]))
        # einsum, not @: so small a product only loses by being shared among threads
        return np.asarray(self.log_power + np.einsum("nr,mr->nm", normal, self._root))

    def curves(self, n: int, rng: np.random.Generator) -> Floats:
        """Equally likely ln power at the grid, never falling, shape (n, m)."""
        return np.maximum.accumulate(self.lines(n, rng), axis=1)

    def draws(self, speed_mps: Floats, n: int, rng: np.random.Generator) -> Floats:
        """Equally likely powers at speeds.

        Args:
            speed_mps: Shape (k,).
            n: Draws.
        Returns:
            Shape (n, k), never falling with speed along a draw. [W]
        """
        lines = self.read(self.curves(n, rng), np.asarray(speed_mps, float))
        return np.asarray(np.exp(np.maximum.accumulate(lines, axis=1)))

    def mean_w(self, speed_mps: Floats) -> Floats:
        """Median power at speeds, shape (k,). [W]"""
        line = np.maximum.accumulate(self.log_power)
        return np.asarray(np.exp(np.interp(speed_mps, self.speed_mps, line)))

    def log_sd(self, speed_mps: Floats) -> Floats:
        """Standard deviation of ln power at speeds, shape (k,)."""
        rows = self.weights(np.asarray(speed_mps, float))
        return np.asarray(np.sqrt(np.einsum("ki,ij,kj->k", rows, self.cov, rows)))

    def power_w(self, speed_mps: float) -> Estimate:
        """Power at one speed with its 80 % range. [W]"""
        at = np.array([speed_mps])
        mid, sd = float(self.mean_w(at)[0]), float(self.log_sd(at)[0])
        reason = self.reason
        if self.seen_mps and not self.seen_mps[0] <= speed_mps <= self.seen_mps[1]:
            reason += "; outside the speeds seen, so the hull's numbers speak"
        return Estimate(
            mid, mid * np.exp(-Z80 * sd), mid * np.exp(Z80 * sd), "W", reason=reason, used=self.used
        )

    def slope(self, speed_mps: Floats) -> Floats:
        """Local exponent d ln P / d ln v of the mean curve at speeds, shape (k,)."""
        log_v = np.log(self.speed_mps)
        return np.asarray(np.interp(speed_mps, self.speed_mps, np.gradient(self.log_power, log_v)))

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers and lists, for JSON."""
        return {
            "speed_mps": self.speed_mps.tolist(),
            "log_power": self.log_power.tolist(),
            "cov": _packed(self.cov),
            "local": None if self.local is None else _packed(self.local),
            "noise_scale": self.noise_scale,
            "leg_sd": self.leg_sd,
            "seen_mps": self.seen_mps,
            "minutes": self.minutes,
            "reason": self.reason,
            "used": list(self.used),
            "recent": self.recent.to_dict() if self.recent else None,
        }

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> "PowerCurve":
        """The inverse of `to_dict`."""
        seen, recent = data["seen_mps"], data["recent"]
        return cls(
            speed_mps=np.asarray(data["speed_mps"], dtype=np.float64),
            log_power=np.asarray(data["log_power"], dtype=np.float64),
            cov=_unpacked(data["cov"]),
            local=None if data["local"] is None else _unpacked(data["local"]),
            noise_scale=float(data["noise_scale"]),
            leg_sd=float(data["leg_sd"]),
            seen_mps=None if seen is None else (float(seen[0]), float(seen[1])),
            minutes=float(data["minutes"]),
            reason=str(data["reason"]),
            used=tuple(data["used"]),
            recent=Recent.from_dict(recent) if recent else None,
        )


def _packed(cov: Floats) -> list[float]:
    """The upper triangle of a symmetric matrix, row by row."""
    return [round(float(v), 7) for v in cov[np.triu_indices(len(cov))]]


def _unpacked(values: Sequence[float]) -> Floats:
    """The inverse of `_packed`."""
    size = int(np.sqrt(2 * len(values)))
    cov = np.zeros((size, size))
    cov[np.triu_indices(size)] = values
    return cov + np.triu(cov, 1).T


@dataclass(frozen=True)
class Recent:
    """Legs of the last hours; arrays of shape (k,).

    before: The curve without them. points: Power against speed. heading_deg, end_s: Of each.
    """

    before: PowerCurve
    points: CurvePoints
    heading_deg: Floats
    end_s: Floats

    def take(self, which: npt.NDArray[np.bool_]) -> "Recent":
        """The legs picked by a mask of shape (k,)."""
        points = self.points.take(which)
        return Recent(self.before, points, self.heading_deg[which], self.end_s[which])

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers and lists, for JSON."""
        return {
            "before": self.before.to_dict(),
            "points": {k: np.asarray(v).tolist() for k, v in self.points.__dict__.items()},
            "heading_deg": self.heading_deg.tolist(),
            "end_s": self.end_s.tolist(),
        }

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> "Recent":
        """The inverse of `to_dict`."""
        arrays = {k: np.asarray(v) for k, v in data["points"].items()}
        heading, end_s = (np.asarray(data[k], dtype=np.float64) for k in ("heading_deg", "end_s"))
        return cls(PowerCurve.from_dict(data["before"]), CurvePoints(**arrays), heading, end_s)


@dataclass(frozen=True)
class _Sight:
    """Points as seen from a curve's grid."""

    rows: Floats  # (n, m)
    log_w: Floats  # (n,)
    own: Floats  # (n,) variances
    shared: Floats  # (n, n), from the speed's error
    legs: Floats  # (n, n), from wind and sea
    weight: Floats  # (n,)


def shared_cov(points: CurvePoints, slope: Floats) -> Floats:
    """Covariance of ln power that points of one group share through their speed, (n, n)."""
    share = slope * points.speed_sd_mps / np.maximum(points.speed_mps, 0.1)
    same = points.group[:, None] == points.group[None, :]
    return np.asarray(same * np.outer(share, share))


def leg_cov(points: CurvePoints, leg_sd: float) -> Floats:
    """Covariance of ln power that points of one group share through wind and sea, (n, n)."""
    winds = np.zeros(len(points.group)) if points.wind_log_sd is None else points.wind_log_sd
    each = np.where(winds > 0, np.hypot(BEYOND_WIND * leg_sd, winds), leg_sd)
    each = np.where(points.group < 0, 0.0, each)
    same = points.group[:, None] == points.group[None, :]
    return np.asarray(same * np.outer(each, each))


def _conditioned(
    curve: PowerCurve, prior_cov: Floats, sight: _Sight, noise_scale: float
) -> tuple[Floats, Floats, float]:
    """Mean and covariance at the grid after the points, and the points' log evidence."""
    cross = prior_cov @ sight.rows.T
    own = noise_scale**2 * sight.own / sight.weight
    total = sight.rows @ cross + sight.shared + noise_scale**2 * sight.legs + np.diag(own)
    root = np.linalg.cholesky(total)
    off = sight.log_w - sight.rows @ curve.log_power
    white = np.linalg.solve(root, np.column_stack([off, cross.T]))
    mean = curve.log_power + white[:, 1:].T @ white[:, 0]
    cov = prior_cov - white[:, 1:].T @ white[:, 1:]
    evidence = -0.5 * float(white[:, 0] @ white[:, 0]) - float(np.log(np.diag(root)).sum())
    return mean, cov, evidence


def _reweighted(curve: PowerCurve, sight: _Sight) -> _Sight:
    """The points with Student-t weights: those far off the others' curve count little."""
    for _ in range(ROUNDS):
        mean, cov, _ = _conditioned(curve, curve.cov, sight, 1.0)
        spread = (
            sight.own + np.diag(sight.legs) + np.einsum("ki,ij,kj->k", sight.rows, cov, sight.rows)
        )
        left = sight.log_w - sight.rows @ mean
        weight = (STUDENT_DOF + 1) / (STUDENT_DOF + left**2 / spread)
        sight = replace(sight, weight=weight)
    return sight


def _judged(curve: PowerCurve, sight: _Sight) -> tuple[Floats, Floats, float]:
    """Mean and covariance averaged over how large wiggles and noise may be (Bayes' weights).

    Returns:
        Mean (m,), covariance (m, m), and how large the points' noise was over what they said.
    """
    scales = LOCAL_SCALES if curve.local is not None else (1.0,)
    local = curve.local if curve.local is not None else np.zeros_like(curve.cov)
    logs, means, covs, noises = [], [], [], []
    for size in scales:
        prior_cov = curve.cov + (size**2 - 1) * local
        for noise in NOISE_SCALES:
            mean, cov, evidence = _conditioned(curve, prior_cov, sight, noise)
            doubt = (np.log(size) ** 2 + np.log(noise) ** 2) / (2 * SCALE_LOG_SD**2)
            logs.append(evidence - doubt)
            means.append(mean)
            covs.append(cov)
            noises.append(noise)
    chance = np.exp(np.array(logs) - max(logs))
    chance /= chance.sum()
    table = np.array(means)
    mean = chance @ table
    off = table - mean
    cov = np.tensordot(chance, np.array(covs), axes=1) + off.T @ (off * chance[:, None])
    narrow = _narrowed(chance, off, np.array([np.diag(c) for c in covs]))
    noise_var = np.square(noises)
    noise_scale = np.sqrt(chance @ noise_var) * _narrowed(chance, 0.0 * noise_var, noise_var)
    return mean, cov * np.outer(narrow, narrow), float(noise_scale)


def _narrowed(chance: Floats, off: Floats, var: Floats) -> Floats:
    """By how much a mixture's 80 % range is narrower than its variance would have it, (m,).

    A mixture of sizes has long tails, which make its variance large and leave its middle alone.

    Args:
        chance: Of each member, (j,). off, var: Its mean about the mixture's, and variance, (j, m).
    Source: E. A. Cornish, R. A. Fisher, Rev. Int. Stat. Inst. 5 (1938) 307, the term of the
        fourth moment.
    """
    second = chance @ (var + off**2)
    fourth = chance @ (3 * var**2 + 6 * var * off**2 + off**4)
    excess = fourth / second**2 - 3
    return np.asarray(np.clip(1 + (Z80**2 - 3) / 24 * excess, 0.7, 1.0))


def update(curve: PowerCurve, points: CurvePoints) -> PowerCurve:
    """The curve after seeing points; points far off the others count little.

    Args:
        curve: What was believed before.
        points: Those without positive speed, power and error are left out.
    Returns:
        A new curve on the same grid; the same one where no point is left.
    """
    good = (points.power_w > 0) & (points.speed_mps > 0) & (points.log_sd > 0)
    if not good.any():
        return curve
    points = points.take(good)
    slope = np.maximum(curve.slope(points.speed_mps), 1.0)
    sight = _Sight(
        rows=curve.weights(points.speed_mps),
        log_w=np.log(points.power_w),
        own=points.log_sd**2,
        shared=shared_cov(points, slope),
        legs=leg_cov(points, curve.leg_sd),
        weight=np.ones(len(points.power_w)),
    )
    mean, cov, noise_scale = _judged(curve, _reweighted(curve, sight))
    seen = (float(points.speed_mps.min()), float(points.speed_mps.max()))
    return replace(
        curve,
        log_power=mean,
        cov=(cov + cov.T) / 2,
        local=None,
        noise_scale=noise_scale,
        leg_sd=noise_scale * curve.leg_sd,
        seen_mps=seen,
        recent=None,
    )


def smooth_cov(at: Floats, length: float, sd: Floats | float) -> Floats:
    """Covariance of a smooth random curve over `at` (m,), scale `length`, sd scalar or (m,)."""
    distance = (at[:, None] - at[None, :]) / length
    return np.asarray(np.exp(-0.5 * distance**2) * np.outer(sd * np.ones_like(at), sd))


def rank_cov(shapes: Sequence[Floats]) -> Floats:
    """Covariance of a sum of fixed shapes (m,), each scaled by a standard normal number."""
    return np.asarray(sum(np.outer(s, s) for s in shapes))
