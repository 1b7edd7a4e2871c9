"""Rows put in order of time, against Python's own stable sorting."""

import numpy as np
import pytest

from logger.store.packing.chunks import in_order


@pytest.mark.parametrize("times", [[], [5], [1, 2, 2, 9], [9, 7, 3, 1], [4, 4, 1, 4, 1, 0]])
def test_rows_by_time_and_those_of_one_time_as_they_came(times):
    rows = sorted(enumerate(times), key=lambda row: row[1])
    t_us, values = in_order(np.array(times, np.int64), np.arange(len(times), dtype=float))
    assert t_us.tolist() == [t for _, t in rows]
    assert values.tolist() == [place for place, _ in rows]
