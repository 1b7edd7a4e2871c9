"""Set and drift found from what the boat does over ground and through water.

Ground velocity is the velocity through water plus the stream. The velocity through water lies
along the heading; its size comes from the water-speed log or from the shaft (speed = advance x
revolutions), either with a calibration factor that is not known beforehand. Stream (steady part,
tide, eddies), both factors and the compass error are found together by least squares with the
usual sizes of each as prior, so that what cannot be separated stays wide; how strong streams are
here, and whether a tide makes them, is judged by the log too and drawn from. Without a compass the
direction through water is ground velocity less stream, found by iteration, and only speeds along it
are compared. The shaft counts only where the motor drives the boat by itself, at its propeller's
usual load: one that the boat's way turns, or that sails help, tells another speed.

Source: linear Gaussian estimation (textbook); the iterative current correction of speed trials
(ISO 15016:2015) fits the same tide. Prior sizes are common practice, no source.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.environment.stream import (
    EDDY_S,
    KINDS,
    SIZES,
    TIDE_RAD_S,
    Calibration,
    Hypothesis,
    Stream,
    part_sds,
    unknown,
)
from analyzer.environment.stream_bins import Bins, Sensed, bins_of
from analyzer.estimation.least_squares import solve
from analyzer.series.series import Series
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
KNOWN_SD_MPS = 0.18  # a stream known worse than this in any direction is not "known"
KNOT_S = 600.0
ROUNDS = 6
JUDGED = 0.7  # how far one log may judge of what kind streams are; the rest stays open


@dataclass(frozen=True)
class _Solution:
    """Stream and calibrations, with their covariance."""

    grid_s: Floats  # (m,), the last is now
    one: int  # numbers per component: steady, cosine, sine, eddies at the m times
    mean: Floats  # (2 one + 3,): east, north; log factor, advance, compass error
    cov: Floats
    kinds: tuple[Hypothesis, ...]


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
    bins = bins_of(series, boat)
    base = np.isfinite(bins.ground).all(axis=1)
    if bins.has_compass:
        base &= np.isfinite(bins.heading_rad)
    log = Sensed(0, base & (bins.water > 0.3), bins.water)
    shaft = Sensed(1, base & (bins.shaft > 0.5), bins.shaft)
    sensed = [one for one in (log, shaft) if one.ok.any()]
    if not sensed:
        return unknown(_why_nothing(series), now_s)
    pitch_m = boat.motor.propeller_pitch_m if boat else None
    priors = _priors(bins, shaft.ok, pitch_m, before or Calibration())
    solution = _solve(bins, sensed, now_s, priors)
    return _stream(solution, bins, sensed)


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
    table = np.diag(diagonal)
    table += np.diag(off, 1) + np.diag(off, -1)
    new_var = sd_mps**2 * (1 - keep**2)
    return np.asarray(table / new_var)


def _component(t_s: Floats, grid_s: Floats) -> Floats:
    """How one component at times follows from steady part, tide from now and eddies, (n, m+3)."""
    angle = TIDE_RAD_S * (t_s - grid_s[-1])
    at_one_time = np.eye(len(grid_s))
    eddies = [np.interp(t_s, grid_s, row) for row in at_one_time]
    steady = np.ones_like(t_s)
    return np.column_stack([steady, np.cos(angle), np.sin(angle), *eddies])


def _carried(pair: tuple[float, float] | None, share: float) -> tuple[float, float] | None:
    """An earlier calibration, a little less sure."""
    if pair is None:
        return None
    mean, sd = pair
    return mean, float(np.hypot(sd, share))


def _priors(
    bins: Bins, with_shaft: Bools, pitch_m: float | None, before: Calibration
) -> tuple[Floats, Floats]:
    """Mean and sd of log factor, advance and compass error before this log, each (3,)."""
    factor = _carried(before.water_factor, CARRIED_SD) or (1.0, WATER_FACTOR_SD)
    rough = 0.1
    rough_sd = 0.05
    if with_shaft.any():
        turns = bins.shaft[with_shaft]
        advances = bins.over_mps[with_shaft] / turns
        rough = max(float(np.median(advances)), 0.01)
        # ground speed has the stream in it
        usual_mps = float(np.sqrt(np.mean(np.square(SIZES))))
        rough_sd = float(np.hypot(0.5 * rough, usual_mps / np.median(turns)))
    blind = (rough, rough_sd)
    if pitch_m:
        blind = (pitch_m * (1 - SLIP_MID), pitch_m * SLIP_SD)
    moved = CARRIED_SD * (before.advance_m[0] if before.advance_m else rough)
    advance = _carried(before.advance_m, moved) or blind
    compass = _carried(before.compass_error_deg, 1.0) or (0.0, COMPASS_SD_DEG)
    mean, sd = np.array([factor, advance, compass]).T
    mean[2] = np.radians(mean[2])
    sd[2] = np.radians(sd[2])
    return mean, sd


def _of_leg(direction: Floats, ok: Bools) -> Floats:
    """How many bins there are of each one's leg, (n,)."""
    change = np.diff(direction, prepend=direction[:1])
    turned = np.abs(np.angle(np.exp(1j * change))) > 0.35
    leg = np.cumsum(np.nan_to_num(turned, nan=False))
    return np.asarray(np.bincount(leg, weights=ok)[leg])


def _leg_noise(count: Floats, shared_mps: Floats) -> Floats:
    """Variance per bin such that a leg's mean is never better than what a leg shares, (n,)."""
    return np.asarray(NOISE_MPS**2 + count * np.square(shared_mps))


def _direction(bins: Bins, weights: Floats, mean: Floats) -> Floats:
    """Direction through water: by compass, else ground velocity less stream, (n,). [rad]"""
    knots = weights.shape[1]
    east = bins.ground[:, 0] - weights @ mean[:knots]
    north = bins.ground[:, 1] - weights @ mean[knots : 2 * knots]
    found = np.arctan2(east, north)
    return np.where(np.isfinite(bins.heading_rad), bins.heading_rad, found)


def _solve(
    bins: Bins, sensed: list[Sensed], now_s: float, priors: tuple[Floats, Floats]
) -> _Solution:
    """Least squares with priors for stream, factors and compass error, over kinds of stream."""
    first = min(float(bins.t_s[one.ok].min()) for one in sensed)
    last = max(now_s, first + 60.0)
    pieces = max(int(np.ceil((last - first) / KNOT_S)), 1)
    grid: Floats = np.linspace(first, last, pieces + 1)
    weights = _component(bins.t_s, grid)
    fits = [_solve_kind(bins, sensed, weights, grid, priors, kind) for kind in KINDS]
    # Posterior over kinds; a share of it stays as it was before the log.
    evidences = np.array([evidence for _, _, evidence in fits])
    chance = np.exp(evidences - evidences.max())
    chance = JUDGED * chance / chance.sum() + (1 - JUDGED) / len(KINDS)
    # Mean and covariance of the mixture.
    means = np.array([mean for mean, _, _ in fits])
    covs = np.array([cov for _, cov, _ in fits])
    mean = chance @ means
    apart = means - mean
    between = apart.T @ (apart * chance[:, None])
    within = np.tensordot(chance, covs, axes=1)
    cov = np.asarray(within + between)
    one = weights.shape[1]
    parts = _now_parts(one)
    kinds = tuple(
        Hypothesis(float(share), m[parts], c[np.ix_(parts, parts)], float(part_sds(*kind)[3]))
        for share, m, c, kind in zip(chance, means, covs, KINDS, strict=True)
    )
    return _Solution(grid, one, np.asarray(mean), cov, kinds)


def _now_parts(one: int) -> npt.NDArray[np.int64]:
    """Where steady part, cosine, sine and the eddy of now stand, of east and of north, (8,)."""
    parts = np.array([0, 1, 2, one - 1])
    return np.concatenate([parts, parts + one])


def _solve_kind(
    bins: Bins,
    sensed: list[Sensed],
    weights: Floats,
    grid: Floats,
    priors: tuple[Floats, Floats],
    kind: tuple[float, int],
) -> tuple[Floats, Floats, float]:
    """Mean, covariance and log evidence for one kind of stream: its size and place."""
    one = weights.shape[1]
    prior_mean, prior_sd = priors
    base = np.zeros((2 * one + 3, 2 * one + 3))
    component = _component_precision(grid, kind)
    base[:one, :one] = component
    base[one : 2 * one, one : 2 * one] = component
    base[2 * one :, 2 * one :] = np.diag(1 / prior_sd**2)
    mean = np.concatenate([np.zeros(2 * one), prior_mean])

    def linearised(at: Floats) -> tuple[Floats, Floats, Floats]:
        tables = [_rows(bins, weights, instrument, at) for instrument in sensed]
        rows, target, var = zip(*tables, strict=True)
        return np.concatenate(rows), np.concatenate(target), np.concatenate(var)

    fit = solve(linearised, mean, base, rounds=ROUNDS, tolerance=1e-4)
    before = np.linalg.slogdet(base)[1]
    after = np.linalg.slogdet(fit.precision)[1]
    evidence = 0.5 * (before - after) - 0.5 * fit.cost
    return fit.mean, np.asarray(np.linalg.inv(fit.precision)), float(evidence)


def _component_precision(grid: Floats, kind: tuple[float, int]) -> Floats:
    """Inverse prior covariance of one component of a stream of a kind, shape (one, one)."""
    sds = part_sds(*kind)
    table = np.zeros((3 + len(grid), 3 + len(grid)))
    table[:3, :3] = np.diag(1 / sds[:3] ** 2)
    table[3:, 3:] = _eddy_precision(grid, float(sds[3]))
    return table


def _rows(
    bins: Bins, weights: Floats, sensed: Sensed, mean: Floats
) -> tuple[Floats, Floats, Floats]:
    """Equations along and, with a compass, across the direction through water.

    Along: ground = stream + factor x size. Across: ground = stream - error x speed.
    """
    ok = sensed.ok
    column = sensed.column
    knots = weights.shape[1]
    direction = _direction(bins, weights, mean)
    sin = np.sin(direction[ok])
    cos = np.cos(direction[ok])
    east, north = bins.ground[ok].T
    at = weights[ok]
    reading = sensed.reading[ok]
    over = np.nan_to_num(bins.over_mps)
    along = np.zeros((len(reading), 2 * knots + 3))
    along[:, :knots] = at * sin[:, None]
    along[:, knots : 2 * knots] = at * cos[:, None]
    along[:, 2 * knots + column] = reading
    along_target = east * sin + north * cos
    slip = np.full_like(over, LEG_MPS)
    if column == 1:
        slip = np.hypot(LEG_MPS, SLIP_LEG * over)
    count = _of_leg(direction, ok)
    var = _leg_noise(count, slip)[ok]
    if not bins.has_compass:
        return along, along_target, var
    across = np.zeros_like(along)
    across[:, :knots] = at * cos[:, None]
    across[:, knots : 2 * knots] = -at * sin[:, None]
    across[:, -1] = -mean[2 * knots + column] * reading
    across_target = east * cos - north * sin
    sideways = np.where(bins.sailed, LEEWAY_LEG * over, 0.0)
    leeway = np.hypot(LEG_MPS, sideways)
    across_var = _leg_noise(count, leeway)[ok]
    return (
        np.vstack([along, across]),
        np.concatenate([along_target, across_target]),
        np.concatenate([var, across_var]),
    )


def _stream(solution: _Solution, bins: Bins, sensed: list[Sensed]) -> Stream:
    """The solution as a `Stream`, judged known or not."""
    one = solution.one
    both = 2 * one
    cov = solution.cov[:both, :both].reshape(2, one, 2, one)
    east_north = solution.mean[:both].reshape(2, one)
    at = _component(solution.grid_s, solution.grid_s)
    covs = np.einsum("ti,aibj,tj->tab", at, cov, at)
    parts = _now_parts(one)
    eddy_var = sum(kind.weight * kind.eddy_mps**2 for kind in solution.kinds)
    variances = np.linalg.eigvalsh(covs[-1])
    worst = float(np.sqrt(variances[-1]))
    columns = {instrument.column for instrument in sensed}
    compass = bins.has_compass
    return Stream(
        known=worst <= KNOWN_SD_MPS,
        reason=_reason(worst, _one_way(bins, sensed)),
        t_s=solution.grid_s,
        mean_mps=at @ east_north.T,
        cov=covs,
        parts_mean=solution.mean[parts],
        parts_cov=solution.cov[np.ix_(parts, parts)],
        eddy_mps=float(np.sqrt(eddy_var)),
        kinds=solution.kinds,
        calibration=Calibration(
            water_factor=_pair(solution, 0) if 0 in columns else None,
            advance_m=_pair(solution, 1) if 1 in columns else None,
            compass_error_deg=_pair(solution, 2, np.degrees(1.0)) if compass else None,
        ),
        used=(
            "speed_ground_mps",
            "course_ground_deg",
            *(["heading"] if compass else []),
            *(["speed_water_mps"] if 0 in columns else []),
            *(["shaft_speed_rps"] if 1 in columns else []),
        ),
    )


def _one_way(bins: Bins, sensed: list[Sensed]) -> float:
    """1 where all of it was on one course over ground, 0 where courses cancel out."""
    used = np.any([one.ok for one in sensed], axis=0)
    over = np.maximum(bins.over_mps[used], 1e-6)
    east, north = (bins.ground[used] / over[:, None]).mean(axis=0)
    return float(np.hypot(east, north))


def _pair(solution: _Solution, column: int, unit: float = 1.0) -> tuple[float, float]:
    """Mean and sd of one calibration."""
    at = 2 * solution.one + column
    mean = solution.mean[at] * unit
    sd = np.sqrt(solution.cov[at, at]) * unit
    return float(mean), float(sd)


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
