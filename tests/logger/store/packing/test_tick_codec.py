import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from logger.reading import Quantum
from logger.store.packing.tick_codec import Packer, bundle, unbundle

QUANTA = (Quantum(0.1), Quantum(), Quantum(0.03125, -273.0), Quantum(1.0))


@st.composite
def rows(draw):
    n = draw(st.integers(1, 40))
    t_ms = draw(hnp.arrays(np.int64, n, elements=st.integers(0, 2**41)))
    q = draw(hnp.arrays(np.float64, (n, 4), elements=st.integers(-(2**33), 2**33).map(float)))
    missing = draw(hnp.arrays(np.bool_, (n, 4)))
    values = q / np.array([10, 7, 32, 1]) + np.array([0, 0, -273, 0])
    values[missing] = np.nan
    return t_ms * 1000, values


@given(rows())
def test_rows_come_back(given_rows):
    t_us, values = given_rows
    packer = Packer(QUANTA, 1000)
    first_us = int(t_us.min())
    back_us, back = packer.unpack(packer.pack(t_us, values, first_us), first_us)
    assert np.array_equal(back_us, t_us)
    assert np.array_equal(np.isnan(back), np.isnan(values))
    assert np.array_equal(back[:, 1], values[:, 1], equal_nan=True)
    there = ~np.isnan(values)
    assert np.abs(back - values)[there].max(initial=0) < 1e-4


@pytest.mark.parametrize("value", [127, -127, 128, -128, 32767, -32768, 2**31, -(2**31), 2**49])
def test_the_edges_of_each_width_come_back(value):
    packer = Packer((Quantum(1.0),), 1000)
    values = np.array([[float(value)], [np.nan]])
    _, back = packer.unpack(packer.pack(np.array([0, 1000]), values, 0), 0)
    assert np.array_equal(back, values, equal_nan=True)


def test_a_value_too_large_for_its_step_is_kept_exactly():
    packer = Packer((Quantum(0.001),), 1000)
    values = np.array([[1e300], [1.234]])
    _, back = packer.unpack(packer.pack(np.array([0, 1000]), values, 0), 0)
    assert np.array_equal(back, values)


def test_one_row_of_thirty_small_integers_is_small():
    packer = Packer((Quantum(0.01),) * 30, 1000)
    data = packer.pack(np.array([5_000]), np.full((1, 30), 51.2), 0)
    assert len(data) <= 2 + 30 + 2 + 30 * 2  # rows and codes, time, two bytes each


@given(st.lists(st.tuples(st.integers(1, 2**33), st.binary(max_size=300)), max_size=20))
def test_bundles_come_apart_as_they_were(sections):
    assert list(unbundle(bundle(sections))) == sections
