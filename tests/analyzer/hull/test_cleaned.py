"""A cleaning in the speed losses: found where it is, and nowhere else."""

import numpy as np
import pytest

from analyzer.hull.cleaned import line_since_clean

WEEK_S = 7 * 86400.0


def losses(seed, cleaned=20, step=0.06, growth=-0.003, sd=0.015, count=40):
    """Weekly losses that grow, and come back once; their times and standard deviations."""
    rng = np.random.default_rng(seed)
    week = np.arange(count)
    truth = growth * week + np.where(week >= cleaned, step, 0.0)
    return week * WEEK_S, truth + sd * rng.standard_normal(count), np.full(count, sd)


def test_exact_lines_are_found_as_they_are():
    t_s, loss, sd = losses(1)
    week = np.arange(40)
    loss = -0.003 * week + np.where(week >= 20, 0.06, 0.0)
    found = line_since_clean(t_s, loss, sd)
    assert (found.first, found.breaks) == (20, (20, 20))
    assert found.step == pytest.approx(0.06)
    assert found.slope * WEEK_S == pytest.approx(-0.003)
    assert found.at(19 * WEEK_S)[0] == pytest.approx(loss[-1])
    assert found.since(19 * WEEK_S)[0] == pytest.approx(-0.057)


def test_without_a_cleaning_it_is_numpy_s_weighted_line():
    t_s, loss, _ = losses(2, step=0.0, count=12)
    sd = np.linspace(0.01, 0.03, 12)
    found = line_since_clean(t_s, loss, sd)
    # numpy's own weighted fit, unscaled covariance: (slope, level)
    (slope, level), cov = np.polyfit(t_s, loss, 1, w=1 / sd, cov="unscaled")
    assert found.breaks is None
    assert (found.clean, found.slope) == pytest.approx((level, slope))
    assert found.cov[::-1, ::-1] == pytest.approx(cov)


def test_the_dates_hold_the_cleaning_as_often_as_they_should():
    hits = 0
    for seed in range(100):
        found = line_since_clean(*losses(seed))
        hits += found.breaks is not None and found.breaks[0] <= 20 <= found.breaks[1]
    assert hits >= 75  # they are to hold it in 80 of 100: two standard deviations fewer at most


def test_the_step_s_range_holds_the_truth_as_often_as_it_should():
    found = [line_since_clean(*losses(seed)) for seed in range(200, 300)]
    seen = [one for one in found if one.breaks is not None]
    assert len(seen) >= 90
    held = sum(abs(one.step - 0.06) < 1.2816 * one.step_sd for one in seen)
    assert 0.7 <= held / len(seen) <= 0.92  # 0.8, three standard deviations of 100


@pytest.mark.parametrize("growth", [0.0, -0.003])
def test_a_boat_that_is_never_cleaned_is_hardly_ever_said_to_be(growth):
    said = [line_since_clean(*losses(seed, step=0.0, growth=growth)).breaks for seed in range(300)]
    assert sum(one is not None for one in said) <= 12  # told at 98 %: 6, three deviations more


def test_the_newest_of_two_cleanings_counts():
    week = np.arange(45)
    loss = -0.004 * week + 0.06 * (week >= 15) + 0.06 * (week >= 30)
    found = line_since_clean(week * WEEK_S, loss, np.full(45, 0.01))
    assert found.first == 30
    assert found.slope * WEEK_S == pytest.approx(-0.004)


def test_a_bottom_that_is_suddenly_slower_was_not_cleaned():
    assert line_since_clean(*losses(5, step=-0.08)).breaks is None


def test_a_sudden_loss_before_it_does_not_widen_the_dates():
    # weed caught in week 10, cleaned in week 28: the loss is as sudden as the gain
    week = np.arange(52)
    loss = np.where((week >= 10) & (week < 28), -0.05, 0.0)
    found = line_since_clean(week * WEEK_S, loss, np.full(52, 0.015))
    assert found.breaks == (28, 28)


def test_one_odd_trip_is_no_cleaning():
    t_s, loss, sd = losses(6, step=0.0, sd=0.01)
    loss[-1] += 0.1
    assert line_since_clean(t_s, loss, sd).breaks is None
