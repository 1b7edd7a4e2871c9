"""A power curve with its uncertainty: log power over speed as a Gaussian process on a grid.

The curve is a prior shape times exp(f), with f Gaussian over the grid; `curve_fit.py` lets points
correct it. Drawn curves never fall with speed.

Source: C. E. Rasmussen, C. K. I. Williams, "Gaussian Processes for Machine Learning", 2006,
chapter 2.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from analyzer.estimation.estimate import Estimate
from analyzer.estimation.quantiles import Z80

Floats = npt.NDArray[np.float64]

BEYOND_EXPONENT = 3.0  # of power over speed, above the grid: constant drag coefficient, textbook


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

    def beyond(self, speed_mps: Floats) -> Floats:
        """ln power above that of the grid's last speed; 0 up to there, any shape.

        Beyond the speeds that hull physics covers, power goes on with the cube of speed: a
        constant drag coefficient (textbook), the least that a hull at full wetted area takes.
        """
        return np.asarray(BEYOND_EXPONENT * np.log(np.maximum(speed_mps / self.speed_mps[-1], 1.0)))

    def read(self, lines: Floats, speed_mps: Floats) -> Floats:
        """Curves on the grid (n, m) read at the same speeds (k,): shape (n, k)."""
        low, share = self.between(speed_mps)
        inside = (1 - share) * lines[:, low] + share * lines[:, low + 1]
        return np.asarray(inside + self.beyond(speed_mps))

    def read_each(self, lines: Floats, speed_mps: Floats) -> Floats:
        """Curves on the grid (n, m) read at speeds of their own (n, k): shape (n, k)."""
        place = np.interp(speed_mps, self.speed_mps, np.arange(len(self.speed_mps)))
        low = np.minimum(place.astype(np.int64), len(self.speed_mps) - 2)
        below = np.take_along_axis(lines, low, axis=1)
        above = np.take_along_axis(lines, low + 1, axis=1)
        return np.asarray(below + (place - low) * (above - below) + self.beyond(speed_mps))

    def at_own(self, table: Floats, speed_mps: Floats) -> Floats:
        """Rows on the grid (n, m), each interpolated at its own speed (n,): shape (n,)."""
        low, share = self.between(speed_mps)
        index = np.arange(len(low))
        return np.asarray((1 - share) * table[index, low] + share * table[index, low + 1])

    def read_own(self, lines: Floats, speed_mps: Floats) -> Floats:
        """Curves on the grid (n, m), each read at its own speed (n,): shape (n,)."""
        return np.asarray(self.at_own(lines, speed_mps) + self.beyond(speed_mps))

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
        inside = np.interp(speed_mps, self.speed_mps, line)
        return np.asarray(np.exp(inside + self.beyond(np.asarray(speed_mps))))

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


def smooth_cov(at: Floats, length: float, sd: Floats | float) -> Floats:
    """Covariance of a smooth random curve over `at` (m,), scale `length`, sd scalar or (m,)."""
    distance = (at[:, None] - at[None, :]) / length
    return np.asarray(np.exp(-0.5 * distance**2) * np.outer(sd * np.ones_like(at), sd))


def rank_cov(shapes: Sequence[Floats]) -> Floats:
    """Covariance of a sum of fixed shapes (m,), each scaled by a standard normal number."""
    return np.asarray(sum(np.outer(s, s) for s in shapes))
