"""Chunks put together again are the series that they were cut from."""

from itertools import pairwise

import numpy as np
import pytest

from analyzer.flags.reserve import joined
from analyzer.series.series import Series


def hour() -> Series:
    values = {"a": np.arange(3600.0), "b": np.where(np.arange(3600) % 7 < 3, np.nan, 1.0)}
    return Series(5_000_000, 1.0, 3600, values)


def cut(whole: Series, sizes: list[int], first: int) -> list[Series]:
    edges = first + np.cumsum([0, *sizes])
    return [whole.cut(int(a), int(b)) for a, b in pairwise(edges)]


@pytest.mark.parametrize("alone", [False, True])
@pytest.mark.parametrize("sizes", [[10] * 6, [1, 59], [3600]])
def test_parts_in_a_row_are_their_stretch(sizes, alone):
    whole = hour()
    chunks = cut(whole, sizes, 0 if sum(sizes) == 3600 else 120)
    if alone:  # the same readings, of no series
        chunks = [Series(c.t0_us, c.step_s, c.n, c.values) for c in chunks]
    got = joined(chunks)
    expected = whole.cut(0 if sum(sizes) == 3600 else 120, 120 + sum(sizes))
    assert (got.t0_us, got.step_s, got.n) == (expected.t0_us, 1.0, sum(sizes))
    for name, values in expected.values.items():
        np.testing.assert_array_equal(got.values[name], values)


def test_what_is_joined_is_no_view():
    whole = hour()
    joined(cut(whole, [10, 10], 0)).values["a"][:] = -1.0
    np.testing.assert_array_equal(whole.values["a"], np.arange(3600.0))


def test_a_hole_stays_a_gap():
    whole = hour()
    got = joined([whole.cut(0, 10), whole.cut(20, 30)])
    assert got.n == 30
    np.testing.assert_array_equal(got.values["a"][10:20], np.full(10, np.nan))
    np.testing.assert_array_equal(got.values["a"][20:], np.arange(20.0, 30.0))
