"""The water's own movement, with its uncertainty; `analyzer.drift` finds it from a log."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

STREAM_SD = 0.8  # m/s per component before anything is known
WALK_SD = 0.25  # m/s per sqrt(hour): tide and place


@dataclass(frozen=True)
class Calibration:
    """What turns readings into speed through water: (mean, sd) each, None where not measured.

    Args:
        water_factor: Speed through water over what the log shows.
        advance_m: Metres through water per shaft turn.
        compass_error_deg: What the compass shows too much.
    """

    water_factor: tuple[float, float] | None = None
    advance_m: tuple[float, float] | None = None
    compass_error_deg: tuple[float, float] | None = None

    def to_dict(self) -> dict[str, Any]:
        """Plain lists, for JSON."""
        return {k: None if v is None else list(v) for k, v in self.__dict__.items()}

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> "Calibration":
        """The inverse of `to_dict`."""
        pairs = {k: None if v is None else (float(v[0]), float(v[1])) for k, v in data.items()}
        return cls(**pairs)


@dataclass(frozen=True)
class Stream:
    """Set and drift, with their uncertainty.

    Args:
        known: Whether both components are known well enough to be used as a fact.
        reason: What it rests on, or why it cannot be said and what to do.
        t_s: Times of the estimate on the log's timeline, shape (m,); the last is "now". [s]
        mean_mps: East and north components, shape (m, 2).
        cov: Their covariance at each time, shape (m, 2, 2). [m²/s²]
        calibration: Of log, propeller and compass, found beside it.
        used: Channels it rests on.
    """

    known: bool
    reason: str
    t_s: Floats
    mean_mps: Floats
    cov: Floats
    calibration: Calibration = field(default_factory=Calibration)
    used: tuple[str, ...] = field(default_factory=tuple)

    @property
    def speed_mps(self) -> float:
        """Drift now."""
        return float(np.hypot(*self.mean_mps[-1]))

    @property
    def toward_deg(self) -> float:
        """Set now: the direction the water moves toward, true."""
        east, north = self.mean_mps[-1]
        return float(np.degrees(np.arctan2(east, north)) % 360.0)

    @property
    def sd_mps(self) -> float:
        """Standard deviation in the worst direction, now."""
        return float(np.sqrt(np.linalg.eigvalsh(self.cov[-1])[-1]))

    @property
    def toward_sd_deg(self) -> float:
        """Standard deviation of the set, 180 where the drift is lost in its own uncertainty."""
        size = self.speed_mps
        across = np.array([self.mean_mps[-1][1], -self.mean_mps[-1][0]]) / max(size, 1e-9)
        sd = float(np.sqrt(across @ self.cov[-1] @ across))
        return min(float(np.degrees(sd / size)) if size > 1e-6 else 180.0, 180.0)

    def at(self, t_s: Floats) -> tuple[Floats, Floats, Floats]:
        """East, north and worst-direction standard deviation at times, each shape of `t_s`."""
        east = np.interp(t_s, self.t_s, self.mean_mps[:, 0])
        north = np.interp(t_s, self.t_s, self.mean_mps[:, 1])
        sd = np.sqrt(np.linalg.eigvalsh(self.cov)[:, -1])
        return east, north, np.interp(t_s, self.t_s, sd)

    def draws(
        self, n: int, rng: np.random.Generator, ahead_s: float = 0.0
    ) -> tuple[Floats, Floats]:
        """Equally likely streams, `ahead_s` from now: east and north, each shape (n,). [m/s]"""
        cov = self.cov[-1] + np.eye(2) * WALK_SD**2 * ahead_s / 3600.0
        root = np.linalg.cholesky(cov + 1e-12 * np.eye(2))
        both = self.mean_mps[-1] + rng.standard_normal((n, 2)) @ root.T
        return both[:, 0], both[:, 1]

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers and lists, for JSON."""
        return {
            "known": self.known,
            "reason": self.reason,
            "t_s": self.t_s.tolist(),
            "mean_mps": self.mean_mps.tolist(),
            "cov": self.cov.tolist(),
            "calibration": self.calibration.to_dict(),
            "used": list(self.used),
        }

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> "Stream":
        """The inverse of `to_dict`."""
        return cls(
            known=bool(data["known"]),
            reason=str(data["reason"]),
            t_s=np.asarray(data["t_s"], dtype=np.float64),
            mean_mps=np.asarray(data["mean_mps"], dtype=np.float64).reshape(-1, 2),
            cov=np.asarray(data["cov"], dtype=np.float64).reshape(-1, 2, 2),
            calibration=Calibration.from_dict(data["calibration"]),
            used=tuple(data["used"]),
        )


def unknown(reason: str, t_s: float = 0.0) -> Stream:
    """A stream of which only the usual size is known."""
    cov = np.eye(2)[None] * STREAM_SD**2 / 4
    return Stream(False, reason, np.array([t_s]), np.zeros((1, 2)), cov)


def given(speed_mps: float, toward_deg: float, sd_mps: float = 0.1, t_s: float = 0.0) -> Stream:
    """A stream that a person typed in, toward a true direction."""
    angle = np.radians(toward_deg)
    mean = speed_mps * np.array([[np.sin(angle), np.cos(angle)]])
    cov = np.eye(2)[None] * sd_mps**2
    return Stream(True, "as given", np.array([t_s]), mean, cov)
