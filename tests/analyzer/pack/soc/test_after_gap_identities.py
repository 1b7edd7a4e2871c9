"""What may have become of the charge in a gap, against the same story drawn many times.

The story's own figures (how often charged, how far) are assumed; they are read from the module.
What is held here is that the bank is that story's distribution. Figures of the bank invented.
"""

import numpy as np
import pytest
from pytest import approx
from scipy.stats import norm

from analyzer.pack.soc.after_gap import (
    AFTER_ANYTHING_SD,
    AFTER_CHARGE,
    AFTER_CHARGE_SD,
    ANYTHING,
    CHARGED_H,
    CHARGER_C,
    GAUGE_RIGHT,
    LEAST_WEIGHT,
    LEFT_C,
    MOST_LEFT,
    reset_after_gap,
    weigh_by_gauge,
)
from analyzer.pack.soc.filter import SOC_EDGES
from analyzer.pack.soc.noise import CHARGED, FULL_SHARE, WALK_REST_V
from analyzer.pack.soc.states import CURVE, HYST, SOC, STATES, WALK
from tests.support.charge_filter import bank_of, cell_of, content, random_mixture
from tests.support.gaussians import mixture_moments

PLACES = np.array([0.22, 0.4, 0.63])
DRAWS = 400_000


def mixture(sd=0.01):
    some = random_mixture(np.random.default_rng(21), PLACES)
    scale = np.ones(STATES)
    scale[SOC] = sd / 0.02
    some.cov = some.cov * np.outer(scale, scale)
    return some


def shares_of_the_story(hours):
    long = 1 - np.exp(-hours / CHARGED_H)
    return CHARGED * long, ANYTHING * long


def story(rng, before, hours):
    """Charge and hysteresis after a gap in which the pack was charged or anything happened."""
    charged, anything = shares_of_the_story(hours)
    start = rng.choice(before.mean[:, SOC], DRAWS, p=before.weight)
    # a charge stops anywhere up to what the charger can do, but so that it is full at least as
    # often as FULL_SHARE once it can reach that
    reach = np.minimum(CHARGER_C * hours, (1 - start) / (1 - FULL_SHARE))
    filled = np.minimum(start + reach * rng.uniform(size=DRAWS), 1.0)
    put_in = rng.uniform(size=DRAWS) < charged / (charged + anything)
    soc = np.where(put_in, filled, rng.uniform(size=DRAWS))
    branch = np.where(
        put_in,
        rng.normal(AFTER_CHARGE, AFTER_CHARGE_SD, DRAWS),
        rng.normal(0, AFTER_ANYTHING_SD, DRAWS),
    )
    return soc, branch


@pytest.mark.parametrize("hours", [0.4, 1.7, 11.0, 200.0])
def test_bank_after_a_gap_is_the_story_drawn_many_times(hours):
    before = mixture()
    bank = bank_of(cell_of(), before)
    reset_after_gap(bank, hours * 3600, 0.0)
    charged, anything = shares_of_the_story(hours)
    soc, branch = story(np.random.default_rng(22), before, hours)
    count = np.histogram(soc, SOC_EDGES)[0]
    expected = (charged + anything) * count / DRAWS
    now = content(bank)
    old_branch = before.weight @ before.mean[:, HYST]
    stretch = np.minimum(np.digitize(soc, SOC_EDGES), len(SOC_EDGES) - 1) - 1
    for k, middle in enumerate(0.5 * (SOC_EDGES[1:] + SOC_EDGES[:-1])):
        fresh = np.isclose(now.mean[:, SOC], middle) & (now.mean[:, WALK] == 0.0)
        fresh &= ~np.isclose(now.mean[:, HYST], old_branch)  # that is the charge as it was left
        if not fresh.any():
            assert expected[k] < now.weight.min() + 1e-4  # the forty heaviest are kept
            continue
        (at,) = np.flatnonzero(fresh)
        error = 5 * (charged + anything) * np.sqrt(count[k] + 1) / DRAWS + 1e-5
        assert now.weight[at] == approx(expected[k], abs=error, rel=1e-3)
        if count[k] > 3000:
            inside = branch[stretch == k]
            error = 5 * inside.std() / np.sqrt(count[k])
            assert now.mean[at, HYST] == approx(inside.mean(), abs=error)
            assert now.cov[at, HYST, HYST] == approx(inside.var(), rel=15 / np.sqrt(count[k]))
    left = np.isclose(now.mean[:, [SOC]], before.mean[:, SOC]).any(axis=1)
    left |= np.isclose(now.mean[:, HYST], old_branch)
    # what is left out, at most two components for each stretch less those pack_mixture, is lighter
    dropped = max(2 * len(count) - len(now.weight), 1) * max(now.weight.min(), LEAST_WEIGHT)
    assert now.weight[left].sum() == approx(1 - charged - anything, abs=dropped)


def test_what_is_left_alone_keeps_all_but_a_wider_charge():
    before = mixture()
    bank = bank_of(cell_of(), before)
    reset_after_gap(bank, 0.5 * 3600, 0.015)
    now = content(bank)
    for x, p in zip(before.mean, before.cov, strict=True):
        k = int(np.flatnonzero(np.isclose(now.mean, x).all(axis=1))[0])
        expected = p.copy()
        expected[SOC, SOC] += (LEFT_C * 0.5) ** 2 + 0.015**2
        assert now.cov[k] == approx(expected)


def test_a_sleeping_boat_draws_no_more_than_the_most():
    bank = bank_of(cell_of(), mixture(1e-4))
    reset_after_gap(bank, 1000 * 3600, 0.0)
    charged, anything = shares_of_the_story(1000.0)
    now = content(bank)
    # so wide that it is laid over the stretches: the share of each is of normal distributions
    before = mixture(1e-4)
    sd = np.sqrt(before.cov[:, SOC, SOC] + MOST_LEFT**2)
    upto = norm.cdf((SOC_EDGES - before.mean[:, [SOC]]) / sd[:, None])
    upto[:, 0], upto[:, -1] = 0, 1  # tails belong to the ends
    cells = before.weight @ np.diff(upto, axis=1)
    rest = np.array([w for w, x in zip(now.weight, now.mean, strict=True)
                     if x[HYST] == approx(now.mean[0, HYST], abs=1e-12)])  # fmt: skip
    assert len(rest) <= len(cells)
    strongest = np.sort((1 - charged - anything) * cells)[::-1][: len(rest)]
    # the integral is good to 3e-4; components beyond forty are left out
    assert np.sort(rest)[::-1][:8] == approx(strongest[:8], rel=0.02)


def test_what_is_learned_of_the_cell_goes_into_the_new_components_whole():
    before = mixture()
    bank = bank_of(cell_of(), before)
    reset_after_gap(bank, 30 * 3600, 0.0)
    centre, cov = mixture_moments(before.weight, before.mean, before.cov)
    rest = np.setdiff1d(np.arange(STATES), [SOC, HYST, WALK])
    now = content(bank)
    assert len(now.weight) > len(PLACES)
    fresh = [k for k, x in enumerate(now.mean) if x[CURVE] == approx(centre[CURVE], abs=1e-12)]
    assert len(fresh) > 10
    for k in fresh:
        assert now.mean[k, rest] == approx(centre[rest], abs=1e-12)
        assert now.cov[k][np.ix_(rest, rest)] == approx(cov[np.ix_(rest, rest)], abs=1e-14)
        for alone in (SOC, HYST, WALK):
            assert np.count_nonzero(now.cov[k][alone]) == 1
        assert now.mean[k, WALK] == 0.0


def test_components_of_the_gap_fill_their_stretch():
    bank = bank_of(cell_of(), mixture())
    reset_after_gap(bank, 30 * 3600, 0.0)
    now, middle = content(bank), 0.5 * (SOC_EDGES[1:] + SOC_EDGES[:-1])
    for x, p in zip(now.mean, now.cov, strict=True):
        k = int(np.argmin(np.abs(middle - x[SOC])))
        if abs(x[SOC] - middle[k]) < 1e-12 and p[WALK, WALK] == WALK_REST_V**2:
            assert p[SOC, SOC] == approx((0.5 * (SOC_EDGES[k + 1] - SOC_EDGES[k])) ** 2)


def test_gauge_weighs_by_a_normal_and_a_flat_part():
    before = mixture()
    bank = bank_of(cell_of(), before)
    weigh_by_gauge(bank, 0.45, 0.1)
    z = (before.mean[:, SOC] - 0.45) / 0.1
    # a gauge that lost count says anything: density of that part held at 1 of the normal's peak
    weight = before.weight * (GAUGE_RIGHT * np.exp(-0.5 * z**2) + (1 - GAUGE_RIGHT))
    assert bank.weights() == approx(weight / weight.sum())
    assert bank.log_weight.max() == 0.0
