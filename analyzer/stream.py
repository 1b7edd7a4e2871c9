"""The water's own movement, from what the boat does over ground and through water.

Ground velocity is the velocity through water plus the stream. The velocity through water lies
along the heading; its size comes from the water-speed log or from the shaft (speed = advance x
revolutions), either with a calibration factor that is not known beforehand. Stream (a slow
random walk in time), both factors and the compass error are found together by least squares
with the usual sizes of each as prior, so that what cannot be separated stays wide.

Source: linear Gaussian estimation (textbook); the iterative current correction of speed trials
(ISO 15016:2015) is the same idea with a sine in place of the random walk. Prior sizes are
common practice, no source.
"""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from analyzer.series import Series

Floats = npt.NDArray[np.float64]

STREAM_SD = 0.8  # m/s per component before anything is known
WALK_SD = 0.25  # m/s per sqrt(hour): tide and place
WATER_FACTOR_SD = 0.06  # of an uncalibrated water-speed log
SLIP_MID, SLIP_SD = 0.30, 0.12  # of a displacement boat's propeller
COMPASS_SD_DEG = 3.0
NOISE_MPS = 0.10  # of one 30 s mean: waves, steering
KNOWN_SD_MPS = 0.18  # a stream known worse than this in any direction is not "known"
KNOT_S = 600.0
BIN_S = 30.0


@dataclass(frozen=True)
class Stream:
    """Set and drift, with their uncertainty.

    Args:
        known: Whether both components are known well enough to be used as a fact.
        reason: What it rests on, or why it cannot be said and what to do.
        t_s: Times of the estimate on the log's timeline, shape (m,); the last is "now". [s]
        mean_mps: East and north components, shape (m, 2).
        cov: Their covariance at each time, shape (m, 2, 2). [m²/s²]
        water_factor: Speed through water over what the log shows; None without a log.
        advance_m: Metres through water per shaft turn; None without shaft speed.
        used: Channels it rests on.
    """

    known: bool
    reason: str
    t_s: Floats
    mean_mps: Floats
    cov: Floats
    water_factor: tuple[float, float] | None = None
    advance_m: tuple[float, float] | None = None
    compass_error_deg: tuple[float, float] | None = None
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
            "water_factor": self.water_factor,
            "advance_m": self.advance_m,
            "compass_error_deg": self.compass_error_deg,
            "used": list(self.used),
        }

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> "Stream":
        """The inverse of `to_dict`."""

        def pair(key: str) -> tuple[float, float] | None:
            return None if data[key] is None else (float(data[key][0]), float(data[key][1]))

        return cls(
            known=bool(data["known"]),
            reason=str(data["reason"]),
            t_s=np.asarray(data["t_s"], dtype=np.float64),
            mean_mps=np.asarray(data["mean_mps"], dtype=np.float64).reshape(-1, 2),
            cov=np.asarray(data["cov"], dtype=np.float64).reshape(-1, 2, 2),
            water_factor=pair("water_factor"),
            advance_m=pair("advance_m"),
            compass_error_deg=pair("compass_error_deg"),
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


@dataclass(frozen=True)
class _Bins:
    """Half-minute means of the moving boat, each shape (n,)."""

    t_s: Floats
    ground: Floats  # (n, 2) east, north
    heading_rad: Floats  # NaN without compass
    water: Floats  # log's reading, NaN without
    shaft: Floats  # revolutions per second ahead, NaN without


def _mean_bins(values: Floats, size: int) -> Floats:
    """Means of whole bins of `size` samples, NaN where under half the bin is there."""
    whole = len(values) // size * size
    table = values[:whole].reshape(-1, size)
    count = np.isfinite(table).sum(axis=1)
    total = np.nansum(table, axis=1)
    return np.where(count * 2 >= size, total / np.maximum(count, 1), np.nan)


def heading_true(series: Series) -> Floats:
    """True heading, from the compass and the variation where only magnetic is there. [deg]"""
    true = series.get("heading_true_deg")
    magnetic = (series.get("heading_magnetic_deg") + series.get("variation_deg")) % 360.0
    return np.where(np.isfinite(true), true, magnetic)


def _bins(series: Series) -> _Bins:
    """The series as half-minute means."""
    size = max(round(BIN_S / series.step_s), 1)
    course = np.radians(series.get("course_ground_deg"))
    speed = series.get("speed_ground_mps")
    heading = np.radians(heading_true(series))
    sin, cos = _mean_bins(np.sin(heading), size), _mean_bins(np.cos(heading), size)
    steady = np.hypot(sin, cos) > 0.97  # turning: the bin's mean is no heading
    ground = np.stack(
        [_mean_bins(speed * np.sin(course), size), _mean_bins(speed * np.cos(course), size)], axis=1
    )
    return _Bins(
        t_s=_mean_bins(series.t0_us / 1e6 + series.t_s, size),
        ground=ground,
        heading_rad=np.where(steady, np.arctan2(sin, cos), np.nan),
        water=_mean_bins(series.get("speed_water_mps"), size),
        shaft=_mean_bins(series.get("shaft_speed_rps"), size),
    )


def _walk_precision(knots: int, step_s: float) -> Floats:
    """Inverse covariance of a random walk that starts wide, shape (knots, knots)."""
    step_var = WALK_SD**2 * max(step_s, 1.0) / 3600.0
    diff = np.diff(np.eye(knots), axis=0)
    precision = diff.T @ diff / step_var
    precision[0, 0] += 1 / STREAM_SD**2
    return np.asarray(precision)


def _rows(
    bins: _Bins,
    weights: Floats,
    ok: npt.NDArray[np.bool_],
    factor_col: int,
    size: Floats,
    turn_col: int,
    columns: int,
) -> tuple[Floats, Floats]:
    """Equations east and north of ground = stream + factor·size·heading + turn·size·across."""
    sin, cos = np.sin(bins.heading_rad[ok]), np.cos(bins.heading_rad[ok])
    knots = weights.shape[1]
    along = size[ok]
    rows = np.zeros((2 * int(ok.sum()), columns))
    half = len(rows) // 2
    rows[:half, :knots] = weights[ok]
    rows[half:, knots : 2 * knots] = weights[ok]
    rows[:half, factor_col], rows[half:, factor_col] = along * sin, along * cos
    rows[:half, turn_col], rows[half:, turn_col] = along * cos, -along * sin
    return rows, np.concatenate([bins.ground[ok, 0], bins.ground[ok, 1]])


def estimate(series: Series, *, pitch_m: float | None = None) -> Stream:
    """Set and drift over a stretch of the log, the last time being "now".

    Args:
        series: speed_ground_mps, course_ground_deg, a heading, and speed_water_mps or
            shaft_speed_rps.
        pitch_m: The propeller's pitch, if known: a first idea of its advance.
    Returns:
        The stream; `known` is False, with the reason and what to do, where it cannot be told
        apart from the calibration.
    """
    now_s = series.t0_us / 1e6 + series.n * series.step_s
    bins = _bins(series)
    base = np.isfinite(bins.ground).all(axis=1) & np.isfinite(bins.heading_rad)
    with_log = base & (bins.water > 0.3)
    with_shaft = base & (bins.shaft > 0.5)
    if not (with_log | with_shaft).any():
        return unknown(_why_nothing(series), now_s)
    return _solve(bins, with_log, with_shaft, pitch_m)


def _why_nothing(series: Series) -> str:
    """One sentence: what the estimate would need."""
    if not series.has("speed_ground_mps", "course_ground_deg"):
        return "the stream needs speed and course over ground, which are missing"
    if not np.isfinite(heading_true(series)).any():
        return "the stream needs a heading beside the course over ground; there is no compass"
    return "the stream needs the speed through water or the shaft's speed while motoring"


def _solve(
    bins: _Bins,
    with_log: npt.NDArray[np.bool_],
    with_shaft: npt.NDArray[np.bool_],
    pitch_m: float | None,
) -> Stream:
    """Least squares with priors for stream, factors and compass error together."""
    used = with_log | with_shaft
    t_s = bins.t_s
    knots = max(int(np.ceil((t_s[used].max() - t_s[used].min()) / KNOT_S)) + 1, 2)
    grid = np.linspace(t_s[used].min(), max(t_s[used].max(), t_s[used].min() + 60.0), knots)
    weights = np.stack([np.interp(t_s, grid, row) for row in np.eye(knots)], axis=1)
    columns = 2 * knots + 3  # stream east, north; log factor, advance, compass error
    precision = np.zeros((columns, columns))
    walk = _walk_precision(knots, float(grid[1] - grid[0]))
    precision[:knots, :knots] = precision[knots : 2 * knots, knots : 2 * knots] = walk
    shaft = np.where(np.isfinite(bins.shaft), bins.shaft, 0.0)
    rough = float(np.median(np.hypot(*bins.ground[used].T) / np.maximum(shaft[used], 0.5)))
    advance, advance_sd = (
        (pitch_m * (1 - SLIP_MID), pitch_m * SLIP_SD) if pitch_m else (rough, 0.5 * rough)
    )
    prior_sd = np.array([WATER_FACTOR_SD, max(advance_sd, 1e-3), np.radians(COMPASS_SD_DEG)])
    precision[range(2 * knots, columns), range(2 * knots, columns)] += 1 / prior_sd**2
    vector = np.zeros(columns)
    vector[2 * knots] = 1.0 / prior_sd[0] ** 2
    vector[2 * knots + 1] = advance / prior_sd[1] ** 2
    turn = columns - 1
    for ok, column, size, centre in (
        (with_log, 2 * knots, bins.water, 1.0),
        (with_shaft, 2 * knots + 1, shaft, advance),
    ):
        if not ok.any():
            continue
        rows, target = _rows(bins, weights, ok, column, size, turn, columns)
        rows[:, turn] *= centre
        precision += rows.T @ rows / NOISE_MPS**2
        vector += rows.T @ target / NOISE_MPS**2
    cov = np.asarray(np.linalg.inv(precision), dtype=np.float64)
    mean = np.asarray(cov @ vector)
    return _stream(grid, knots, mean, cov, bins, with_log, with_shaft)


def _stream(
    grid: Floats,
    knots: int,
    mean: Floats,
    cov: Floats,
    bins: _Bins,
    with_log: npt.NDArray[np.bool_],
    with_shaft: npt.NDArray[np.bool_],
) -> Stream:
    """The solution as a `Stream`, judged known or not."""
    east_north = np.stack([mean[:knots], mean[knots : 2 * knots]], axis=1)
    index = np.arange(knots)
    covs = np.empty((knots, 2, 2))
    covs[:, 0, 0], covs[:, 1, 1] = cov[index, index], cov[knots + index, knots + index]
    covs[:, 0, 1] = covs[:, 1, 0] = cov[index, knots + index]
    worst = float(np.sqrt(np.linalg.eigvalsh(covs[-1])[-1]))
    known = worst <= KNOWN_SD_MPS
    headings = bins.heading_rad[with_log | with_shaft]
    one_way = float(np.hypot(np.sin(headings).mean(), np.cos(headings).mean())) > 0.95
    if known:
        reason = f"good to {worst:.2f} m/s in its worst direction"
    elif one_way:
        reason = (
            "on one heading the stream cannot be told from the calibration of the log or the "
            "propeller: run a few minutes on the opposite heading at the same shaft speed"
        )
    else:
        reason = "too little steady motoring yet to tell the stream from the boat's own speed"

    def factor(column: int, ok: npt.NDArray[np.bool_]) -> tuple[float, float] | None:
        return (float(mean[column]), float(np.sqrt(cov[column, column]))) if ok.any() else None

    names = ["speed_ground_mps", "course_ground_deg", "heading"]
    names += ["speed_water_mps"] * bool(with_log.any()) + ["shaft_speed_rps"] * bool(
        with_shaft.any()
    )
    return Stream(
        known=known,
        reason=reason,
        t_s=grid,
        mean_mps=east_north,
        cov=covs,
        water_factor=factor(2 * knots, with_log),
        advance_m=factor(2 * knots + 1, with_shaft),
        compass_error_deg=(
            float(np.degrees(mean[-1])),
            float(np.degrees(np.sqrt(cov[-1, -1]))),
        ),
        used=tuple(names),
    )
