import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from logger.reading import Block, Group, Quantum
from logger.store import Store, TripRecord
from logger.store.packing.thin import by_cells
from tests.support.flag_records import flag_record

S = 1_000_000
DAY_US = 86400 * S
ALL = -(2**62), 2**62
GROUP = Group(
    "nav/1",
    ("pack_current_a", "heading_true_deg", "controller_fault_code"),
    (Quantum(0.1), Quantum(0.1), Quantum(1.0)),
)


def two_days(store):
    """An hour on each of two days, one reading a second; the current is missing now and then."""
    rng = np.random.default_rng(3)
    written = []
    with store.writer("boot-a", flush_s=1e9) as writer:
        for day in range(2):
            n = 3600
            current_a = np.round(rng.normal(30, 10, n), 1)
            current_a[rng.random(n) < 0.1] = np.nan
            current_a[100:140] = np.nan
            heading = np.round(rng.normal(0, 5, n) % 360, 1) % 360
            code = np.repeat(rng.integers(0, 9, n // 60), 60).astype(float)
            t_us = day * DAY_US + np.arange(n) * S
            values = np.column_stack([current_a, heading, code])
            writer.add(Block(GROUP, t_us, values))
            writer.seal()
            written.append((t_us, values))
    return written


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "boat.log", write=True) as opened:
        yield opened


@pytest.fixture
def thinned(store):
    written = two_days(store)
    before = store.summary("pack_current_a", *ALL), store.used_bytes()
    with store.writer("boot-b") as writer:
        assert writer.thin(DAY_US) == 1
    return store, written, before


def test_thin_leaves_ten_second_points_of_the_old_day_and_all_of_the_new(thinned):
    store, written, _ = thinned
    t_us, _ = store.read("heading_true_deg", *ALL)
    assert len(t_us) == 360 + 3600
    assert np.array_equal(t_us[360:], written[1][0])
    assert np.all(np.abs(t_us[:360] - (np.arange(360) * 10 + 4.5) * S) <= 1000)


def test_thinned_points_hold_lowest_mean_and_highest_of_their_readings(thinned):
    store, written, _ = thinned
    t_us, low, mean, high = store.extremes("pack_current_a", 0, DAY_US)
    current_a = written[0][1][:, 0].reshape(360, 10)
    there = np.isfinite(current_a).any(axis=1)
    assert there.sum() == 356  # four of the missing forty seconds' points
    assert len(t_us) == there.sum()
    for point, readings in zip(zip(low, mean, high, strict=True), current_a[there], strict=True):
        readings = readings[np.isfinite(readings)]
        assert point[0] == readings.min()
        assert point[1] == pytest.approx(readings.mean(), abs=0.0501)  # kept at a tenth
        assert point[2] == readings.max()


def test_extremes_of_full_readings_are_the_readings(thinned):
    store, _, _ = thinned
    t_us, low, mean, high = store.extremes("pack_current_a", DAY_US, 2 * DAY_US)
    assert np.array_equal(mean, store.read("pack_current_a", DAY_US, 2 * DAY_US)[1])
    assert np.array_equal(low, mean)
    assert np.array_equal(high, mean)
    assert len(t_us) == len(mean)


def test_thinned_headings_around_north_stay_around_north(thinned):
    store, _, _ = thinned
    _, values = store.read("heading_true_deg", 0, DAY_US)
    assert np.all((values < 30) | (values > 330))
    assert np.all((values >= 0) & (values <= 360))


def test_thinned_codes_stay_codes(thinned):
    store, written, _ = thinned
    _, values = store.read("controller_fault_code", 0, DAY_US)
    assert values.tolist() == written[0][1][9::10, 2].tolist()


def test_summaries_are_those_of_the_full_readings(thinned):
    store, _, (before, _) = thinned
    assert store.summary("pack_current_a", *ALL) == before


def test_thinning_gives_room_and_is_not_repeated(thinned):
    store, _, (_, used) = thinned
    assert store.used_bytes() < used
    with store.writer("boot-b") as writer:
        assert writer.thin(DAY_US) == 0


def test_thin_stops_at_the_budget_oldest_first(store):
    two_days(store)
    with store.writer("boot-b") as writer:
        assert writer.thin(10 * DAY_US, above_bytes=10**9) == 0
        assert writer.thin(10 * DAY_US, above_bytes=store.used_bytes() - 1) == 1
    assert len(store.read("heading_true_deg", *ALL)[0]) == 360 + 3600


def test_thin_does_no_more_at_once_than_it_is_told(store):
    two_days(store)
    with store.writer("boot-b") as writer:
        assert [writer.thin(10 * DAY_US, at_most=1) for _ in range(3)] == [1, 1, 0]
    assert len(store.read("heading_true_deg", *ALL)[0]) == 2 * 360


def test_flags_and_trips_survive_thinning(store):
    two_days(store)
    number = store.add_flag(flag_record(raised_us=5))
    store.put_trips([TripRecord(1, 0, 3600 * S, {"wh": 5.0})])
    with store.writer("boot-b") as writer:
        writer.thin(10 * DAY_US)
    assert [f.number for f in store.flags()] == [number]
    assert store.trips() == [TripRecord(1, 0, 3600 * S, {"wh": 5.0})]


def test_a_reading_across_the_seam_of_thinned_and_full(thinned):
    store, _, _ = thinned
    t_us, _ = store.read("heading_true_deg", 3000 * S, DAY_US + 10 * S)
    assert len(t_us) == 60 + 10
    assert store.last("heading_true_deg")[0] == DAY_US + 3599 * S


# By hand: unit vectors of 350 and 20 degrees sum to the direction half way between, 5 degrees.
@pytest.mark.parametrize(
    ("name", "values", "mean"),
    [
        ("heading_true_deg", [350.0, 20.0], 5.0),
        ("heading_true_deg", [340.0, 350.0], 345.0),
        ("longitude_deg", [179.0, -179.0], 180.0),
        ("longitude_deg", [-10.0, -20.0], -15.0),
        ("latitude_deg", [-10.0, 20.0], 5.0),
        ("wind_angle_apparent_deg", [-10.0, 30.0], 10.0),
        ("controller_fault_code", [4.0, 7.0], 7.0),
        ("pack_current_a", [4.0, 7.0], 5.5),
    ],
)
def test_by_cells_means(name, values, mean):
    cells = by_cells(np.array([*values, np.nan]), np.array([0, 0, 0]), name)
    assert abs((cells.mean[0] - mean + 180) % 360 - 180) < 1e-9
    assert (cells.low[0], cells.high[0]) == (min(values), max(values))


@given(
    hnp.arrays(
        np.float64, st.integers(1, 60), elements=st.one_of(st.just(np.nan), st.floats(-3e3, 3e3))
    ),
    st.data(),
)
def test_by_cells_agrees_with_numpy_cell_by_cell(values, data):
    jumps = data.draw(hnp.arrays(np.int64, len(values) - 1, elements=st.integers(0, 1)))
    cell = np.concatenate([[0], np.cumsum(jumps)])
    cells = by_cells(values, cell, "pack_current_a")
    for k in range(cell[-1] + 1):
        own = values[(cell == k) & np.isfinite(values)]
        if not len(own):
            assert np.isnan([cells.low[k], cells.mean[k], cells.high[k]]).all()
        else:
            assert (cells.low[k], cells.high[k]) == (own.min(), own.max())
            assert cells.mean[k] == pytest.approx(own.mean(), abs=1e-9)
