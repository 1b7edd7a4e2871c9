"""The same log in other pieces gives the same steps."""

import numpy as np
import pytest

from analyzer.series.resample import Gatherer, highest
from analyzer.series.series import Series


def log(n: int = 1000) -> Series:
    rng = np.random.default_rng(3)
    values = {"a": rng.normal(size=n), "b": rng.normal(size=n)}
    values["b"][100:160] = np.nan
    return Series(7_300_000, 1.0, n, values)


@pytest.mark.parametrize("sizes", [(1,), (7,), (10,), (13, 1, 200), (1000,)])
def test_pieces_do_not_matter(sizes):
    whole = Gatherer(10.0, ("a", "a^2", "b"))
    ends, means = whole.add(log())
    parts, at, k = Gatherer(10.0, ("a", "a^2", "b")), 0, 0
    got = []
    while at < 1000:
        got.append(parts.add(log().cut(at, at + sizes[k % len(sizes)])))
        at += sizes[k % len(sizes)]
        k += 1
    np.testing.assert_array_equal(np.concatenate([e for e, _ in got]), ends)
    np.testing.assert_allclose(np.concatenate([m for _, m in got]), means, rtol=1e-12)


@pytest.mark.parametrize("size", [1, 7, 10, 64])
@pytest.mark.parametrize("last", [300, 1000])
def test_parts_of_one_series_give_each_step_when_its_last_reading_is_in(size, last):
    # beside it the same readings as series of their own; from `last` on others come than expected
    one, other = (Gatherer(10.0, ("a", "a^2", "b")) for _ in range(2))
    whole, after = log(), Series(7_300_000 + last * 1_000_000, 1.0, 50, {"a": np.arange(50.0)})
    pieces = [whole.cut(at, min(at + size, last)) for at in range(0, last, size)]
    for piece in (*pieces, *(after.cut(at, at + 5) for at in range(0, 50, 5))):
        alone = Series(piece.t0_us, piece.step_s, piece.n, piece.values)
        (ends, means), (expected_ends, expected) = one.add(piece), other.add(alone)
        np.testing.assert_array_equal(ends, expected_ends)
        np.testing.assert_allclose(means, expected, rtol=1e-12)


def test_means_are_means():
    ends, means = Gatherer(10.0, ("a", "a^2", "b", "missing")).add(log())
    assert ends[0] == 10.0  # the first step ends at the next multiple of ten seconds
    a = log().values["a"]
    assert means[0, 0] == pytest.approx(a[:3].mean())  # t = 7.3, 8.3, 9.3 s
    assert means[1, 1] == pytest.approx(np.mean(a[3:13] ** 2))
    assert np.isnan(means[:, 3]).all()
    assert np.isnan(means[11:15, 2]).all()


def test_a_long_hole_costs_nothing():
    gather = Gatherer(10.0, ("a",))
    gather.add(Series(0, 1.0, 20, {"a": np.ones(20)}))
    ends, _ = gather.add(Series(10**15, 1.0, 20, {"a": np.ones(20)}))
    assert len(ends) == 2


def test_a_temperature_s_slip_is_left_out_and_a_current_s_is_not():
    values = {"motor_temp_c": np.full(40, 50.0), "a": np.full(40, 5.0)}
    values["motor_temp_c"][13] = 85.0  # what some probes say when they wake
    values["a"][13] = 15.0
    _, means = Gatherer(10.0, ("motor_temp_c", "a")).add(Series(0, 1.0, 40, values))
    assert means[1] == pytest.approx([50.0, 6.0])


def test_few_readings_are_all_taken():
    values = {"motor_temp_c": np.array([50.0, 52.0, np.nan, np.nan, 54.0] * 4)}
    _, means = Gatherer(5.0, ("motor_temp_c",)).add(Series(0, 1.0, 20, values))
    assert means[0, 0] == pytest.approx(52.0)


def test_what_the_catalogue_calls_impossible_is_no_reading():
    values = {"motor_temp_c": np.full(30, 50.0)}
    values["motor_temp_c"][3:9] = 1e4
    _, means = Gatherer(10.0, ("motor_temp_c",), highest(("motor_temp_c",))).add(
        Series(0, 1.0, 30, values)
    )
    assert means[0, 0] == pytest.approx(50.0)
