"""Whether a resistance is raised, beside scipy's distributions."""

import numpy as np
from pytest import approx
from scipy.stats import exponnorm, t

from analyzer.cells.ohms import _faulty, _student, likelihood_ratio

MEDIAN = 0.5e-3


def string(excess=0.0, seed=1, cells=16):
    out = 0.03 * MEDIAN * np.random.default_rng(seed).standard_normal(cells)
    out[4] = excess
    return out


def test_students_density_is_scipys():
    for z in (-2.0, 0.0, 0.7, 6.0):
        assert _student(z, 15.5) == approx(t(15.5).pdf(z))


def test_a_raised_resistance_seen_with_noise_is_scipys_exponentially_modified_normal():
    for own in (-0.3, 0.1, 0.18, 0.5, 2.0):
        for sd in (0.01, 0.1, 0.9):
            # exponential of scale 0.4 from 0.18 on; scipy's K is the scale over sd
            expected = exponnorm(0.4 / sd, loc=0.18, scale=sd).pdf(own)
            assert _faulty(own, sd) == approx(expected, rel=1e-6, abs=1e-30)


def test_ratio_is_that_of_the_two_densities():
    excess, sd = string(0.3 * MEDIAN), np.full(16, 0.01 * MEDIAN)
    own = excess[4] - np.median(excess)
    others = np.delete(excess, 4)
    mad = 1.4826 * np.median(np.abs(others - np.median(others)))
    # a scale that counts the usual 4 % as ten cells, and a median deviation at its efficiency
    counted = 0.37 * 15
    scale = np.sqrt((10 * (0.04 * MEDIAN) ** 2 + counted * mad**2) / (10 + counted) + sd[4] ** 2)
    healthy = t(10 + counted, scale=scale).pdf(own)
    faulty = exponnorm(40, loc=0.18 * MEDIAN, scale=0.01 * MEDIAN).pdf(own)
    assert likelihood_ratio(excess, sd, MEDIAN)[4] == approx(faulty / healthy)
    assert faulty / healthy > 900  # one in a hundred before, nine in ten after


def test_what_is_of_no_matter_is_not_raised_and_what_is_not_known_may_be():
    sd = np.full(16, 0.01 * MEDIAN)
    assert likelihood_ratio(string(0.14 * MEDIAN), sd, MEDIAN).max() < 0.1
    for unknown in (np.inf, 2 * MEDIAN):
        sd[4] = unknown
        assert likelihood_ratio(string(2.0 * MEDIAN), sd, MEDIAN)[4] == 1.0


def test_no_reading_is_beyond_a_number():
    sd = np.full(16, 1e-4 * MEDIAN)
    for excess in (-1e4 * MEDIAN, 1e4 * MEDIAN):
        assert np.isfinite(np.log(likelihood_ratio(string(excess), sd, MEDIAN))).all()
