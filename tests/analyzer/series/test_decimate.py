"""Thinning for drawing: every peak is held, gaps stay gaps; checked against plain loops."""

import numpy as np
import pytest

from analyzer.series import decimate
from analyzer.series.series import Series
from logger.reading import (
    EXACT,
    Block,
    Group,
    UtcFix,
)
from logger.store import Store

S = 1_000_000
START_US = 1_780_012_345_000_000  # not at a minute's or a day's beginning


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    """Three and a half days of one reading a second, with a gap and a spike of one second."""
    rng = np.random.default_rng(4)
    n = 300_000
    amps = np.cumsum(rng.normal(0, 0.3, n)).round(2)
    amps[123_456] = 900.0
    keep = np.ones(n, bool)
    keep[50_000:70_000] = False
    t_us = np.arange(n, dtype=np.int64)[keep] * S
    path = tmp_path_factory.mktemp("long") / "log.sqlite"
    with Store.open(path, write=True) as store:
        writer = store.writer("boot")
        writer.add(UtcFix(0, START_US, "file", 0.001))
        writer.add(Block(Group("g", ("pack_current_a",), (EXACT,)), t_us, amps[keep, None]))
        writer.close()
        yield store, START_US + t_us, amps[keep]


def values(plot):
    return np.array([np.nan if v is None else v for v in plot.series["pack_current_a"]])


@pytest.mark.parametrize("points", [10, 301, 2400])
@pytest.mark.parametrize(("first", "last"), [(0, 300_000), (100_000, 130_000), (123_400, 123_500)])
def test_window_holds_the_extremes_of_what_it_covers(log, points, first, last):
    store, t_us, amps = log
    plot = decimate.window(
        store, ["pack_current_a"], START_US + first * S, START_US + last * S, points
    )
    inside = amps[(t_us >= START_US + first * S) & (t_us < START_US + last * S)]
    assert np.nanmax(values(plot)) == max(inside.max(), np.nanmax(values(plot)))
    assert np.nanmax(values(plot)) >= inside.max()
    assert np.nanmin(values(plot)) <= inside.min()
    assert {np.nanmax(values(plot)), np.nanmin(values(plot))} <= set(amps)
    assert len(plot.t_utc_s) <= points + 2
    assert np.all(np.diff(plot.t_utc_s) > 0)


def test_each_bin_holds_its_own_extremes(log):
    store, t_us, amps = log
    step_s, n = 10, 60
    start_us = START_US + 123_000 * S
    plot = decimate.window(store, ["pack_current_a"], start_us, start_us + n * step_s * S, 2 * n)
    found = values(plot).reshape(n, 2)
    for k in range(n):
        lies = (t_us >= start_us + k * step_s * S) & (t_us < start_us + (k + 1) * step_s * S)
        assert sorted(found[k]) == [amps[lies].min(), amps[lies].max()]


def test_a_gap_stays_a_gap_near_and_far(log):
    store, *_ = log
    for first, last in ((40_000, 80_000), (0, 300_000)):
        plot = decimate.window(
            store, ["pack_current_a"], START_US + first * S, START_US + last * S, 400
        )
        middle = START_US / 1e6 + 60_000
        k = int(np.argmin(np.abs(np.array(plot.t_utc_s) - middle)))
        assert plot.series["pack_current_a"][k] is None


def test_remembered_minutes_give_the_same_and_ask_the_log_no_more(log, monkeypatch):
    store, t_us, _ = log
    overview = decimate.Overview()
    ask = (["pack_current_a"], int(t_us[0]), int(t_us[-1]), 1000)
    fresh = decimate.window(store, *ask)
    assert decimate.window(store, *ask, overview) == fresh
    asked = []
    read = store.extremes
    monkeypatch.setattr(store, "extremes", lambda *a: asked.append(a) or read(*a))
    assert decimate.window(store, *ask, overview) == fresh
    assert len(asked) == 1  # only the day that is not over


def test_days_are_read_ahead_the_newest_first_until_all_are_known(log, monkeypatch):
    store, t_us, _ = log
    overview = decimate.Overview()
    last = int(t_us[-1]) // decimate.DAY_US
    rounds = 0
    while decimate.remember_day(store, ["pack_current_a"], overview):
        rounds += 1
    assert rounds == last - int(t_us[0]) // decimate.DAY_US  # all but the day that is not over
    monkeypatch.setattr(overview, "minutes", None)
    assert not decimate.remember_day(store, ["pack_current_a"], overview)


def test_a_slow_channel_is_drawn_on_to_its_next_reading():
    first = np.full(20, np.nan)
    first[[0, 10]] = 5.0, 6.0
    held = decimate._held((first, first), 12)[0]
    assert held.tolist() == [5.0] * 10 + [6.0] * 10


def test_thinned_series_holds_peaks_and_means():
    row = np.zeros(10_000)
    row[4321] = 7.0
    row[100:200] = np.nan
    series = Series(0, 1.0, len(row), {"a": row, "b": row})
    plot = decimate.thinned(series, 200, means=("b",))
    assert len(plot.t_utc_s) == 200
    assert max(v for v in plot.series["a"] if v is not None) == 7.0
    assert max(v for v in plot.series["b"] if v is not None) == pytest.approx(0.07)  # 7 over 100
    assert plot.series["a"][2:4] == [None, None]
    whole = decimate.thinned(series.cut(4300, 4400), 200)
    assert whole.t_utc_s[21] == 4321.0
    assert whole.series["a"][21] == 7.0
