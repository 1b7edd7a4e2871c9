"""Draws of the weakest cell over all causes, beside the mixture's own moments."""

import numpy as np
from pytest import approx

from analyzer.range.monte_carlo import Weak, weak_deficits

NORMAL = np.random.default_rng(8).standard_normal(200_000)


def test_draws_are_of_the_mixture_of_causes():
    weak = Weak(deficits=((0.5, 0.2, 0.01), (0.3, 0.4, 0.02)))
    drawn = weak_deficits(weak, NORMAL, 1)
    for (weight, mean, _), near in zip(weak.deficits, ((0.1, 0.3), (0.3, 0.6)), strict=True):
        inside = (drawn > near[0]) & (drawn < near[1])
        assert inside.mean() == approx(weight, abs=0.005)
        assert drawn[inside].mean() == approx(mean, abs=0.001)
    # what is left of the weights is a cell that lacks nothing
    assert (drawn == 0.0).mean() == approx(0.2, abs=0.005)


def test_no_cause_lacks_nothing_and_none_lacks_more_than_all():
    assert (weak_deficits(Weak(), NORMAL, 1) == 0.0).all()
    wide = weak_deficits(Weak(deficits=((1.0, 0.9, 0.5),)), NORMAL, 1)
    assert wide.min() == 0.0
    assert wide.max() == 1.0
