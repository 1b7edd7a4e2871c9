"""The sag's noise: its whitening against a Cholesky factor, its bins against numpy."""

import numpy as np
import pytest

from analyzer.trips.sag_noise import bin_means, whitened
from tests.support.sag_noise import left_cov


def test_whitening_is_the_inverse_cholesky_factor_of_what_is_left():
    rng = np.random.default_rng(3)
    t_s = np.cumsum(rng.choice([10.0, 10.0, 40.0, 900.0], 50))
    rows = rng.normal(0, 0.1, (50, 4))
    root = np.linalg.cholesky(left_cov(t_s, rows[:, -1]))
    np.testing.assert_allclose(whitened(rows, t_s), np.linalg.solve(root, rows), rtol=1e-8)


@pytest.mark.parametrize("step_s", [1.0, 2.0])
def test_means_over_ten_seconds_half_filled_are_numpy_s(step_s):
    rng = np.random.default_rng(4)
    values, known_ = rng.normal(0, 1, 97), rng.random(97) > 0.5
    table = np.column_stack([values, values**2])
    means, times = bin_means(table, known_, step_s)
    per = round(10 / step_s)
    bins = [k for k in range(0, 97, per) if known_[k : k + per].sum() >= per / 2]
    if step_s == 1.0:
        assert 5 in [known_[k : k + 10].sum() for k in bins]  # just half of one
    np.testing.assert_array_equal(times, [step_s * k for k in bins])
    for row, k in zip(means, bins, strict=True):
        np.testing.assert_allclose(row, table[k : k + per][known_[k : k + per]].mean(axis=0))
