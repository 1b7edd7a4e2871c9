"""Fitting the power curve against direct conditioning of Gaussians; figures invented.

Source of the formulas: C. E. Rasmussen, C. K. I. Williams, "Gaussian Processes for Machine
Learning", 2006, (2.23)-(2.24) and (2.30), in information form here.
"""

from dataclasses import replace

import numpy as np
import pytest
from pytest import approx
from scipy.stats import multivariate_normal, norm

from analyzer.environment.wind import BEYOND_WIND
from analyzer.hull.curve_fit import (
    LOCAL_SCALES,
    NOISE_SCALES,
    SCALE_LOG_SD,
    STUDENT_DOF,
    _conditioned,
    _judged,
    _narrowed,
    _reweighted,
    _Sight,
    leg_cov,
    shared_cov,
    update,
)
from analyzer.hull.power_curve import CurvePoints, PowerCurve, smooth_cov
from tests.support.gaussians import central_difference, mixture_moments, random_covariance

GRID = np.linspace(0.5, 4.0, 9)


def curve(seed=41):
    rng = np.random.default_rng(seed)
    local = smooth_cov(GRID, 0.8, 0.15)
    cov = local + 0.2**2 * np.ones((9, 9)) + 1e-6 * np.eye(9)
    log_power = np.log(60.0 * GRID**2.7) + rng.normal(0, 0.02, 9)
    return PowerCurve(GRID, log_power, cov, leg_sd=0.08, local=local)


def points(seed=42, n=8):
    rng = np.random.default_rng(seed)
    speed = rng.uniform(0.6, 3.9, n)
    group = np.array([0, 0, 1, 1, 2, 2, -1, -1])[:n]
    wind = np.array([0, 0, 0.1, 0.1, 0, 0, 0, 0.2])[:n]
    power = 66.0 * speed**2.6 * np.exp(rng.normal(0, 0.1, n))
    return CurvePoints(speed, power, rng.uniform(0.03, 0.1, n), np.full(n, 0.05), group, wind)


def sight(of=None, some=None, seed=43):
    of, some = of or curve(), some or points()
    rng = np.random.default_rng(seed)
    n = len(some.speed_mps)
    return _Sight(
        rows=of.weights(some.speed_mps),
        log_w=np.log(some.power_w),
        own=some.log_sd**2,
        shared=shared_cov(some, of.slope(some.speed_mps)),
        legs=leg_cov(some, of.leg_sd),
        weight=rng.uniform(0.3, 1.2, n),
    )


def in_information_form(of, prior_cov, seen, noise_scale):
    """Posterior precision = prior precision + R' N^-1 R, with all of the points' noise in N."""
    noise = seen.shared + noise_scale**2 * (seen.legs + np.diag(seen.own / seen.weight))
    inverse = np.linalg.inv(noise)
    cov = np.linalg.inv(np.linalg.inv(prior_cov) + seen.rows.T @ inverse @ seen.rows)
    left = seen.log_w - seen.rows @ of.log_power
    mean = of.log_power + cov @ seen.rows.T @ inverse @ left
    total = seen.rows @ prior_cov @ seen.rows.T + noise
    evidence = multivariate_normal.logpdf(left, np.zeros(len(left)), total)
    return mean, cov, evidence + 0.5 * len(left) * np.log(2 * np.pi)


@pytest.mark.parametrize("noise_scale", [0.35, 1.0, 2.8])
def test_conditioned_is_the_joint_gaussian_given_the_points(noise_scale):
    of, seen = curve(), sight()
    prior = of.cov + 0.5 * of.local
    mean, cov, evidence = _conditioned(of, prior, seen, noise_scale)
    expected = in_information_form(of, prior, seen, noise_scale)
    assert mean == approx(expected[0], rel=1e-7)
    assert cov == approx(expected[1], rel=1e-5, abs=1e-9)
    assert evidence == approx(expected[2], rel=1e-8)


def test_conditioned_in_two_portions_is_as_in_one():
    of = replace(curve(), leg_sd=0.0)
    some = replace(points(), speed_sd_mps=np.zeros(8), wind_log_sd=None)  # nothing shared
    seen = sight(of, some)

    def portion(at):
        return _Sight(seen.rows[at], seen.log_w[at], seen.own[at], seen.shared[at, at],
                      seen.legs[at, at], seen.weight[at])  # fmt: skip

    whole = _conditioned(of, of.cov, seen, 1.0)
    first = _conditioned(of, of.cov, portion(slice(0, 3)), 1.0)
    second = _conditioned(replace(of, log_power=first[0]), first[1], portion(slice(3, 8)), 1.0)
    assert second[0] == approx(whole[0], rel=1e-9)
    assert second[1] == approx(whole[1], abs=1e-11)
    assert first[2] + second[2] == approx(whole[2], rel=1e-9)


def test_covariance_through_speed_is_the_derivative_of_ln_power():
    # ln P moves by d ln P / d v times the speed's error, the same error within one group
    of, some = curve(), points()
    slope = of.slope(some.speed_mps)
    found = shared_cov(some, slope)
    for i in range(8):
        for j in range(8):
            same = some.group[i] == some.group[j]
            each = [slope[k] / some.speed_mps[k] * some.speed_sd_mps[k] for k in (i, j)]
            assert found[i, j] == approx(each[0] * each[1] if same else 0.0)


def test_slope_is_the_derivative_of_the_power_law():
    power = PowerCurve(GRID, np.log(60.0 * GRID**2.7), np.eye(9))
    assert power.slope(np.array([0.7, 2.0, 3.9])) == approx(2.7)
    bent = PowerCurve(GRID, 0.3 * np.log(GRID) ** 2, np.eye(9))
    inner = GRID[1:-1]
    exact = central_difference(lambda u: 0.3 * u**2, np.log(inner), 1e-4).diagonal()
    assert bent.slope(inner) == approx(exact, rel=1e-6, abs=1e-9)


def test_covariance_of_a_leg_is_shared_by_its_points():
    some = points()
    found = leg_cov(some, 0.08)
    sd = [0.08, 0.08, np.hypot(BEYOND_WIND * 0.08, 0.1), np.hypot(BEYOND_WIND * 0.08, 0.1),
          0.08, 0.08, 0.0, 0.0]  # fmt: skip
    for i in range(8):
        for j in range(8):
            same = some.group[i] == some.group[j]
            assert found[i, j] == approx(sd[i] * sd[j] if same else 0.0)
    assert leg_cov(replace(some, wind_log_sd=None), 0.08)[2, 3] == approx(0.08**2)


def test_reweighting_settles_at_students_weights():
    of, some = curve(), points()
    some.power_w[4] *= 4.0  # far off the others
    seen = _reweighted(of, replace(sight(of, some), weight=np.ones(8)))
    # the last round's weights, from the fit of the round before: a fixed point nearly
    mean, cov, _ = in_information_form(of, of.cov, seen, 1.0)
    left = seen.log_w - seen.rows @ mean
    spread = seen.own + np.diag(seen.legs) + np.diag(seen.rows @ cov @ seen.rows.T)
    weight = (STUDENT_DOF + 1) / (STUDENT_DOF + left**2 / spread)
    assert seen.weight == approx(weight, rel=0.02)
    assert seen.weight.argmin() == 4


def test_judged_averages_over_sizes_by_their_evidence():
    of, seen = curve(), sight()
    logs, means, covs, noises = [], [], [], []
    for size in LOCAL_SCALES:
        for noise in NOISE_SCALES:
            fit = in_information_form(of, of.cov + (size**2 - 1) * of.local, seen, noise)
            # a log-normal prior on both sizes
            prior = norm.logpdf(np.log([size, noise]), 0, SCALE_LOG_SD).sum()
            logs.append(fit[2] + prior)
            means.append(fit[0])
            covs.append(fit[1])
            noises.append(noise)
    weight = np.exp(np.array(logs) - max(logs))
    weight /= weight.sum()
    centre, cov = mixture_moments(weight, means, covs)
    found_mean, found_cov, noise_scale = _judged(of, seen)
    assert found_mean == approx(centre, rel=1e-7)
    # narrowed by one factor at each speed, the correlations are the mixture's
    ratio = np.sqrt(np.diag(found_cov) / np.diag(cov))
    assert ((ratio > 0.7) & (ratio <= 1 + 1e-9)).all()
    assert found_cov == approx(cov * np.outer(ratio, ratio), rel=1e-6, abs=1e-12)
    off = np.array(means) - centre
    narrow = cornish_fisher(weight, off, np.array([np.diag(c) for c in covs]))
    assert ratio == approx(narrow, rel=1e-6)
    var = np.square(noises)
    excess = 3 * (weight @ var**2) / (weight @ var) ** 2 - 3
    z80 = norm.ppf(0.9)
    expected = np.sqrt(weight @ var) * max(1 + (z80**2 - 3) / 24 * excess, 0.7)
    assert noise_scale == approx(expected)


def cornish_fisher(weight, off, var):
    """80 % range of a mixture over that of a normal, by the kurtosis found by integration."""
    out = []
    for o, v in zip(off.T, var.T, strict=True):
        reach = 12 * np.sqrt(v.max()) + np.abs(o).max()
        x = np.linspace(-reach, reach, 20001)
        density = sum(w * norm.pdf(x, m, s) for w, m, s in zip(weight, o, np.sqrt(v), strict=True))
        second, fourth = (float((density * x**k).sum() / density.sum()) for k in (2, 4))
        out.append(1 + (norm.ppf(0.9) ** 2 - 3) / 24 * (fourth / second**2 - 3))
    return np.clip(out, 0.7, 1.0)


def test_narrowed_is_cornish_and_fishers_fourth_moment():
    rng = np.random.default_rng(44)
    weight, off = rng.dirichlet(np.ones(5)), rng.normal(0, 0.3, (5, 3))
    off = off - weight @ off
    var = rng.uniform(0.1, 2.0, (5, 3))
    assert _narrowed(weight, off, var) == approx(cornish_fisher(weight, off, var), rel=1e-6)
    alone = _narrowed(np.array([1.0]), np.zeros((1, 3)), np.ones((1, 3)))
    assert alone == approx(1.0)


def test_update_leaves_out_what_is_not_positive_and_keeps_a_covariance():
    of, some = curve(), points()
    spoilt = CurvePoints(*(np.r_[a, b] for a, b in (
        (some.speed_mps, [2.0, 0.0, 2.0]), (some.power_w, [0.0, 500.0, 500.0]),
        (some.log_sd, [0.1, 0.1, 0.0]), (some.speed_sd_mps, [0.05] * 3),
        (some.group, [9, 9, 9]), (some.wind_log_sd, [0.0] * 3),
    )))  # fmt: skip
    found, clean = update(of, spoilt), update(of, some)
    assert found.log_power == approx(clean.log_power)
    assert (found.cov == found.cov.T).all()
    assert np.linalg.eigvalsh(found.cov).min() > -1e-12
    assert (np.diag(found.cov) < np.diag(of.cov)).all()
    assert found.seen_mps == (some.speed_mps.min(), some.speed_mps.max())
    assert found.leg_sd == approx(found.noise_scale * of.leg_sd)


def test_readings_of_the_curve_are_its_rows():
    of = replace(curve(), cov=random_covariance(np.random.default_rng(45), np.full(9, 0.2)))
    speed = np.array([0.2, 0.9, 2.34, 4.0, 5.0])
    rows = np.array([np.interp(speed, GRID, unit) for unit in np.eye(9)]).T
    assert of.weights(speed) == approx(rows)
    assert of.cov_rows(speed) == approx(rows @ of.cov)
    assert of.log_sd(speed) == approx(np.sqrt(np.diag(rows @ of.cov @ rows.T)))
    lines = np.random.default_rng(46).standard_normal((5, 9))
    beyond = 3 * np.log(np.maximum(speed / GRID[-1], 1.0))  # power with the cube of speed
    assert of.read(lines, speed) == approx(lines @ rows.T + beyond)
    assert of.at_own(lines, speed) == approx((lines * rows).sum(axis=1))
    assert of.read_own(lines, speed) == approx((lines * rows).sum(axis=1) + beyond)
    each = np.tile(speed, (5, 1))
    assert of.read_each(lines, each) == approx(lines @ rows.T + beyond)
