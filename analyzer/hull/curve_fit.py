"""Points put to a power curve: what is believed of it after seeing them.

Fitting points is the conjugate Bayesian update in the space of the points; heavy-tailed noise by
reweighting (Student t); the size of the curve's wiggles and of the noise is judged by the points
too, by their evidence on a small grid.

Source: C. E. Rasmussen, C. K. I. Williams, "Gaussian Processes for Machine Learning", 2006,
chapter 2; Student-t reweighting as in K. Lange et al., J. Am. Stat. Assoc. 84 (1989) 881.
"""

from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from analyzer.environment.wind import BEYOND_WIND
from analyzer.estimation.quantiles import Z80
from analyzer.hull.power_curve import CurvePoints, PowerCurve
from analyzer.series.series import Floats

STUDENT_DOF = 4.0  # heavy enough for one point in ten to be wrong; common practice, no source
ROUNDS = 6  # of reweighting, after which it stands still to a thousandth; assumed
# How much smaller or larger wiggles may be than thought, and the points' own errors: factors of
# two apart, with the spread of their logarithm. Assumed.
LOCAL_SCALES, NOISE_SCALES, SCALE_LOG_SD = (0.35, 0.7, 1.4, 2.8), (0.35, 0.7, 1.4, 2.8), 0.7


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
    return np.asarray(points.same_group * np.outer(share, share))


def leg_cov(points: CurvePoints, leg_sd: float) -> Floats:
    """Covariance of ln power that points of one group share through wind and sea, (n, n)."""
    windy = np.hypot(BEYOND_WIND * leg_sd, points.winds)
    each = np.where(points.winds > 0, windy, leg_sd)
    each = np.where(points.group < 0, 0.0, each)
    return np.asarray(points.same_group * np.outer(each, each))


def _conditioned(
    curve: PowerCurve,
    prior_cov: Floats,
    sight: _Sight,
    noise_scale: float,
) -> tuple[Floats, Floats, float]:
    """Mean and covariance at the grid after the points, and the points' log evidence."""
    cross = prior_cov @ sight.rows.T
    own = noise_scale**2 * sight.own / sight.weight
    noise = sight.shared + noise_scale**2 * sight.legs + np.diag(own)
    root = np.linalg.cholesky(sight.rows @ cross + noise)
    off = sight.log_w - sight.rows @ curve.log_power
    white = np.linalg.solve(root, np.column_stack([off, cross.T]))
    off = white[:, 0]
    cross = white[:, 1:]
    mean = curve.log_power + cross.T @ off
    cov = prior_cov - cross.T @ cross
    log_det = float(np.log(np.diag(root)).sum())
    return mean, cov, -0.5 * float(off @ off) - log_det


def _reweighted(curve: PowerCurve, sight: _Sight) -> _Sight:
    """The points with Student-t weights: those far off the others' curve count little."""
    for _ in range(ROUNDS):
        mean, cov, _ = _conditioned(curve, curve.cov, sight, 1.0)
        curve_var = np.einsum("ki,ij,kj->k", sight.rows, cov, sight.rows)
        spread = sight.own + np.diag(sight.legs) + curve_var
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
    local = np.zeros_like(curve.cov) if curve.local is None else curve.local
    sizes = np.array(list(product(scales, NOISE_SCALES)))
    fits = [
        _conditioned(curve, curve.cov + (size**2 - 1) * local, sight, noise)
        for size, noise in sizes.tolist()
    ]
    means, covs, evidence = (np.array(part) for part in zip(*fits, strict=True))
    doubt = np.square(np.log(sizes)).sum(axis=1) / (2 * SCALE_LOG_SD**2)
    logs = evidence - doubt
    chance = np.exp(logs - logs.max())
    chance /= chance.sum()
    mean = chance @ means
    off = means - mean
    within = np.tensordot(chance, covs, axes=1)
    between = off.T @ (off * chance[:, None])
    narrow = _narrowed(chance, off, np.diagonal(covs, axis1=1, axis2=2))
    noise_var = np.square(sizes[:, 1])
    noise_scale = np.sqrt(chance @ noise_var)
    noise_scale *= _narrowed(chance, np.zeros(len(noise_var)), noise_var)
    cov = (within + between) * np.outer(narrow, narrow)
    return mean, cov, float(noise_scale)


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
    factor = 1 + (Z80**2 - 3) / 24 * excess
    return np.asarray(np.clip(factor, 0.7, 1.0))


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
