"""Limits that one bad reading does not trip and that do not flap."""

import numpy as np

from analyzer.flags.threshold import Threshold


def seconds(n: int) -> np.ndarray:
    return np.arange(float(n))


def test_one_bad_reading_trips_nothing():
    limit = Threshold(60.0, 55.0, above=True, hold_s=5.0)
    values = np.full(100, 40.0)
    values[50] = 200.0
    assert not limit.see(seconds(100), values)
    assert not limit.live


def test_it_trips_after_the_hold_and_tells_the_worst():
    limit = Threshold(60.0, 55.0, above=True, hold_s=5.0)
    values = np.full(20, 61.0)
    values[8:] = 64.0
    assert not limit.see(seconds(5), values[:5])
    assert limit.see(seconds(20)[5:], values[5:])
    assert limit.value == 64.0


def test_sparse_readings_need_three():
    limit = Threshold(60.0, 55.0, above=True, hold_s=5.0)
    assert not limit.see(np.array([0.0, 60.0]), np.array([70.0, 70.0]))
    assert limit.see(np.array([120.0]), np.array([70.0]))


def test_wobbling_about_the_trip_does_not_flap():
    limit = Threshold(60.0, 55.0, above=True, hold_s=3.0, clear_s=10.0)
    t = seconds(600)
    values = 60.0 + 2.0 * np.sin(t / 7)
    values[:30] = 62.0
    turns = [limit.see(t[k : k + 1], values[k : k + 1]) for k in range(600)]
    assert sum(a != b for a, b in zip(turns[1:], turns, strict=False)) == 1


def test_below_and_clearing():
    limit = Threshold(3.0, 3.1, above=False, hold_s=2.0, clear_s=5.0)
    assert limit.see(seconds(10), np.full(10, 2.9))
    assert limit.see(seconds(10) + 10, np.full(10, 3.05))  # not yet on the safe side
    assert not limit.see(seconds(10) + 20, np.full(10, 3.2))


def test_missing_readings_are_no_readings():
    limit = Threshold(3.0, 3.1, above=False, hold_s=2.0)
    values = np.array([2.9, np.nan, np.nan, 2.9, np.nan])
    assert not limit.see(seconds(5), values)
    assert limit.see(np.array([5.0]), np.array([2.9]))


def test_it_is_live_on_its_way():
    limit = Threshold(60.0, 55.0, above=True, hold_s=5.0)
    limit.see(seconds(2), np.array([61.0, 61.0]))
    assert limit.live
    assert not limit.active


def test_a_good_reading_between_begins_the_count_anew():
    limit = Threshold(60.0, 55.0, above=True, hold_s=5.0)
    times = 60.0 * seconds(6)
    turns = [limit.see(times[k : k + 1], np.array([v])) for k, v in
             enumerate((70.0, 40.0, 70.0, 70.0, 70.0, 70.0))]  # fmt: skip
    assert turns.index(True) == 4, "the third in a row"
