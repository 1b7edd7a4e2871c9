"""The marginalised linear model against scipy's normal distribution and ridge regression."""

import numpy as np
from pytest import approx
from scipy.stats import multivariate_normal

from analyzer.estimation.marginal import marginal


def test_marginal_likelihood_is_that_of_a_normal_distribution():
    rng = np.random.default_rng(4)
    design, prior_sd = rng.standard_normal((12, 3)), np.array([0.5, 2.0, 1.0])
    weight, values = rng.uniform(0.5, 2.0, 12), rng.standard_normal(12)
    square = (design * weight[:, None]).T @ design
    cross = (design * weight[:, None]).T @ values
    fit = marginal(square[None], cross[None, :, None], prior_sd[None, None])
    chi = float(weight @ values**2) - fit.explained[0, 0]
    log_noise = -np.log(weight).sum() + 12 * np.log(2 * np.pi)
    found = -0.5 * (chi + fit.volume[0, 0] + log_noise)
    covariance = np.diag(1 / weight) + (design * prior_sd**2) @ design.T
    assert found == approx(multivariate_normal(np.zeros(12), covariance).logpdf(values))
    # and the coefficients are those of ridge regression, the prior as three more rows
    rows = np.vstack([design * np.sqrt(weight)[:, None], np.diag(1 / prior_sd)])
    best = np.linalg.lstsq(rows, np.r_[values * np.sqrt(weight), np.zeros(3)], rcond=None)[0]
    assert fit.found[0, 0] == approx(best)
    assert fit.sd[0, 0] ** 2 == approx(np.diag(np.linalg.inv(rows.T @ rows)))
