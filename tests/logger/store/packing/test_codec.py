import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from logger.errors import StoreError
from logger.quantum import quantise, restore, whole_inverse
from logger.reading import EXACT, Quantum
from logger.store.packing import codec
from logger.store.packing.codec import (
    decode_column,
    decode_times,
    encode_column,
    encode_times,
)

any_float = st.floats(allow_nan=True, allow_infinity=False, width=64)
columns = hnp.arrays(np.float64, st.integers(0, 300), elements=any_float)
quanta = st.sampled_from(
    [
        Quantum(0.1),
        Quantum(0.01),
        Quantum(1e-7),
        Quantum(0.03125, -273.0),  # temperature as SAE J1939-71 codes it
        Quantum(0.4),
        Quantum(1.0, -32000.0),
        Quantum(0.1, -40.0),
    ]
)


@given(columns)
def test_exact_column_comes_back_bit_for_bit(values):
    back = decode_column(encode_column(values, EXACT), len(values), EXACT)
    there = ~np.isnan(values)
    assert np.array_equal(np.isnan(back), ~there)
    assert back[there].tobytes() == values[there].tobytes()


@given(columns, quanta)
def test_quantised_column_is_within_half_a_step_or_exact(values, quantum):
    back = decode_column(encode_column(values, quantum), len(values), quantum)
    there = ~np.isnan(values)
    assert np.array_equal(np.isnan(back), ~there)
    room = 0.5 * quantum.step + 4e-16 * (np.abs(values[there]) + abs(quantum.offset))
    assert np.all(np.abs(back[there] - values[there]) <= room * 1.000001)


@given(hnp.arrays(np.int64, st.integers(1, 200), elements=st.integers(-(2**40), 2**40)), quanta)
def test_multiples_of_the_step_come_back_as_the_same_multiples(q, quantum):
    values = restore(q, quantum)
    again = quantise(values, quantum)
    assert again is not None
    assert np.array_equal(again, q)


@pytest.mark.parametrize("text", ["25.1", "0.3", "-12.7", "51.29", "4.35", "1023.99"])
def test_decimal_text_reads_back_the_same(text):
    # 0.1 * 251 is 25.1 only by luck; 251 / 10 is correctly rounded, as the text's reading is.
    step = 10.0 ** -len(text.split(".")[1])
    back = decode_column(encode_column(np.array([float(text)]), Quantum(step)), 1, Quantum(step))
    assert back[0] == float(text)


def test_decimal_text_reads_back_the_same_with_an_offset():
    quantum = Quantum(0.1, -40.0)
    back = decode_column(encode_column(np.array([25.1]), quantum), 1, quantum)
    assert back[0] == 25.1


@pytest.mark.parametrize("huge", [1e300, -1e300, 2.0**60, 1e22])
def test_a_value_too_large_for_its_step_is_kept_exactly(huge):
    values = np.array([1.5, huge, np.nan, 2.5])
    back = decode_column(encode_column(values, Quantum(0.001)), 4, Quantum(0.001))
    assert np.array_equal(back, values, equal_nan=True)


def test_all_missing_column_is_one_byte():
    data = encode_column(np.full(1000, np.nan), Quantum(0.1))
    assert len(data) == 1
    assert np.isnan(decode_column(data, 1000, Quantum(0.1))).all()


@pytest.mark.parametrize(
    ("step", "inverse"), [(0.1, 10), (0.01, 100), (1e-7, 10**7), (0.03125, 32), (1.0, 1)]
)
def test_whole_inverse_of_whole_fractions(step, inverse):
    assert whole_inverse(step) == inverse


@pytest.mark.parametrize("step", [0.0, 0.4, 2.0, 1.7e-5, 0.3])
def test_whole_inverse_of_others_is_none(step):
    assert whole_inverse(step) is None


@given(hnp.arrays(np.int64, st.integers(1, 300), elements=st.integers(0, 2**45)))
def test_times_come_back(steps):
    t_us = np.sort(steps) * 1000
    assert np.array_equal(
        decode_times(encode_times(t_us, int(t_us[0]), 1000), int(t_us[0]), 1000), t_us
    )


def test_damaged_column_is_refused_and_said():
    data = encode_column(np.arange(100.0), Quantum(1.0))
    with pytest.raises(StoreError, match="chunk"):
        decode_column(data[:1], 100, Quantum(1.0))
    with pytest.raises(StoreError, match="expected"):
        decode_column(data, 101, Quantum(1.0))


def test_works_says_where_numbers_do_not_come_back(monkeypatch: pytest.MonkeyPatch):
    codec.works()
    monkeypatch.setattr(codec, "smallest", lambda numbers: b"")
    with pytest.raises(StoreError):
        codec.works()
