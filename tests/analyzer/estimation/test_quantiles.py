"""Quantiles against scipy's exact ones; figures invented."""

import numpy as np
import pytest
from pytest import approx
from scipy.optimize import brentq
from scipy.stats import norm

from analyzer.estimation.quantiles import Z80, mixture_quantile, normal_below, tails


def test_z80_leaves_a_tenth_above():
    assert approx(norm.ppf(0.9), abs=1e-15) == Z80


def test_normal_below_is_the_normal_integral_within_what_it_says():
    z = np.linspace(-6, 6, 1201)
    assert normal_below(z) == approx(norm.cdf(z), abs=3e-4)


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9, 0.975])
def test_quantile_is_that_of_the_mixture(share):
    rng = np.random.default_rng(7)
    weight, mean = rng.dirichlet(np.ones(4), 5), rng.uniform(0.2, 0.8, (5, 4))
    sd = rng.uniform(0.01, 0.1, (5, 4))
    found = mixture_quantile(weight, mean, sd, share)
    for w, m, s, at in zip(weight, mean, sd, found, strict=True):
        exact = brentq(lambda z, w=w, m=m, s=s: w @ norm.cdf(z, m, s) - share, -1, 2)
        # 16 halvings of 1.1, and an integral good to 3e-4 of the share over the density there
        assert at == approx(exact, abs=1.1 / 2**16 + 4e-4 / (w @ norm.pdf(exact, m, s)))


def test_tails_leave_the_same_share_on_both_sides():
    low, high = tails(0.8)
    assert (low, 1 - high) == approx((0.1, 0.1))
