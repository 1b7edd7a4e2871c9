"""Which half minutes tell of the stream: headings that hold, and a propeller that has settled."""

import numpy as np
import pytest

from analyzer.environment import stream_bins
from analyzer.series.series import Series


def heading_of(angles_deg) -> float:
    """The heading of a bin of these samples, by the series' own steps. [deg]"""
    n = len(angles_deg)
    values = {"heading_true_deg": np.asarray(angles_deg, dtype=float) % 360,
              "speed_ground_mps": np.full(n, 2.0), "course_ground_deg": np.zeros(n)}  # fmt: skip
    (found,) = stream_bins.bins_of(Series(0, 30.0 / n, n, values), None).heading_rad
    return float(np.degrees(found) % 360)


def test_a_heading_across_north_is_its_mean():
    # each has its mirror image, so the mean is north
    assert (heading_of([350.0, 356.0, 0.0, 4.0, 10.0]) + 90) % 360 == pytest.approx(90.0)


def test_a_boat_that_turns_has_no_heading():
    # unit vectors of two opposite headings add to nothing, of a turn through 120 degrees to
    # sin(60°) / (pi / 3) = 0.83 of their number
    assert np.isnan(heading_of([40.0, 220.0] * 3))
    assert np.isnan(heading_of(np.linspace(40.0, 160.0, 30)))


def settled(shaft: np.ndarray) -> np.ndarray:
    """Which bins differ from none of the minute before by more than 5 %, one by one."""
    found = []
    for k, now in enumerate(shaft):
        before = [shaft[max(k - back, 0)] for back in (1, 2)]
        found.append(all(abs(now - one) <= 0.05 * now for one in before))
    return np.array(found)


@pytest.mark.parametrize("shaft", [
    [10.0, 10, 10, 12, 10, 10, 10, 10],  # one half minute of more throttle
    [10.0, 10, 10, 12, 12, 12, 12, 12],
    [10.0, 10, 10.5, 10.5, 10.5, 11.1, 11.1, 11.1],  # 4.8 % more, and 5.4 %
])  # fmt: skip
def test_the_propeller_counts_where_it_turned_alike_for_a_minute(shaft):
    shaft = np.array(shaft)
    found = stream_bins._driving(shaft, 0.9 * shaft**3)  # the load of a propeller: its cube
    np.testing.assert_array_equal(np.isfinite(found), settled(shaft))
