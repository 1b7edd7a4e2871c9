"""Set and drift found from what the boat does over ground and through water.

Ground velocity is the velocity through water plus the stream. The velocity through water lies
along the heading; its size comes from the water-speed log or from the shaft (speed = advance x
revolutions), either with a calibration factor that is not known beforehand. Stream (steady part,
tide, eddies), both factors and the compass error are found together by least squares with the
usual sizes of each as prior, so that what cannot be separated stays wide; how strong streams are
here is judged by the log too. Without a
compass the direction through water is ground velocity less stream, found by iteration, and only
speeds along it are compared. The shaft counts only where the motor drives the boat by itself, at
its propeller's usual load: one that the boat's way turns, or that sails help, tells another speed.

Source: linear Gaussian estimation (textbook); the iterative current correction of speed trials
(ISO 15016:2015) fits the same tide. Prior sizes are common practice, no source.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.environment.stream import (
    EDDY_S,
    SIZES,
    TIDE_RAD_S,
    Calibration,
    Stream,
    part_sds,
    unknown,
)
from analyzer.estimation.least_squares import solve
from analyzer.series.operating import (
    TURNING_RPS,
    drive_threshold_w,
    propulsion_power_w,
    shaft_rps,
    unaided,
)
from analyzer.series.series import Series
from analyzer.series.steps import whole_steps
from logger.boat import Boat

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

# Prior sizes, common practice, no source; steps of the fit, assumed.
WATER_FACTOR_SD = 0.06  # of an uncalibrated water-speed log
SLIP_MID, SLIP_SD = 0.30, 0.12  # of a displacement boat's propeller
COMPASS_SD_DEG = 3.0
CARRIED_SD = 0.02  # how far a calibration moves from trip to trip: growth, trim, wind
NOISE_MPS = 0.10  # of one half-minute mean: waves, steering
LEG_MPS = 0.06  # shared by a leg: leeway, wind ahead or astern
LEEWAY_LEG = 0.07  # and across the bow where sails drive it: 4 degrees of leeway
SLIP_LEG = 0.03  # the same for the shaft, as a share of speed: slip goes with the load
SHAFT_ALIKE = 0.05  # revolutions against those of the minute before: the boat has caught up
KNOWN_SD_MPS = 0.18  # a stream known worse than this in any direction is not "known"
KNOT_S = 600.0
BIN_S = 30.0
ROUNDS = 6
JUDGED = 0.7  # how far one log may judge how strong streams are; the rest stays open


@dataclass(frozen=True)
class _Bins:
    """Half-minute means of the moving boat, each shape (n,) unless said."""

    t_s: Floats
    ground: Floats  # (n, 2) east, north
    heading_rad: Floats  # NaN without compass
    water: Floats  # the log's reading, NaN without
    shaft: Floats  # revolutions per second ahead, NaN without, and where others drive it too
    sailed: Bools  # sails drive it or help


@dataclass(frozen=True)
class _Solution:
    """Stream and calibrations, with their covariance."""

    grid_s: Floats  # (m,), the last is now
    one: int  # numbers per component: steady, cosine, sine, eddies at the m times
    mean: Floats  # (2 one + 3,): east, north; log factor, advance, compass error
    cov: Floats
    eddy_mps: float


def _mean_bins(values: Floats, size: int) -> Floats:
    """Means of whole bins of `size` samples, NaN where under half the bin is there."""
    table = whole_steps(values, size)
    count = np.isfinite(table).sum(axis=1)
    total = np.nansum(table, axis=1)
    return np.where(count * 2 >= size, total / np.maximum(count, 1), np.nan)


def heading_true(series: Series) -> Floats:
    """True heading, from the compass and the variation where only magnetic is there. [deg]"""
    true = series.get("heading_true_deg")
    magnetic = (series.get("heading_magnetic_deg") + series.get("variation_deg")) % 360.0
    return np.where(np.isfinite(true), true, magnetic)


def _driving(shaft: Floats, power: Floats) -> Floats:
    """Revolutions where they are settled and the propeller has its usual load, else NaN."""
    ok = shaft > TURNING_RPS
    for back in (1, 2):
        before = np.concatenate([shaft[:1].repeat(back), shaft])[: len(shaft)]
        with np.errstate(invalid="ignore"):
            ok &= ~(np.abs(shaft - before) > SHAFT_ALIKE * shaft)
    return np.where(unaided(power, shaft, ok), shaft, np.nan)


def _bins(series: Series, boat: Boat | None) -> _Bins:
    """The series as half-minute means; turning bins have no course or heading."""
    size = max(round(BIN_S / series.step_s), 1)
    turns = shaft = _mean_bins(shaft_rps(series, boat), size)
    idle = np.zeros(len(shaft), dtype=bool)
    if boat is not None:
        power = _mean_bins(propulsion_power_w(series, boat), size)
        shaft = _driving(turns, power)
        idle = power < drive_threshold_w(boat)
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
        shaft=shaft,
        sailed=np.where(np.isfinite(turns), ~(shaft > TURNING_RPS), idle),
    )


def estimate(
    series: Series, boat: Boat | None = None, *, before: Calibration | None = None
) -> Stream:
    """Set and drift over a stretch of the log, the last time being "now".

    Args:
        series: speed_ground_mps, course_ground_deg, speed_water_mps or shaft_speed_rps, and a
            heading if there is one; the pack's power, to see where the motor drives it.
        boat: The propeller's pitch, a first idea of its advance, and the usual hotel load; None:
            every turn of the shaft is taken for the motor's.
        before: The calibration found on earlier trips.
    Returns:
        The stream; `known` is False, with the reason and what to do, where it cannot be told
        apart from the calibration.
    """
    now_s = series.t0_us / 1e6 + series.n * series.step_s
    bins = _bins(series, boat)
    base = np.isfinite(bins.ground).all(axis=1)
    if np.isfinite(bins.heading_rad).any():
        base &= np.isfinite(bins.heading_rad)
    with_log = base & (bins.water > 0.3)
    with_shaft = base & (bins.shaft > 0.5)
    if not (with_log | with_shaft).any():
        return unknown(_why_nothing(series), now_s)
    pitch_m = boat.motor.propeller_pitch_m if boat else None
    priors = _priors(bins, with_shaft, pitch_m, before or Calibration())
    solution = _solve(bins, with_log, with_shaft, now_s, priors)
    return _stream(solution, bins, with_log, with_shaft)


def _why_nothing(series: Series) -> str:
    """One sentence: what the estimate would need."""
    if not series.has("speed_ground_mps", "course_ground_deg"):
        return "the stream needs speed and course over ground, which are missing"
    return "the stream needs the speed through water, or the shaft's speed while motoring"


def _eddy_precision(grid_s: Floats, sd_mps: float) -> Floats:
    """Inverse covariance of eddies at even times, a process that forgets; shape (m, m)."""
    keep = float(np.exp(-(grid_s[1] - grid_s[0]) / EDDY_S))
    diagonal = np.full(len(grid_s), 1 + keep**2)
    diagonal[[0, -1]] = 1.0
    off = np.full(len(grid_s) - 1, -keep)
    table = np.diag(diagonal) + np.diag(off, 1) + np.diag(off, -1)
    return np.asarray(table / (sd_mps**2 * (1 - keep**2)))


def _component(t_s: Floats, grid_s: Floats) -> Floats:
    """How one component at times follows from steady part, tide from now and eddies, (n, m+3)."""
    angle = TIDE_RAD_S * (t_s - grid_s[-1])
    eddies = np.stack([np.interp(t_s, grid_s, row) for row in np.eye(len(grid_s))], axis=1)
    return np.column_stack([np.ones_like(t_s), np.cos(angle), np.sin(angle), eddies])


def _carried(pair: tuple[float, float] | None, share: float) -> tuple[float, float] | None:
    """An earlier calibration, a little less sure."""
    return None if pair is None else (pair[0], float(np.hypot(pair[1], share)))


def _priors(
    bins: _Bins, with_shaft: Bools, pitch_m: float | None, before: Calibration
) -> tuple[Floats, Floats]:
    """Mean and sd of log factor, advance and compass error before this log, each (3,)."""
    factor = _carried(before.water_factor, CARRIED_SD) or (1.0, WATER_FACTOR_SD)
    rough, rough_sd = 0.1, 0.05
    if with_shaft.any():
        speed = np.hypot(bins.ground[with_shaft, 0], bins.ground[with_shaft, 1])
        rough = max(float(np.median(speed / bins.shaft[with_shaft])), 0.01)
        # ground speed has the stream in it
        usual_mps = float(np.sqrt(np.mean(np.square(SIZES))))
        rough_sd = float(np.hypot(0.5 * rough, usual_mps / np.median(bins.shaft[with_shaft])))
    blind = (pitch_m * (1 - SLIP_MID), pitch_m * SLIP_SD) if pitch_m else (rough, rough_sd)
    moved = CARRIED_SD * (before.advance_m[0] if before.advance_m else rough)
    advance = _carried(before.advance_m, moved) or blind
    compass = _carried(before.compass_error_deg, 1.0) or (0.0, COMPASS_SD_DEG)
    mean = np.array([factor[0], advance[0], np.radians(compass[0])])
    return mean, np.array([factor[1], advance[1], np.radians(compass[1])])


def _leg_noise(direction: Floats, ok: Bools, shared_mps: Floats | float) -> Floats:
    """Variance per bin such that a leg's mean is never better than what a leg shares, (n,)."""
    turned = np.abs(np.angle(np.exp(1j * np.diff(direction, prepend=direction[:1])))) > 0.35
    leg = np.cumsum(np.nan_to_num(turned, nan=False))
    count = np.bincount(leg, weights=ok)[leg]
    return np.asarray(NOISE_MPS**2 + count * np.square(shared_mps))


def _direction(bins: _Bins, weights: Floats, mean: Floats) -> Floats:
    """Direction through water: by compass, else ground velocity less stream, (n,). [rad]"""
    knots = weights.shape[1]
    stream = np.stack([weights @ mean[:knots], weights @ mean[knots : 2 * knots]], axis=1)
    over = bins.ground - stream
    found = np.arctan2(over[:, 0], over[:, 1])
    return np.where(np.isfinite(bins.heading_rad), bins.heading_rad, found)


def _solve(
    bins: _Bins,
    with_log: Bools,
    with_shaft: Bools,
    now_s: float,
    priors: tuple[Floats, Floats],
) -> _Solution:
    """Least squares with priors for stream, factors and compass error, over sizes of stream."""
    first = float(bins.t_s[with_log | with_shaft].min())
    last = max(now_s, first + 60.0)
    grid = np.linspace(first, last, max(int(np.ceil((last - first) / KNOT_S)), 1) + 1)
    weights = _component(bins.t_s, np.asarray(grid, dtype=np.float64))
    found = [_solve_size(bins, (with_log, with_shaft), weights, grid, priors, s) for s in SIZES]
    chance = np.exp(np.array([f[2] for f in found]) - max(f[2] for f in found))
    chance = JUDGED * chance / chance.sum() + (1 - JUDGED) / len(SIZES)
    means = np.array([f[0] for f in found])
    mean = chance @ means
    between = (means - mean).T @ ((means - mean) * chance[:, None])
    cov = np.tensordot(chance, np.array([f[1] for f in found]), axes=1) + between
    eddy = float(np.sqrt(chance @ np.array([part_sds(s)[3] ** 2 for s in SIZES])))
    return _Solution(np.asarray(grid), weights.shape[1], np.asarray(mean), np.asarray(cov), eddy)


def _solve_size(
    bins: _Bins,
    sets: tuple[Bools, Bools],
    weights: Floats,
    grid: Floats,
    priors: tuple[Floats, Floats],
    size_mps: float,
) -> tuple[Floats, Floats, float]:
    """Mean, covariance and log evidence for one size of stream."""
    one = weights.shape[1]
    sds = part_sds(size_mps)
    base = np.zeros((2 * one + 3, 2 * one + 3))
    for at in (0, one):
        base[range(at, at + 3), range(at, at + 3)] = 1 / sds[:3] ** 2
        base[at + 3 : at + one, at + 3 : at + one] = _eddy_precision(grid, float(sds[3]))
    base[range(2 * one, 2 * one + 3), range(2 * one, 2 * one + 3)] = 1 / priors[1] ** 2
    mean = np.concatenate([np.zeros(2 * one), priors[0]])
    compass = bool(np.isfinite(bins.heading_rad).any())

    def linearised(at: Floats) -> tuple[Floats, Floats, Floats]:
        readings = zip(sets, (0, 1), (bins.water, bins.shaft), strict=True)
        tables = [
            _rows(bins, weights, ok, reading, column, at, compass)
            for ok, column, reading in readings
            if ok.any()
        ]
        rows, target, var = (np.concatenate(parts) for parts in zip(*tables, strict=True))
        return rows, target, var

    fit = solve(linearised, mean, base, rounds=ROUNDS, tolerance=1e-4)
    evidence = 0.5 * (np.linalg.slogdet(base)[1] - np.linalg.slogdet(fit.precision)[1])
    evidence -= 0.5 * fit.cost
    return fit.mean, np.asarray(np.linalg.inv(fit.precision)), float(evidence)


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
    over = np.hypot(bins.ground[:, 0], bins.ground[:, 1])
    slip = np.hypot(LEG_MPS, SLIP_LEG * np.nan_to_num(over)) if column == 1 else LEG_MPS
    var = _leg_noise(direction, ok, slip)[ok]
    if not compass:
        return along, along_target, var
    leeway = np.hypot(LEG_MPS, np.where(bins.sailed, LEEWAY_LEG * np.nan_to_num(over), 0.0))
    across = np.zeros_like(along)
    across[:, :knots], across[:, knots : 2 * knots] = weights[ok] * cos, -weights[ok] * sin
    across[:, -1] = -mean[2 * knots + column] * reading
    across_target = ground[:, 0] * cos[:, 0] - ground[:, 1] * sin[:, 0]
    return (
        np.vstack([along, across]),
        np.concatenate([along_target, across_target]),
        np.concatenate([var, _leg_noise(direction, ok, leeway)[ok]]),
    )


def _stream(solution: _Solution, bins: _Bins, with_log: Bools, with_shaft: Bools) -> Stream:
    """The solution as a `Stream`, judged known or not."""
    one, cov = solution.one, solution.cov[: 2 * solution.one, : 2 * solution.one]
    east_north = solution.mean[: 2 * one].reshape(2, one)
    at = _component(solution.grid_s, solution.grid_s)
    both = cov.reshape(2, one, 2, one)
    covs = np.einsum("ti,aibj,tj->tab", at, both, at)
    parts = np.array([0, 1, 2, one - 1])
    parts = np.concatenate([parts, parts + one])
    worst = float(np.sqrt(np.linalg.eigvalsh(covs[-1])[-1]))
    ground = bins.ground[with_log | with_shaft]
    unit = ground / np.maximum(np.hypot(ground[:, 0], ground[:, 1]), 1e-6)[:, None]
    compass = bool(np.isfinite(bins.heading_rad).any())
    return Stream(
        known=worst <= KNOWN_SD_MPS,
        reason=_reason(worst, float(np.hypot(*unit.mean(axis=0)))),
        t_s=solution.grid_s,
        mean_mps=at @ east_north.T,
        cov=covs,
        parts_mean=solution.mean[parts],
        parts_cov=solution.cov[np.ix_(parts, parts)],
        eddy_mps=solution.eddy_mps,
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
    at = 2 * solution.one + column
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
