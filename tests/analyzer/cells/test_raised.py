"""Whether a resistance is raised, beside scipy's distributions."""

import numpy as np
from pytest import approx
from scipy.stats import expon, norm, t

from analyzer.cells.raised import _student, raised

MEDIAN = 0.5e-3


def string(excess=0.0, seed=1, cells=16):
    out = 0.03 * MEDIAN * np.random.default_rng(seed).standard_normal(cells)
    out[4] = excess
    return out


def test_students_density_is_scipys():
    for z in (-2.0, 0.0, 0.7, 6.0):
        assert _student(z, 15.5) == approx(t(15.5).pdf(z))


def test_probability_is_bayes_over_two_hypotheses():
    excess, sd = string(0.3 * MEDIAN), np.full(16, 0.01 * MEDIAN)
    own = excess[4] - np.median(excess)
    others = np.delete(excess, 4)
    mad = 1.4826 * np.median(np.abs(others - np.median(others)))
    # a scale that counts the usual 4 % as ten cells, and a median deviation at its efficiency
    counted = 0.37 * 15
    scale = np.sqrt((10 * (0.04 * MEDIAN) ** 2 + counted * mad**2) / (10 + counted) + sd[4] ** 2)
    healthy = t(10 + counted, scale=scale).pdf(own)
    faulty = expon(scale=0.4 * MEDIAN).pdf(own)
    above = norm.sf(0.18 * MEDIAN, own, sd[4])
    expected = above * 0.01 * faulty / (0.01 * faulty + 0.99 * healthy)
    assert raised(excess, sd, MEDIAN)[4] == approx(expected)
    assert expected > 0.9


def test_what_is_of_no_matter_or_not_known_is_not_raised():
    sd = np.full(16, 0.01 * MEDIAN)
    assert raised(string(0.15 * MEDIAN), sd, MEDIAN).max() == 0.0
    sd[4] = np.inf
    assert raised(string(2.0 * MEDIAN), sd, MEDIAN)[4] == 0.0
