import numpy as np
from pytest import approx

from analyzer.series.series import Series, load, on_grid


class FakeStore:
    """Channels in memory, read as the store reads them."""

    def __init__(self, **channels):
        self.channels = channels

    def read(self, name, start_us, end_us):
        t_us, values = self.channels.get(name, (np.array([], np.int64), np.array([])))
        inside = (t_us >= start_us) & (t_us < end_us)
        return t_us[inside], values[inside]


def seconds(*at):
    return np.array([round(t * 1e6) for t in at], np.int64)


def test_on_grid_takes_the_mean_inside_a_cell():
    grid = on_grid(seconds(0.1, 0.6, 1.2), np.array([1.0, 3.0, 5.0]), 0, 1.0, 2, 0.0)
    assert grid == approx([2.0, 5.0])


def test_on_grid_holds_a_value_only_so_long():
    grid = on_grid(seconds(0.0, 6.0), np.array([1.0, 7.0]), 0, 1.0, 7, 2.0)
    assert grid[:3] == approx([1.0, 1.0, 1.0])
    assert np.isnan(grid[3:6]).all()
    assert grid[6] == 7.0


def test_on_grid_never_looks_forward():
    grid = on_grid(seconds(2.0), np.array([1.0]), 0, 1.0, 4, 10.0)
    assert np.isnan(grid[:2]).all()


def test_load_averages_angles_on_the_circle():
    store = FakeStore(course_ground_deg=(seconds(0.1, 0.5), np.array([350.0, 10.0])))
    series = load(store, ["course_ground_deg"], 0, 1_000_000)
    turned = (series.values["course_ground_deg"][0] + 180.0) % 360.0
    assert turned == approx(180.0, abs=1e-9)


def test_load_leaves_a_gap_a_gap():
    t = np.concatenate([np.arange(10.0), np.arange(100.0, 110.0)])
    store = FakeStore(pack_voltage_v=(seconds(*t), np.full(20, 52.0)))
    series = load(store, ["pack_voltage_v", "pack_current_a"], 0, 110_000_000)
    assert not series.has("pack_current_a")
    assert np.isnan(series.get("pack_voltage_v")[20:100]).all()
    assert series.get("pack_voltage_v")[105] == 52.0


def test_cut_keeps_the_clock():
    series = Series(5_000_000, 1.0, 4, {"pack_voltage_v": np.arange(4.0)})
    part = series.cut(1, 3)
    assert part.t0_us == 6_000_000
    assert part.values["pack_voltage_v"] == approx([1.0, 2.0])


def test_load_holds_a_slow_channel_until_its_next_reading():
    """One reading a minute: no minute's second half is missing, and a gap of hours is."""
    t = np.concatenate([np.arange(0.0, 600.0, 60.0), np.arange(9000.0, 9600.0, 60.0)])
    store = FakeStore(pack_current_a=(seconds(*t), np.full(20, 3.0)))
    amps = load(store, ["pack_current_a"], 0, 9_600_000_000).get("pack_current_a")
    assert (amps[:600] == 3.0).all()
    assert np.isnan(amps[640:9000]).all()


def test_load_follows_a_logger_that_is_set_to_a_slower_rate():
    """Every second for 20 minutes, then every two minutes for 40: every second of it is read, so
    that a steady 3600 W give 3600 Wh in the hour, as arithmetic has it."""
    t = np.concatenate([np.arange(1200.0), np.arange(1200.0, 3600.0, 120.0)])
    store = FakeStore(pack_voltage_v=(seconds(*t), np.full(len(t), 3600.0)))
    power_w = load(store, ["pack_voltage_v"], 0, 3_600_000_000).get("pack_voltage_v")
    assert np.nansum(power_w) / 3600.0 == approx(3600.0)


def test_load_takes_no_few_silences_for_a_slower_rate():
    """Two silences of 20 s among readings of every second stay gaps."""
    t = np.concatenate([np.arange(50.0), [70.0], np.arange(90.0, 150.0)])
    store = FakeStore(pack_voltage_v=(seconds(*t), np.full(len(t), 52.0)))
    volts = load(store, ["pack_voltage_v"], 0, 150_000_000).get("pack_voltage_v")
    assert np.isnan(volts[53:70]).all()
    assert np.isnan(volts[73:90]).all()


def test_load_takes_a_channel_of_few_readings():
    """One, two or three are held for what is usual, or for two steps where nothing tells it."""
    for count in (1, 2, 3):
        store = FakeStore(pack_voltage_v=(seconds(*range(count)), np.full(count, 52.0)))
        volts = load(store, ["pack_voltage_v"], 0, 60_000_000).get("pack_voltage_v")
        assert np.isfinite(volts[: count + 1]).all()
        assert np.isnan(volts[count + 2 :]).all()
