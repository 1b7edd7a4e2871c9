"""The power curve as a Gaussian process."""

import json

import numpy as np
import pytest
from scipy import stats

from analyzer.estimation.quantiles import Z80
from analyzer.hull import hull
from analyzer.hull.curve_fit import _narrowed, update
from analyzer.hull.power_curve import (
    CurvePoints,
    PowerCurve,
    smooth_cov,
)
from tests.support.hull_boat import boat

SPEED = np.linspace(0.3, 5.0, 48)


def flat_prior(sd: float = 0.4) -> PowerCurve:
    cov = smooth_cov(SPEED, 1.0, sd) + 1e-9 * np.eye(len(SPEED))
    return PowerCurve(SPEED, np.log(100 * SPEED**3), cov)


def points(speed, power, sd=0.05, speed_sd=0.0, group=None) -> CurvePoints:
    speed = np.asarray(speed, float)
    n = len(speed)
    return CurvePoints(
        speed,
        np.asarray(power, float),
        np.full(n, sd),
        np.full(n, speed_sd),
        np.arange(n) if group is None else np.asarray(group),
    )


def test_one_point_pulls_the_curve_by_the_normal_rule():
    # conjugate normal: prior N(0, 0.4^2) seen once with sd 0.1 -> gain 0.16/(0.16+0.01)
    at = np.array([SPEED[20]])
    prior = flat_prior()
    seen = points(at, prior.mean_w(at) * np.exp(0.05), sd=0.1)
    # a point this close to the prior has nearly full weight; scales are judged symmetrically
    after = update(prior, seen)
    moved = np.log(after.mean_w(at) / prior.mean_w(at))[0]
    assert moved == pytest.approx(0.05 * 0.16 / 0.17, rel=0.05)


def test_update_leaves_far_speeds_as_they_were():
    prior = flat_prior()
    after = update(prior, points([1.0], [200.0]))
    assert after.log_sd(np.array([5.0]))[0] == pytest.approx(0.4, rel=0.02)
    assert after.log_sd(np.array([1.0]))[0] < 0.2


def test_draws_never_fall_with_speed():
    power = flat_prior().draws(np.linspace(0.3, 5.0, 60), 500, np.random.default_rng(1))
    assert power.shape == (500, 60)
    assert (np.diff(power, axis=1) >= 0).all()


def test_one_wild_point_moves_the_curve_little():
    rng = np.random.default_rng(2)
    speed = np.linspace(1.5, 3.5, 12)
    power = 130 * speed**3 * np.exp(0.03 * rng.standard_normal(12))
    clean = update(flat_prior(), points(speed, power))
    power[6] *= 0.4  # sails helped
    dirty = update(flat_prior(), points(speed, power))
    at = np.array([speed[6]])
    assert abs(np.log(dirty.mean_w(at) / clean.mean_w(at))[0]) < 0.06


def test_points_that_share_a_speed_error_do_not_average_it_away():
    speed = np.full(30, 2.0)
    power = np.full(30, 100 * 8.0)
    alone = update(flat_prior(), points(speed, power, speed_sd=0.2))
    shared = update(flat_prior(), points(speed, power, speed_sd=0.2, group=np.zeros(30, int)))
    at = np.array([2.0])
    # exponent 3: a shared 0.2 m/s at 2 m/s is 30 % of power, however many points
    assert shared.log_sd(at)[0] > 0.2
    assert alone.log_sd(at)[0] < 0.12


def test_ranges_hold_the_truth_as_often_as_they_claim():
    # truths drawn from the prior itself: the 80 % range must hold 80 % (binomial limits)
    rng = np.random.default_rng(3)
    prior = flat_prior()
    root = np.linalg.cholesky(prior.cov)
    hits = 0
    trials = 150
    for _ in range(trials):
        truth = prior.log_power + root @ rng.standard_normal(len(SPEED))
        speed = rng.uniform(1.0, 4.0, 8)
        power = np.exp(np.interp(speed, SPEED, truth) + 0.05 * rng.standard_normal(8))
        estimate = update(prior, points(speed, power)).power_w(3.0)
        hits += estimate.low <= np.exp(np.interp(3.0, SPEED, truth)) <= estimate.high
    low, high = stats.binom.interval(0.999, trials, 0.8)
    assert low <= hits <= high + 8  # heavy-tailed weights may only widen


def test_curve_survives_json():
    curve = update(flat_prior(), points([1.0, 2.0], [110.0, 900.0]))
    again = PowerCurve.from_dict(json.loads(json.dumps(curve.to_dict())))
    assert again.mean_w(SPEED) == pytest.approx(curve.mean_w(SPEED))
    assert again.log_sd(SPEED) == pytest.approx(curve.log_sd(SPEED), abs=1e-4)
    assert again.seen_mps == (1.0, 2.0)


def test_outside_the_speeds_seen_is_said():
    curve = update(flat_prior(), points([1.0, 2.0], [110.0, 900.0]))
    assert "outside the speeds seen" in curve.power_w(4.0).reason
    assert "outside the speeds seen" not in curve.power_w(1.5).reason


def test_a_mixture_of_sizes_has_a_narrower_middle_than_its_variance_says():
    # 80 % range of normal distributions of sd 1 and 2, as likely: by the library's quantiles
    chance, var = np.array([0.5, 0.5]), np.array([[1.0], [4.0]])
    half = 1.0
    for _ in range(60):
        half -= (chance @ stats.norm.cdf(half / np.sqrt(var[:, 0])) - 0.9) / 0.15
    said = Z80 * np.sqrt(2.5) * _narrowed(chance, np.zeros((2, 1)), var)[0]
    assert half < 0.98 * Z80 * np.sqrt(2.5)
    assert said == pytest.approx(half, rel=0.02)
    assert _narrowed(chance, np.zeros((2, 1)), np.ones((2, 1)))[0] == 1.0


def test_beyond_the_grid_power_goes_with_the_cube_of_speed():
    # constant drag coefficient: twice the speed takes eight times the power, so half the distance
    # and less; a boat cannot go further at 12 kn than at 8.5 on the same energy
    small = boat(waterline_m=4.3, beam_waterline_m=1.6, draught_m=0.3, displacement_kg=350.0)
    curve = hull.prior(small)
    top = curve.speed_mps[-1]
    speed = top * np.array([1.0, 2.0])
    assert curve.mean_w(speed)[1] == pytest.approx(8 * curve.mean_w(speed)[0])
    lines = curve.lines(3, np.random.default_rng(1))
    each = curve.read_each(lines, np.tile(speed, (3, 1)))
    assert each[:, 1] - each[:, 0] == pytest.approx(np.log(8))
    assert curve.read(lines, speed) == pytest.approx(each)
    knots = np.array([8.5, 12.0]) * 1852 / 3600
    metres_per_joule = knots / curve.mean_w(knots)
    assert metres_per_joule[1] < metres_per_joule[0]
