"""Steps of readings against numpy on slices and against integrals by hand. Figures random."""

import numpy as np
import pytest

from analyzer.series.steps import Steps, moving_mean, moving_sum, readings_per_step, whole_steps


@pytest.mark.parametrize(
    ("length_s", "step_s", "per"), [(20, 1, 20), (20, 3, 7), (10, 60, 1), (20, 8, 2), (20, 7, 3)]
)
def test_readings_per_step_is_the_nearest_whole_number(length_s, step_s, per):
    assert readings_per_step(length_s, step_s) == per


def test_whole_steps_are_slices_and_leave_the_rest_out():
    values = np.random.default_rng(1).normal(0, 1, (47, 3))
    rows = whole_steps(values, 5)
    assert rows.shape == (9, 5, 3)
    for k in range(9):
        np.testing.assert_array_equal(rows[k], values[5 * k : 5 * k + 5])
    np.testing.assert_array_equal(whole_steps(values[:, 0], 5), rows[:, :, 0])
    assert whole_steps(values[:4], 5).shape == (0, 5, 3)


def test_totals_means_and_lengths_are_numpy_s_on_slices():
    rng = np.random.default_rng(2)
    values, ok = rng.normal(0, 1, (47, 2)), rng.random(47) > 0.6
    ok[10:15] = False
    steps = Steps.of(47, 2.0, 5)
    parts = [slice(k, k + 5) for k in range(0, 47, 5)]
    np.testing.assert_array_equal(steps.length_s, [10.0] * 9 + [4.0])
    np.testing.assert_array_equal(steps.step_of, [k // 5 for k in range(47)])
    np.testing.assert_allclose(steps.total(values), [values[p].sum(axis=0) for p in parts])
    np.testing.assert_array_equal(steps.any(ok), [ok[p].any() for p in parts])
    for got in (steps.mean(values, ok), steps.mean(values[:, 0], ok)[:, None]):
        for row, p in zip(got, parts, strict=True):
            inside = values[p][ok[p]]
            want = inside.mean(axis=0) if len(inside) else np.full(2, np.nan)
            np.testing.assert_allclose(row, want[: len(row)])


def test_products_are_numpy_s_covariances():
    rng = np.random.default_rng(3)
    columns, ok = list(rng.normal(0, 1, (4, 60))), rng.random(60) > 0.2
    steps = Steps.of(60, 1.0, 20)
    got = steps.products(columns, ok)
    for k in range(3):
        some = ok[20 * k : 20 * k + 20]
        cov = np.cov([c[20 * k : 20 * k + 20][some] for c in columns], bias=True) * some.sum()
        want = [cov[a, b] for a, b in ((0, 1), (0, 2), (1, 1), (1, 2), (2, 2), (1, 3), (2, 3))]
        np.testing.assert_allclose([g[k] for g in got], want, atol=1e-12)


def test_no_readings_are_no_steps():
    steps = Steps.of(0, 1.0, 5)
    assert len(steps.total(np.zeros(0))) == len(steps.any(np.zeros(0, bool))) == 0
    assert len(steps.mean(np.zeros(0), np.zeros(0, bool))) == 0


def test_means_of_all_readings_miss_where_one_is_missing():
    values = np.random.default_rng(4).normal(0, 1, 47)
    values[12] = np.nan
    want = [values[k : k + 5].mean() for k in range(0, 47, 5)]  # the last of two
    np.testing.assert_allclose(Steps.of(47, 1.0, 5).mean(values), want)


@pytest.mark.parametrize("half", [1, 3, 60])
def test_moving_windows_are_slices_cut_at_the_ends(half):
    values = np.random.default_rng(5).normal(0, 1, 47)
    windows = [slice(max(k - half, 0), k + half + 1) for k in range(47)]
    np.testing.assert_allclose(moving_sum(values, half), [values[w].sum() for w in windows])
    values[10:14] = np.nan
    with np.errstate(invalid="ignore"):
        known = [values[w][np.isfinite(values[w])] for w in windows]
    want = [part.mean() if len(part) else np.nan for part in known]
    np.testing.assert_allclose(moving_mean(values, half), want, atol=1e-12)
