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

from analyzer.estimation.estimate import Estimate
from analyzer.estimation.quantiles import Z80
from analyzer.series.series import Bools, Floats, Ints

# Of power over speed, above the grid: constant drag coefficient, by definition of it.
BEYOND_EXPONENT = 3.0


@dataclass(frozen=True)
class CurvePoints:
    """Measured points of a curve, arrays of shape (n,).

    Args:
        log_sd: Own relative error of each power.
        speed_sd_mps: Error of the speed that all points of one group share.
        group: Below zero for one whose own error has wind and sea in it.
        wind_log_sd: What a wind not measured may do to all points of a group; None: nothing.
    """

    speed_mps: Floats
    power_w: Floats
    log_sd: Floats
    speed_sd_mps: Floats
    group: Ints
    wind_log_sd: Floats | None = None

    @property
    def winds(self) -> Floats:
        """`wind_log_sd`, zeros for None."""
        return np.zeros(len(self.group)) if self.wind_log_sd is None else self.wind_log_sd

    @property
    def same_group(self) -> Bools:
        """Which pairs of points belong together, (n, n)."""
        return np.equal.outer(self.group, self.group)

    def take(self, which: Bools) -> "CurvePoints":
        """The points picked by a mask of shape (n,)."""
        arrays = {k: v[which] for k, v in self.__dict__.items() if v is not None}
        return CurvePoints(**arrays)


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

    def between(self, speed_mps: Floats) -> tuple[Ints, Floats]:
        """Grid index below each speed and the share of the way to the next, any shape."""
        count = len(self.speed_mps)
        place = np.interp(speed_mps, self.speed_mps, np.arange(count))
        low = np.minimum(place.astype(np.int64), count - 2)
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
        below, above = self.cov[low], self.cov[low + 1]
        return np.asarray((1 - part) * below + part * above)

    def beyond(self, speed_mps: Floats) -> Floats:
        """ln power above that of the grid's last speed; 0 up to there, any shape.

        Beyond the speeds that hull physics covers, power goes on with the cube of speed: a
        constant drag coefficient (textbook), the least that a hull at full wetted area takes.
        """
        over = np.maximum(speed_mps / self.speed_mps[-1], 1.0)
        return np.asarray(BEYOND_EXPONENT * np.log(over))

    def read(self, lines: Floats, speed_mps: Floats) -> Floats:
        """Curves on the grid (n, m) read at the same speeds (k,): shape (n, k)."""
        low, share = self.between(speed_mps)
        below, above = lines[:, low], lines[:, low + 1]
        inside = (1 - share) * below + share * above
        return np.asarray(inside + self.beyond(speed_mps))

    def read_each(self, lines: Floats, speed_mps: Floats) -> Floats:
        """Curves on the grid (n, m) read at speeds of their own (n, k): shape (n, k)."""
        low, share = self.between(speed_mps)
        below = np.take_along_axis(lines, low, axis=1)
        above = np.take_along_axis(lines, low + 1, axis=1)
        inside = below + share * (above - below)
        return np.asarray(inside + self.beyond(speed_mps))

    def at_own(self, table: Floats, speed_mps: Floats) -> Floats:
        """Rows on the grid (n, m), each interpolated at its own speed (n,): shape (n,)."""
        low, share = self.between(speed_mps)
        index = np.arange(len(low))
        below, above = table[index, low], table[index, low + 1]
        return np.asarray((1 - share) * below + share * above)

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
        mid = float(self.mean_w(at)[0])
        factor = float(np.exp(Z80 * self.log_sd(at)[0]))
        reason = self.reason
        if self.seen_mps is not None and not self.seen(speed_mps):
            reason += "; outside the speeds seen, so the hull's numbers speak"
        return Estimate(
            mid=mid,
            low=mid / factor,
            high=mid * factor,
            unit="W",
            reason=reason,
            used=self.used,
        )

    def seen(self, speed_mps: float) -> bool:
        """Whether a speed lies among those of the points used."""
        if self.seen_mps is None:
            return False
        low, high = self.seen_mps
        return low <= speed_mps <= high

    def slope(self, speed_mps: Floats) -> Floats:
        """Local exponent d ln P / d ln v of the mean curve at speeds, shape (k,)."""
        exponent = np.gradient(self.log_power, np.log(self.speed_mps))
        return np.asarray(np.interp(speed_mps, self.speed_mps, exponent))

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

    def take(self, which: Bools) -> "Recent":
        """The legs picked by a mask of shape (k,)."""
        return Recent(
            before=self.before,
            points=self.points.take(which),
            heading_deg=self.heading_deg[which],
            end_s=self.end_s[which],
        )

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
        return cls(
            before=PowerCurve.from_dict(data["before"]),
            points=CurvePoints(**arrays),
            heading_deg=np.asarray(data["heading_deg"], dtype=np.float64),
            end_s=np.asarray(data["end_s"], dtype=np.float64),
        )


def smooth_cov(at: Floats, length: float, sd: Floats | float) -> Floats:
    """Covariance of a smooth random curve over `at` (m,), scale `length`, sd scalar or (m,)."""
    distance = (at[:, None] - at[None, :]) / length
    size = sd * np.ones_like(at)
    return np.asarray(np.exp(-0.5 * distance**2) * np.outer(size, size))


def rank_cov(shapes: Sequence[Floats]) -> Floats:
    """Covariance of a sum of fixed shapes (m,), each scaled by a standard normal number."""
    return np.asarray(sum(np.outer(s, s) for s in shapes))
