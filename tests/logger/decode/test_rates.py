"""Thinning what comes too often."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from logger.decode.rates import Rates


def kept_times(times: list[int], most_hz: float, at_once: int = 7) -> list[int]:
    rates, t_us, found = Rates(most_hz), np.array(times, np.int64), []
    for start in range(0, len(times), at_once):
        rows = np.arange(start, min(start + at_once, len(times)))
        found += t_us[rates.kept(5, rows, t_us)].tolist()
    return found


def test_regular_sender_is_kept_at_the_rate():
    times = [k * 10_000 for k in range(1000)]  # 100 a second for 10 s
    assert kept_times(times, 10.0) == [k * 100_000 for k in range(100)]


def test_slow_sender_keeps_every_frame():
    times = [k * 333_000 for k in range(50)]
    assert kept_times(times, 10.0) == times


@given(
    gaps=st.lists(st.integers(0, 300_000), min_size=2, max_size=200),
    most_hz=st.sampled_from([1.0, 10.0, 33.0]),
)
def test_never_more_than_the_rate(gaps: list[int], most_hz: float):
    times = np.cumsum(gaps).tolist()
    found = kept_times(times, most_hz)
    elapsed_s = (times[-1] - times[0]) / 1e6
    assert 1 <= len(found) <= elapsed_s * most_hz + 1 + 1e-6 * len(found) * most_hz


def test_spared_identifiers():
    assert Rates(1.0, frozenset({7})).spares(7)
    assert not Rates(1.0, frozenset({7})).spares(8)
