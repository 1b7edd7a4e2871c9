"""Set and drift found from what the boat does over ground and through water.

Ground velocity is the velocity through water plus the stream. The velocity through water lies
along the heading; its size comes from the water-speed log or from the shaft (speed = advance x
revolutions), either with a calibration factor that is not known beforehand. Stream (a slow
random walk in time), both factors and the compass error are found together by least squares
with the usual sizes of each as prior, so that what cannot be separated stays wide. Without a
compass the direction through water is ground velocity less stream, found by iteration, and only
speeds along it are compared.

Source: linear Gaussian estimation (textbook); the iterative current correction of speed trials
(ISO 15016:2015) is the same idea with a sine in place of the random walk. Prior sizes are
common practice, no source.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.series import Series
from analyzer.stream import STREAM_SD, WALK_SD, Calibration, Stream, unknown

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

WATER_FACTOR_SD = 0.06  # of an uncalibrated water-speed log
SLIP_MID, SLIP_SD = 0.30, 0.12  # of a displacement boat's propeller
COMPASS_SD_DEG = 3.0
CARRIED_SD = 0.02  # how far a calibration moves from trip to trip: growth, trim, wind
NOISE_MPS = 0.10  # of one half-minute mean: waves, steering
LEG_MPS = 0.06  # shared by a leg: leeway, wind ahead or astern at the same revolutions
KNOWN_SD_MPS = 0.18  # a stream known worse than this in any direction is not "known"
KNOT_S = 600.0
BIN_S = 30.0
ROUNDS = 6


@dataclass(frozen=True)
class _Bins:
    """Half-minute means of the moving boat, each shape (n,) unless said."""

    t_s: Floats
    ground: Floats  # (n, 2) east, north
    heading_rad: Floats  # NaN without compass
    water: Floats  # the log's reading, NaN without
    shaft: Floats  # revolutions per second ahead, NaN without


@dataclass(frozen=True)
class _Solution:
    """Stream at knots and the calibrations, with their covariance."""

    grid_s: Floats  # (m,)
    mean: Floats  # (2m + 3,): east, north at the knots; log factor, advance, compass error
    cov: Floats


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
    """The series as half-minute means; turning bins have no course or heading."""
    size = max(round(BIN_S / series.step_s), 1)
    course = np.radians(series.get("course_ground_deg"))
    speed = series.get("speed_ground_mps")
    heading = np.radians(heading_true(series))
    sin, cos = _mean_bins(np.sin(heading), size), _mean_bins(np.cos(heading), size)
    straight = _mean_bins(np.sin(course), size) ** 2 + _mean_bins(np.cos(course), size) ** 2 > 0.9
    ground = np.stack(
        [_mean_bins(speed * np.sin(course), size), _mean_bins(speed * np.cos(course), size)], axis=1
    )
    return _Bins(
        t_s=_mean_bins(series.t0_us / 1e6 + series.t_s, size),
        ground=np.where(straight[:, None], ground, np.nan),
        heading_rad=np.where(np.hypot(sin, cos) > 0.95, np.arctan2(sin, cos), np.nan),
        water=_mean_bins(series.get("speed_water_mps"), size),
        shaft=_mean_bins(series.get("shaft_speed_rps"), size),
    )


def estimate(
    series: Series, *, pitch_m: float | None = None, before: Calibration | None = None
) -> Stream:
    """Set and drift over a stretch of the log, the last time being "now".

    Args:
        series: speed_ground_mps, course_ground_deg, speed_water_mps or shaft_speed_rps, and a
            heading if there is one.
        pitch_m: The propeller's pitch, if known: a first idea of its advance.
        before: The calibration found on earlier trips.
    Returns:
        The stream; `known` is False, with the reason and what to do, where it cannot be told
        apart from the calibration.
    """
    now_s = series.t0_us / 1e6 + series.n * series.step_s
    bins = _bins(series)
    base = np.isfinite(bins.ground).all(axis=1)
    if np.isfinite(bins.heading_rad).any():
        base &= np.isfinite(bins.heading_rad)
    with_log = base & (bins.water > 0.3)
    with_shaft = base & (bins.shaft > 0.5)
    if not (with_log | with_shaft).any():
        return unknown(_why_nothing(series), now_s)
    solution = _solve(bins, with_log, with_shaft, pitch_m, before or Calibration())
    return _stream(solution, bins, with_log, with_shaft)


def _why_nothing(series: Series) -> str:
    """One sentence: what the estimate would need."""
    if not series.has("speed_ground_mps", "course_ground_deg"):
        return "the stream needs speed and course over ground, which are missing"
    return "the stream needs the speed through water, or the shaft's speed while motoring"


def _walk_precision(knots: int, step_s: float) -> Floats:
    """Inverse covariance of a random walk that starts wide, shape (knots, knots)."""
    step_var = WALK_SD**2 * max(step_s, 1.0) / 3600.0
    diff = np.diff(np.eye(knots), axis=0)
    precision = diff.T @ diff / step_var
    precision[0, 0] += 1 / STREAM_SD**2
    return np.asarray(precision)


def _carried(pair: tuple[float, float] | None, share: float) -> tuple[float, float] | None:
    """An earlier calibration, a little less sure."""
    return None if pair is None else (pair[0], float(np.hypot(pair[1], share)))


def _priors(
    bins: _Bins, with_shaft: Bools, pitch_m: float | None, before: Calibration
) -> tuple[Floats, Floats]:
    """Mean and sd of log factor, advance and compass error before this log, each (3,)."""
    factor = _carried(before.water_factor, CARRIED_SD) or (1.0, WATER_FACTOR_SD)
    rough = 0.1
    if with_shaft.any():
        speed = np.hypot(bins.ground[with_shaft, 0], bins.ground[with_shaft, 1])
        rough = max(float(np.median(speed / bins.shaft[with_shaft])), 0.01)
    blind = (pitch_m * (1 - SLIP_MID), pitch_m * SLIP_SD) if pitch_m else (rough, 0.5 * rough)
    advance = _carried(before.advance_m, CARRIED_SD * rough) or blind
    compass = _carried(before.compass_error_deg, 1.0) or (0.0, COMPASS_SD_DEG)
    mean = np.array([factor[0], advance[0], np.radians(compass[0])])
    return mean, np.array([factor[1], advance[1], np.radians(compass[1])])


def _leg_noise(direction: Floats, ok: Bools) -> Floats:
    """Variance per bin such that a leg's mean is never better than what a leg shares, (n,)."""
    turned = np.abs(np.angle(np.exp(1j * np.diff(direction, prepend=direction[:1])))) > 0.35
    leg = np.cumsum(np.nan_to_num(turned, nan=False))
    count = np.bincount(leg, weights=ok)[leg]
    return np.asarray(NOISE_MPS**2 + count * LEG_MPS**2)


def _direction(bins: _Bins, weights: Floats, mean: Floats) -> Floats:
    """Direction through water: by compass, else ground velocity less stream, (n,). [rad]"""
    knots = weights.shape[1]
    stream = np.stack([weights @ mean[:knots], weights @ mean[knots : 2 * knots]], axis=1)
    over = bins.ground - stream
    found = np.arctan2(over[:, 0], over[:, 1])
    return np.where(np.isfinite(bins.heading_rad), bins.heading_rad, found)


def _solve(
    bins: _Bins, with_log: Bools, with_shaft: Bools, pitch_m: float | None, before: Calibration
) -> _Solution:
    """Least squares with priors for stream, factors and compass error together."""
    used_t = bins.t_s[with_log | with_shaft]
    last = max(float(used_t.max()), float(used_t.min()) + 60.0)
    grid = np.linspace(used_t.min(), last, max(int(np.ceil((last - used_t.min()) / KNOT_S)), 1) + 1)
    knots = len(grid)
    weights = np.stack([np.interp(bins.t_s, grid, row) for row in np.eye(knots)], axis=1)
    centre, sd = _priors(bins, with_shaft, pitch_m, before)
    base = np.zeros((2 * knots + 3, 2 * knots + 3))
    walk = _walk_precision(knots, float(grid[1] - grid[0]))
    base[:knots, :knots] = base[knots : 2 * knots, knots : 2 * knots] = walk
    base[range(2 * knots, 2 * knots + 3), range(2 * knots, 2 * knots + 3)] = 1 / sd**2
    mean = np.concatenate([np.zeros(2 * knots), centre])
    start = base @ mean
    compass = bool(np.isfinite(bins.heading_rad).any())
    cov = np.asarray(np.linalg.inv(base), dtype=np.float64)
    for _ in range(2 if compass else ROUNDS):
        precision, vector = base.copy(), start.copy()
        for ok, column, size in ((with_log, 0, bins.water), (with_shaft, 1, bins.shaft)):
            if ok.any():
                rows, target, var = _rows(bins, weights, ok, size, column, mean, compass)
                precision += rows.T @ (rows / var[:, None])
                vector += rows.T @ (target / var)
        cov = np.asarray(np.linalg.inv(precision), dtype=np.float64)
        mean = np.asarray(cov @ vector, dtype=np.float64)
    return _Solution(np.asarray(grid, dtype=np.float64), mean, cov)


def _rows(
    bins: _Bins, weights: Floats, ok: Bools, size: Floats, column: int, mean: Floats, compass: bool
) -> tuple[Floats, Floats, Floats]:
    """Equations along and, with a compass, across the direction through water.

    Along: ground = stream + factor x size. Across: ground = stream - error x speed.
    """
    knots = weights.shape[1]
    direction = _direction(bins, weights, mean)
    sin, cos = np.sin(direction[ok])[:, None], np.cos(direction[ok])[:, None]
    ground, reading = bins.ground[ok], size[ok]
    along = np.zeros((len(reading), 2 * knots + 3))
    along[:, :knots], along[:, knots : 2 * knots] = weights[ok] * sin, weights[ok] * cos
    along[:, 2 * knots + column] = reading
    along_target = ground[:, 0] * sin[:, 0] + ground[:, 1] * cos[:, 0]
    var = _leg_noise(direction, ok)[ok]
    if not compass:
        return along, along_target, var
    across = np.zeros_like(along)
    across[:, :knots], across[:, knots : 2 * knots] = weights[ok] * cos, -weights[ok] * sin
    across[:, -1] = -mean[2 * knots + column] * reading
    across_target = ground[:, 0] * cos[:, 0] - ground[:, 1] * sin[:, 0]
    return (
        np.vstack([along, across]),
        np.concatenate([along_target, across_target]),
        np.concatenate([var, var]),
    )


def _stream(solution: _Solution, bins: _Bins, with_log: Bools, with_shaft: Bools) -> Stream:
    """The solution as a `Stream`, judged known or not."""
    mean, cov, knots = solution.mean, solution.cov, len(solution.grid_s)
    index = np.arange(knots)
    covs = np.empty((knots, 2, 2))
    covs[:, 0, 0], covs[:, 1, 1] = cov[index, index], cov[knots + index, knots + index]
    covs[:, 0, 1] = covs[:, 1, 0] = cov[index, knots + index]
    worst = float(np.sqrt(np.linalg.eigvalsh(covs[-1])[-1]))
    used = with_log | with_shaft
    ground = bins.ground[used]
    unit = ground / np.maximum(np.hypot(ground[:, 0], ground[:, 1]), 1e-6)[:, None]
    compass = bool(np.isfinite(bins.heading_rad).any())
    return Stream(
        known=worst <= KNOWN_SD_MPS,
        reason=_reason(worst, float(np.hypot(*unit.mean(axis=0)))),
        t_s=solution.grid_s,
        mean_mps=np.stack([mean[:knots], mean[knots : 2 * knots]], axis=1),
        cov=covs,
        calibration=Calibration(
            water_factor=_pair(solution, 0) if with_log.any() else None,
            advance_m=_pair(solution, 1) if with_shaft.any() else None,
            compass_error_deg=_pair(solution, 2, np.degrees(1.0)) if compass else None,
        ),
        used=(
            "speed_ground_mps",
            "course_ground_deg",
            *(["heading"] if compass else []),
            *(["speed_water_mps"] if with_log.any() else []),
            *(["shaft_speed_rps"] if with_shaft.any() else []),
        ),
    )


def _pair(solution: _Solution, column: int, unit: float = 1.0) -> tuple[float, float]:
    """Mean and sd of one calibration."""
    at = 2 * len(solution.grid_s) + column
    return float(solution.mean[at] * unit), float(np.sqrt(solution.cov[at, at]) * unit)


def _reason(worst_mps: float, one_way: float) -> str:
    """What it rests on, or why it cannot be said and what to do."""
    if worst_mps <= KNOWN_SD_MPS:
        return f"good to {worst_mps:.2f} m/s in its worst direction"
    if one_way > 0.95:
        return (
            "on one heading the stream cannot be told from the calibration of the log or the "
            "propeller: run a few minutes on the opposite heading at the same shaft speed"
        )
    return "too little steady motoring yet to tell the stream from the boat's own speed"
