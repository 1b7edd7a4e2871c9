"""The sag's noise: its whitening against a Cholesky factor, its bins against numpy."""

import numpy as np

from analyzer.trips.sag_noise import bin_means, whitened
from tests.support.sag_noise import left_cov


def test_whitening_is_the_inverse_cholesky_factor_of_what_is_left():
    rng = np.random.default_rng(3)
    t_s = np.cumsum(rng.choice([10.0, 10.0, 40.0, 900.0], 50))
    rows = rng.normal(0, 0.1, (50, 4))
    root = np.linalg.cholesky(left_cov(t_s, rows[:, -1]))
    np.testing.assert_allclose(whitened(rows, t_s), np.linalg.solve(root, rows), rtol=1e-8)


def test_means_over_bins_are_numpy_s():
    rng = np.random.default_rng(4)
    values, known_ = rng.normal(0, 1, 47), rng.random(47) > 0.4
    table = np.column_stack([values, values**2])
    means, times = bin_means(table, known_, 2.0)
    bins = [k for k in range(0, 47, 5) if known_[k : k + 5].sum() >= 2.5]
    np.testing.assert_array_equal(times, [2.0 * k for k in bins])
    for row, k in zip(means, bins, strict=True):
        np.testing.assert_allclose(row, table[k : k + 5][known_[k : k + 5]].mean(axis=0))
