"""Textbook formulas on Gaussians and their mixtures, written plainly, one case at a time.

Sources: Y. Bar-Shalom, X. R. Li, T. Kirubarajan, "Estimation with Applications to Tracking and
Navigation", 2001: joint Gaussian (1.4.14), extended Kalman filter (chapter 10), Joseph form
(5.2.3), moments of a mixture (1.4.16); from memory of the numbering.
"""

import numpy as np


def central_difference(model, at, step):
    """Derivatives of `model` (n,) -> (k,) or number at `at`, by steps (n,). Shape (k, n)."""
    columns = []
    for i, width in enumerate(np.broadcast_to(step, at.shape)):
        up, down = at.copy(), at.copy()
        up[i] += width
        down[i] -= width
        columns.append((np.atleast_1d(model(up)) - np.atleast_1d(model(down))) / (2 * width))
    return np.array(columns).T


def random_covariance(rng, sd):
    """A covariance with these standard deviations and correlations all over the place."""
    sd = np.asarray(sd)
    mixed = np.eye(len(sd)) + 0.3 * rng.standard_normal((len(sd), len(sd)))
    cov = mixed @ mixed.T
    scale = sd / np.sqrt(np.diag(cov))
    return cov * np.outer(scale, scale)


def joseph(mean, cov, row, innovation, noise_var, added_var=None):
    """Update with one number measured: mean (n,), cov (n, n) in Joseph's form.

    Args:
        row: Derivatives of the measurement, (n,).
        noise_var: Of the measurement. added_var: likewise; they add.
    """
    noise = noise_var + (added_var or 0.0)
    total = row @ cov @ row + noise
    gain = cov @ row / total
    left = np.eye(len(mean)) - np.outer(gain, row)
    return mean + gain * innovation, left @ cov @ left.T + np.outer(gain, gain) * noise, total


def mixture_moments(weight, mean, cov):
    """Mean (n,) and covariance (n, n) of a mixture; shapes (m,), (m, n), (m, n, n)."""
    weight = np.asarray(weight) / np.sum(weight)
    centre = sum(w * x for w, x in zip(weight, mean, strict=True))
    second = sum(
        w * (p + np.outer(x - centre, x - centre))
        for w, x, p in zip(weight, mean, cov, strict=True)
    )
    return centre, second


def sampled(rng, count, weight, mean, cov):
    """Draws from a mixture, (count, n)."""
    weight = np.asarray(weight) / np.sum(weight)
    drawn = []
    for share, x, p in zip(rng.multinomial(count, weight), mean, cov, strict=True):
        drawn.append(rng.multivariate_normal(x, p, share, method="cholesky"))
    return np.concatenate(drawn)
