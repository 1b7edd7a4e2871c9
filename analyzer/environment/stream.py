"""The water's own movement, with its uncertainty; `stream_fit` finds it from a log."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from analyzer.environment import persistence

Floats = npt.NDArray[np.float64]

TIDE_RAD_S = 2 * np.pi / (0.51753 * 86400.0)  # semi-diurnal, as speed trials (ISO 15016) have it

# How long what is neither steady nor tide stays alike: places that the boat comes to, eddies. The
# drift that charts of currents leave unexplained is a random flight with a memory of hours (D. S.
# Ullman et al., J. Geophys. Res. 111 (2006) C12005); of its figure no source.
EDDY_S = 2 * 3600.0
SIZES = (0.08, 0.25, 0.75)  # m/s: how strong streams are where boats go; all thought as likely
# Standard deviations over a stream's size: steady part, tide's cosine and sine, eddies; where the
# tide makes the streams, and where rivers and winds do. All thought as likely. Common practice, no
# source, as the least eddies, that are there without any stream. [m/s]
PLACES = ((0.5, 1.0, 1.0, 0.35), (1.0, 0.1, 0.1, 0.35))
EDDY_LEAST = 0.02
KINDS = tuple((size, place) for size in SIZES for place in range(len(PLACES)))

PARTS = 4  # by definition, per component: steady, tide's cosine and sine from now, eddy now


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
        pairs = {
            name: None if pair is None else (float(pair[0]), float(pair[1]))
            for name, pair in data.items()
        }
        return cls(**pairs)


@dataclass(frozen=True)
class StreamDraws:
    """Equally likely streams; columns of `parts` are steady, cosine, sine, eddy, (n, 2, 4)."""

    parts: Floats
    eddy_mps: Floats  # (n,), size of eddies still to come
    normal: Floats  # (n, 2), what they will be

    def take(self, which: npt.NDArray[np.int64]) -> "StreamDraws":
        """The draws picked by index."""
        return StreamDraws(self.parts[which], self.eddy_mps[which], self.normal[which])

    def at_any_tide(self, rng: np.random.Generator) -> "StreamDraws":
        """The same streams at an unknown time of their tide."""
        angle = rng.uniform(0.0, 2 * np.pi, (len(self.eddy_mps), 1))
        parts = self.parts.copy()
        cos = self.parts[:, :, 1]
        sin = self.parts[:, :, 2]
        parts[:, :, 1] = cos * np.cos(angle) + sin * np.sin(angle)
        parts[:, :, 2] = sin * np.cos(angle) - cos * np.sin(angle)
        return StreamDraws(parts, self.eddy_mps, self.normal)

    def now(self) -> tuple[Floats, Floats]:
        """East and north at this moment, each (n,). [m/s]"""
        steady, cosine, _, eddy = np.moveaxis(self.parts, 2, 0)
        both = steady + cosine + eddy
        return both[:, 0], both[:, 1]

    def mean_over(self, duration_s: Floats) -> tuple[Floats, Floats]:
        """Mean east and north over the time from now, each of the shape (n, k) of it."""
        angle = np.maximum(TIDE_RAD_S * duration_s, 1e-6)
        kept, new = persistence.mean_until(duration_s / EDDY_S)
        new = new * self.eddy_mps[:, None]
        weights = (
            np.ones_like(angle),
            np.sin(angle) / angle,
            (1 - np.cos(angle)) / angle,
            kept,
        )
        both = []
        components = np.moveaxis(self.parts, 1, 0)
        for parts, normal in zip(components, self.normal.T, strict=True):
            known = sum(w * parts[:, j, None] for j, w in enumerate(weights))
            both.append(known + new * normal[:, None])
        return np.asarray(both[0]), np.asarray(both[1])

    def at_each(self, ahead_s: Floats) -> tuple[Floats, Floats]:
        """East and north, each draw at its own time from now, (n,). [m/s]"""
        angle = TIDE_RAD_S * ahead_s
        kept, new = persistence.later(np.maximum(ahead_s, 0.0) / EDDY_S)
        steady = np.ones_like(angle)
        weights = np.stack([steady, np.cos(angle), np.sin(angle), kept], axis=1)
        eddy = new * self.eddy_mps
        both = np.einsum("ncj,nj->nc", self.parts, weights) + eddy[:, None] * self.normal
        return both[:, 0], both[:, 1]


@dataclass(frozen=True)
class Hypothesis:
    """What a stream is if it is of one kind: its probability, and parts as in `Stream`.

    mean: (8,). cov: (8, 8). eddy_mps: Size of eddies still to come.
    """

    weight: float
    mean: Floats
    cov: Floats
    eddy_mps: float

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers and lists, for JSON."""
        return {
            "weight": self.weight,
            "mean": self.mean.tolist(),
            "cov": self.cov.tolist(),
            "eddy_mps": self.eddy_mps,
        }

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> "Hypothesis":
        """The inverse of `to_dict`."""
        return cls(
            weight=float(data["weight"]),
            mean=np.asarray(data["mean"]),
            cov=np.asarray(data["cov"]),
            eddy_mps=float(data["eddy_mps"]),
        )


@dataclass(frozen=True)
class Stream:
    """Set and drift, with their uncertainty.

    Args:
        known: Whether both components are known well enough to be used as a fact.
        reason: What it rests on, or why it cannot be said and what to do.
        t_s: Times of the estimate on the log's timeline, shape (m,); the last is "now". [s]
        mean_mps: East and north components, shape (m, 2).
        cov: Their covariance at each time, shape (m, 2, 2). [m²/s²]
        parts_mean: Steady, cosine, sine, eddy of east, then of north, from now, shape (8,).
        parts_cov: Covariance of the same, shape (8, 8).
        eddy_mps: Size of eddies still to come; 0 for a stream that is held as it is.
        kinds: The stream for each kind that it may be; none: it is of one.
        calibration: Of log, propeller and compass, found beside it.
        used: Channels it rests on.
    """

    known: bool
    reason: str
    t_s: Floats
    mean_mps: Floats
    cov: Floats
    parts_mean: Floats
    parts_cov: Floats
    eddy_mps: float
    kinds: tuple[Hypothesis, ...] = ()
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
        variances = np.linalg.eigvalsh(self.cov[-1])
        return float(np.sqrt(variances[-1]))

    @property
    def toward_sd_deg(self) -> float:
        """Standard deviation of the set, 180 where the drift is lost in its own uncertainty."""
        size = self.speed_mps
        if size <= 1e-6:
            return 180.0
        east, north = self.mean_mps[-1]
        across = np.array([north, -east]) / size
        sd = float(np.sqrt(across @ self.cov[-1] @ across))
        return min(float(np.degrees(sd / size)), 180.0)

    def at(self, t_s: Floats) -> tuple[Floats, Floats, Floats]:
        """East, north and worst-direction standard deviation at times, each shape of `t_s`."""
        east = np.interp(t_s, self.t_s, self.mean_mps[:, 0])
        north = np.interp(t_s, self.t_s, self.mean_mps[:, 1])
        sd = np.sqrt(np.linalg.eigvalsh(self.cov)[:, -1])
        return east, north, np.interp(t_s, self.t_s, sd)

    def paths(self, n: int, rng: np.random.Generator) -> StreamDraws:
        """Equally likely streams now and in the coming hours."""
        one = Hypothesis(1.0, self.parts_mean, self.parts_cov, self.eddy_mps)
        kinds = self.kinds or (one,)
        weight = np.array([kind.weight for kind in kinds])
        weight /= weight.sum()
        of = rng.choice(len(kinds), n, p=weight)
        parts = rng.standard_normal((n, 2 * PARTS))
        for k, kind in enumerate(kinds):
            values, vectors = np.linalg.eigh(kind.cov)
            root = vectors * np.sqrt(np.maximum(values, 0.0))
            mine = of == k
            parts[mine] = kind.mean + parts[mine] @ root.T
        eddy = np.array([kind.eddy_mps for kind in kinds])[of]
        return StreamDraws(parts.reshape(n, 2, PARTS), eddy, rng.standard_normal((n, 2)))

    def draws(self, n: int, rng: np.random.Generator) -> tuple[Floats, Floats]:
        """Equally likely streams now: east and north, each shape (n,). [m/s]"""
        return self.paths(n, rng).now()

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers and lists, for JSON."""
        return {
            "known": self.known,
            "reason": self.reason,
            "t_s": self.t_s.tolist(),
            "mean_mps": self.mean_mps.tolist(),
            "cov": self.cov.tolist(),
            "parts_mean": self.parts_mean.tolist(),
            "parts_cov": self.parts_cov.tolist(),
            "eddy_mps": self.eddy_mps,
            "kinds": [kind.to_dict() for kind in self.kinds],
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
            parts_mean=np.asarray(data["parts_mean"], dtype=np.float64),
            parts_cov=np.asarray(data["parts_cov"], dtype=np.float64),
            eddy_mps=float(data["eddy_mps"]),
            kinds=tuple(Hypothesis.from_dict(kind) for kind in data["kinds"]),
            calibration=Calibration.from_dict(data["calibration"]),
            used=tuple(data["used"]),
        )


def part_sds(size_mps: float, place: int) -> Floats:
    """Standard deviations of steady part, cosine, sine and eddy of a stream of a size, (4,).

    place: Index into `PLACES`.
    """
    sds = size_mps * np.array(PLACES[place])
    sds[-1] += EDDY_LEAST
    return np.asarray(sds)


def unknown(reason: str, t_s: float = 0.0) -> Stream:
    """A stream of which only is known how streams usually are."""
    sds = [part_sds(*kind) for kind in KINDS]
    kinds = tuple(
        Hypothesis(1 / len(sds), np.zeros(2 * PARTS), np.diag(np.tile(sd**2, 2)), float(sd[3]))
        for sd in sds
    )
    var = np.mean(np.square(sds), axis=0)
    now_var = var[0] + var[1] + var[3]
    return Stream(
        known=False,
        reason=reason,
        t_s=np.array([t_s]),
        mean_mps=np.zeros((1, 2)),
        cov=np.eye(2)[None] * now_var,
        parts_mean=np.zeros(2 * PARTS),
        parts_cov=np.diag(np.concatenate([var, var])),
        eddy_mps=float(np.sqrt(var[3])),
        kinds=kinds,
    )


def given(speed_mps: float, toward_deg: float, sd_mps: float = 0.1, t_s: float = 0.0) -> Stream:
    """A stream that a person typed in, toward a true direction; held as it is."""
    angle = np.radians(toward_deg)
    mean = speed_mps * np.array([[np.sin(angle), np.cos(angle)]])
    parts = np.zeros(2 * PARTS)
    cov = np.zeros((2 * PARTS, 2 * PARTS))
    parts[[0, PARTS]] = mean[0]
    cov[0, 0] = cov[PARTS, PARTS] = sd_mps**2
    return Stream(
        known=True,
        reason="as given",
        t_s=np.array([t_s]),
        mean_mps=mean,
        cov=np.eye(2)[None] * sd_mps**2,
        parts_mean=parts,
        parts_cov=cov,
        eddy_mps=0.0,
    )
