"""Readings on a grid and in steps against pandas, on irregular times with holes."""

from itertools import pairwise
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from analyzer.series.derived import (
    cell_temp_c,
    filled,
    held_current_a,
    mean_cell_v,
)
from analyzer.series.operating import propulsion_power_w, shaft_rps, unaided
from analyzer.series.resample import Gatherer, highest
from analyzer.series.series import Series, load, on_grid
from logger.boat import Hotel
from logger.channels import find


def readings(seed: int, n: int = 400) -> tuple[np.ndarray, np.ndarray]:
    """Irregular times, some of them twice, with holes of minutes; some values missing."""
    rng = np.random.default_rng(seed)
    gaps = rng.exponential(0.9e6, n) * (1 + 60 * (rng.random(n) < 0.02))
    t_us = np.cumsum(np.round(gaps)).astype(np.int64) - 20_000_000
    return t_us, np.where(rng.random(n) < 0.1, np.nan, rng.normal(size=n))


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize(("step_s", "hold_s"), [(1.0, 2.5), (0.5, 0.0), (2.0, 30.0), (5.0, 5.0)])
def test_on_grid_equals_pandas(seed, step_s, hold_s):
    t_us, values = readings(seed)
    n, t0 = 180, -3_000_000
    frame = pd.Series(values, index=t_us).dropna()
    cells = np.floor((frame.index.to_numpy() - t0) / (step_s * 1e6))
    means = frame.groupby(cells).mean().reindex(np.arange(float(n)))
    held = int(hold_s // step_s)
    want = means.ffill(limit=held) if held else means
    got = on_grid(t_us, values, t0, step_s, n, hold_s)
    np.testing.assert_allclose(got, want.to_numpy(), rtol=1e-12, atol=1e-12)


class OneChannel:
    """A log with one channel of given readings, asked as a store is."""

    def __init__(self, name: str, t_us: np.ndarray, values: np.ndarray) -> None:
        self.name, self.t_us, self.values = name, t_us, values

    def read(self, name: str, start_us: int, end_us: int):
        inside = (self.t_us >= start_us) & (self.t_us < end_us)
        keep = inside & (name == self.name)
        return self.t_us[keep], self.values[keep]


@pytest.mark.parametrize("every_s", [0.7, 3.0, 9.0, 16.0, 40.0, 200.0])
def test_load_holds_for_two_and_a_half_intervals_or_until_a_slow_one_s_next(every_s):
    rng = np.random.default_rng(1)
    t_us = np.round(np.cumsum(np.full(60, every_s * 1e6))).astype(np.int64)
    t_us = np.delete(t_us, [10, 11, 12, 13, 30, 31])
    values = rng.normal(size=len(t_us))
    end_us = int(t_us[-1]) + 60_000_000
    series = load(OneChannel("pack_voltage_v", t_us, values), ("pack_voltage_v", "x"), 0, end_us)
    assert list(series.values) == ["pack_voltage_v"]
    assert series.n == int(np.ceil(end_us / 1e6))
    hold_s = min(max(2.5 * every_s, 2.0), max(30.0, min(1.25 * every_s, 120.0)))
    last, since = np.nan, 10**9
    for k in range(series.n):
        here = values[(t_us >= k * 1e6) & (t_us < (k + 1) * 1e6)]
        last, since = (here.mean(), 0) if len(here) else (last, since + 1)
        want = last if since <= hold_s else np.nan
        np.testing.assert_allclose(series.get("pack_voltage_v")[k], want, err_msg=str(k))


def test_angles_are_averaged_as_directions():
    t_us = np.array([0, 200_000, 400_000, 1_200_000])
    log = OneChannel("course_ground_deg", t_us, np.array([350.0, 355.0, 15.0, 90.0]))
    course = load(log, ["course_ground_deg"], 0, 2_000_000).get("course_ground_deg")
    mean = np.exp(1j * np.radians([350.0, 355.0, 15.0])).mean()
    np.testing.assert_allclose(course, [np.degrees(np.angle(mean)) % 360, 90.0])


def test_series_cut_and_times():
    series = Series(5_000_000, 0.5, 10, {"a": np.arange(10.0)})
    part = series.cut(3, 7)
    assert (part.t0_us, part.n) == (6_500_000, 4)
    np.testing.assert_array_equal(part.get("a"), [3, 4, 5, 6])
    np.testing.assert_array_equal(part.t_utc_s, [6.5, 7.0, 7.5, 8.0])
    assert series.cut(-4, 99).n == 10
    assert series.cut(8, 3).n == 0
    assert series.has("a")
    assert not series.has("a", "b")


def pieces(series: Series, seed: int):
    rng = np.random.default_rng(seed)
    edges = np.unique(np.concatenate([[0, series.n], rng.integers(0, series.n, 12)]))
    return [series.cut(int(a), int(b)) for a, b in pairwise(edges)]


CHANNELS = ("pack_voltage_v", "pack_current_a^2", "pack_temp_c", "not_there")


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(("step_s", "grid_s"), [(10.0, 1.0), (10.0, 3.0), (7.0, 1.0), (60.0, 10.0)])
def test_gathered_steps_equal_pandas(seed, step_s, grid_s):
    rng = np.random.default_rng(seed)
    n = 300
    values = {
        name: np.where(rng.random(n) < 0.3, np.nan, rng.normal(5.0, 30.0, n))
        for name in ("pack_voltage_v", "pack_current_a", "pack_temp_c")
    }
    log = Series(1_234_500_000, grid_s, n, values)
    most = {"pack_voltage_v": 60.0, "pack_temp_c": 40.0}
    gatherer = Gatherer(step_s, CHANNELS, most)
    got = [gatherer.add(piece) for piece in pieces(log, seed)]
    ends, means = np.concatenate([e for e, _ in got]), np.concatenate([m for _, m in got])
    frame = pd.DataFrame(values)
    for name, size in most.items():
        frame.loc[frame[name].abs() > size, name] = np.nan
    frame["pack_current_a^2"] = frame["pack_current_a"] ** 2
    frame["not_there"] = np.nan
    step = (1_234_500_000 + np.arange(n) * int(grid_s * 1e6)) // int(step_s * 1e6)
    want = frame[list(CHANNELS)].groupby(step).mean()
    want["pack_temp_c"] = frame["pack_temp_c"].groupby(step).apply(trimmed)
    want = want.iloc[:-1]  # the last step is not complete
    np.testing.assert_allclose(ends, (want.index.to_numpy() + 1) * step_s)
    np.testing.assert_allclose(means, want.to_numpy(), rtol=1e-9, atol=1e-9)


def trimmed(values: pd.Series) -> float:
    """Mean without the highest and the lowest, where there are five or more."""
    there = np.sort(values.dropna().to_numpy())
    if len(there) >= 5:
        there = there[1:-1]
    return float(there.mean()) if len(there) else np.nan


def test_highest_is_the_larger_side_of_the_catalogues_range():
    volts, amps = find("pack_voltage_v"), find("pack_current_a")
    got = highest(("pack_voltage_v", "pack_current_a", "no_such_channel"))
    assert got == {
        "pack_voltage_v": max(-volts.low, volts.high),
        "pack_current_a": max(-amps.low, amps.high),
    }


@pytest.mark.parametrize("seed", range(4))
def test_held_current_and_filled_equal_pandas(seed):
    rng = np.random.default_rng(seed)
    n, step_s = 200, 5.0
    there = np.repeat(rng.random(20) < 0.5, 10)
    current = np.where(there & (rng.random(n) < 0.8), rng.normal(20, 5, n), np.nan)
    series = Series(0, step_s, n, {"pack_current_a": current})
    held, unknown = held_current_a(series)
    want = pd.Series(current).ffill(limit=6)  # 30 s of 5 s
    np.testing.assert_array_equal(held, want.fillna(0.0))
    np.testing.assert_array_equal(unknown, want.isna())
    np.testing.assert_array_equal(filled(current, 7.0), pd.Series(current).ffill().bfill())
    np.testing.assert_array_equal(filled(np.full(3, np.nan), 7.0), [7.0] * 3)


def test_mean_cell_from_pack_from_cells_from_blocks():
    pack = SimpleNamespace(cells_in_series=4, blocks_in_series=2)
    rng = np.random.default_rng(1)
    cells = {f"cell_{i:02d}_voltage_v": rng.uniform(3, 3.4, 5) for i in range(1, 5)}
    blocks = {f"block_{i}_voltage_v": rng.uniform(6, 6.8, 5) for i in (1, 2)}
    whole = {"pack_voltage_v": np.full(5, 13.2)}

    def mean(values: dict) -> np.ndarray:
        return mean_cell_v(Series(0, 1.0, 5, values), pack)

    np.testing.assert_allclose(mean(whole | cells | blocks), 3.3)
    np.testing.assert_allclose(mean(cells | blocks), np.mean(list(cells.values()), axis=0))
    np.testing.assert_allclose(mean(blocks), np.sum(list(blocks.values()), axis=0) / 4)
    del cells["cell_03_voltage_v"]
    assert np.isnan(mean(cells)).all()


def test_cells_temperature_by_preference():
    one, other = np.array([np.nan, 12.0, np.nan]), np.array([9.0, 9.0, 9.0])
    series = Series(0, 1.0, 3, {"cell_02_temp_c": one, "ambient_temp_c": other})
    np.testing.assert_array_equal(cell_temp_c(series), [12.0, 12.0, 12.0])
    series.values["pack_temp_c"] = np.array([np.nan, 15.0, 16.0])
    np.testing.assert_array_equal(cell_temp_c(series), [15.0, 15.0, 16.0])
    np.testing.assert_array_equal(
        cell_temp_c(Series(0, 1.0, 3, {"motor_temp_c": one, "ambient_temp_c": other})), other
    )
    np.testing.assert_array_equal(cell_temp_c(Series(0, 1.0, 2, {})), [20.0, 20.0])


def boat(in_pack_current: bool = True) -> SimpleNamespace:
    hotel = Hotel(power_w=60.0, measured_in_pack_current=in_pack_current)
    return SimpleNamespace(hotel=hotel, motor=SimpleNamespace(gear_ratio=2.2))


@pytest.mark.parametrize("in_pack_current", [True, False])
def test_propulsion_power_balances_sample_by_sample(in_pack_current):
    rng = np.random.default_rng(2)
    n = 300
    names = ("pack_voltage_v", "pack_current_a", "solar_power_w", "shore_power_w")
    names += ("hotel_power_w", "controller_voltage_v", "controller_current_a")
    values = {k: np.where(rng.random(n) < 0.4, np.nan, rng.uniform(1, 90, n)) for k in names}
    got = propulsion_power_w(Series(0, 1.0, n, values), boat(in_pack_current))
    for k in range(n):
        v = {name: float(values[name][k]) for name in names}
        hotel = 60.0 if in_pack_current else 0.0
        hotel = hotel if np.isnan(v["hotel_power_w"]) else v["hotel_power_w"]
        power = v["pack_voltage_v"] * v["pack_current_a"] - hotel
        for source in ("solar_power_w", "shore_power_w"):
            power += 0.0 if np.isnan(v[source]) else v[source]
        if np.isnan(power):
            volts = v["controller_voltage_v"]
            volts = v["pack_voltage_v"] if np.isnan(volts) else volts
            power = volts * v["controller_current_a"]
        np.testing.assert_allclose(got[k], power)


def test_shaft_speed_is_measured_else_the_motors_over_the_ratio():
    shaft, motor = np.array([5.0, np.nan, np.nan]), np.array([22.0, 22.0, np.nan])
    series = Series(0, 1.0, 3, {"shaft_speed_rps": shaft, "motor_speed_rps": motor})
    np.testing.assert_allclose(shaft_rps(series, boat()), [5.0, 10.0, np.nan])
    np.testing.assert_allclose(shaft_rps(series, None), shaft)


@pytest.mark.parametrize("seed", range(5))
def test_unaided_is_power_over_the_cube_of_revolutions(seed):
    # usual: the 60th percentile; kept from 0.87 to 1.6 of it (the module's figures)
    rng = np.random.default_rng(seed)
    n = 60
    shaft = np.where(rng.random(n) < 0.1, np.nan, rng.uniform(3, 12, n) * rng.choice([1, -1], n))
    load = rng.choice([0.3, 0.7, 0.9, 1.0, 1.1, 1.5, 1.8], n)
    power = load * np.abs(shaft) ** 3 * 1.3
    ok = rng.random(n) < 0.8
    known = sorted(1.3 * load[k] for k in range(n) if ok[k] and np.isfinite(shaft[k]))
    place = 0.6 * (len(known) - 1)
    low = known[int(place)]
    usual = low + (place - int(place)) * (known[int(place) + 1] - low)
    got = unaided(power, shaft, ok)
    for k in range(n):
        off = np.isfinite(shaft[k]) and not 0.87 * usual <= 1.3 * load[k] <= 1.6 * usual
        assert got[k] == (ok[k] and not off)
    np.testing.assert_array_equal(unaided(power, np.full(n, np.nan), ok), ok)
