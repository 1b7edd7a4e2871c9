"""Points put to a power curve: what is believed of it after seeing them.

Fitting points is the conjugate Bayesian update in the space of the points; heavy-tailed noise by
reweighting (Student t); the size of the curve's wiggles and of the noise is judged by the points
too, by their evidence on a small grid.

Source: C. E. Rasmussen, C. K. I. Williams, "Gaussian Processes for Machine Learning", 2006,
chapter 2; Student-t reweighting as in K. Lange et al., J. Am. Stat. Assoc. 84 (1989) 881.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analyzer.environment.wind import BEYOND_WIND
from analyzer.estimation.quantiles import Z80
from analyzer.hull.power_curve import CurvePoints, PowerCurve

Floats = npt.NDArray[np.float64]

STUDENT_DOF = 4.0
ROUNDS = 6
LOCAL_SCALES = (0.35, 0.7, 1.4, 2.8)  # how much smaller or larger wiggles may be than thought
NOISE_SCALES = (0.35, 0.7, 1.4, 2.8)  # and the points' own errors
SCALE_LOG_SD = 0.7


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
