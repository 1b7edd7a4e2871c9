"""Voyages by number: in the logger's terms, repeatable, and with a truth that holds."""

import math
import os

import numpy as np
import pytest
from pytest import approx

from logger.boat import from_table
from logger.channels import find
from replay.boatsim.boat import Faults
from tests.boats.random_day import Wish
from tests.boats.voyages import voyage


@pytest.fixture(scope="module")
def trip():
    """One voyage of a sound boat."""
    return voyage(3, faults="none")


def test_channels_are_the_loggers_and_plausible(trip):
    for name, value in trip.channels.items():
        channel = find(name)
        assert channel is not None, name
        assert value.shape == (trip.n,)
        seen = value[np.isfinite(value)]
        assert len(seen) > 0.5 * trip.n
        assert channel.low <= seen.min(), name
        assert seen.max() <= channel.high, name


def test_boat_table_loads(trip):
    boat = from_table(trip.boat_table, "voyage")
    assert boat.pack.cells_in_series == sum(k.startswith("cell_") for k in trip.channels)


def test_same_number_is_the_same_voyage_and_another_day_is_not(trip):
    again, other = voyage(3, faults="none"), voyage(3, day=1, faults="none")
    for name in ("pack_current_a", "latitude_deg", "heading_magnetic_deg"):
        assert np.array_equal(trip.channels[name], again.channels[name], equal_nan=True)
    assert other.boat_table["hull"] == trip.boat_table["hull"]
    assert other.true["speed_water_mps"][1200] != trip.true["speed_water_mps"][1200]


def test_ground_speed_is_water_speed_plus_stream(trip):
    m = trip.outing.motion
    motoring = m.doing == "motoring"
    way = np.radians(m.heading_deg[motoring])
    east = m.speed_water_mps[motoring] * np.sin(way) + m.stream_east_mps[motoring]
    assert east == approx(m.east_mps[motoring], abs=1e-9)


def test_truth_of_reach_is_what_the_rest_of_a_leg_then_spends():
    # The run-on's power, computed from held speed and mean weather, against the power that the
    # noisy simulation then really drew in the same leg.
    apart = []
    for seed in range(40) if os.environ.get("KEELWATT_FULL") else (2, 12):
        trip = voyage(seed, faults="none", wish=Wish(sail_frac=0.0))
        ask = trip.ask(0.6)
        if ask is None:
            continue
        before = slice(ask.at - 240, ask.at)
        spent = trip.true["pack_w"][before].mean()
        apart.append(ask.reach.pack_w[0] / spent - 1)
        left_ah = (ask.soc_frac - trip.outing.boat.reserve_frac) * float(
            trip.outing.boat.true_cells().capacity_ah.mean()
        )
        volts = trip.channels["pack_voltage_v"][before]
        by_hand_s = left_ah * np.nanmean(volts) / ask.reach.pack_w[0] * 3600
        if ask.reach.limit[0] == "reserve":
            assert ask.reach.duration_s[0] == approx(by_hand_s, rel=0.04)
    assert len(apart) >= 2
    assert np.quantile(np.abs(apart), 0.9) < 0.06
    assert abs(float(np.mean(apart))) < 0.03


def test_home_from_spends_what_reach_spends_in_still_water():
    trip = voyage(7, faults="none", wish=Wish(stream_mps=0.0, wind_mps=0.0, sail_frac=0.0))
    ask = trip.ask(0.7)
    assert ask is not None
    home = trip.home_from(ask.at, ask.speed_water_mps)
    far = math.hypot(trip.true["east_m"][ask.at], trip.true["north_m"][ask.at])
    assert home.home
    assert home.distance_m == approx(far, abs=45)
    if ask.reach.limit[0] == "reserve":
        used = (ask.soc_frac - home.soc_frac) / (ask.soc_frac - trip.outing.boat.reserve_frac)
        assert used == approx(home.distance_m / ask.reach.distance_m[0], rel=0.04)


def test_cutoff_ends_reach_before_the_reserve_when_a_cell_is_very_weak():
    weak = Faults(weak_cell=2, weak_factor=9.0)
    trip, sound = voyage(3, faults=weak), voyage(3, faults="none")
    fast = np.array([3.2])
    ask, sane = trip.ask(0.7, fast), sound.ask(0.7, fast)
    assert ask is not None
    assert sane is not None
    assert ask.reach.limit[1] in ("cell cut-off", "controller cutback")
    assert ask.reach.distance_m[1] < sane.reach.distance_m[1]


def test_wind_sensor_sees_true_wind_less_the_boats_own_way():
    # Vector sum: at rest it is the true wind; dead ahead the boat's speed adds to it.
    trip = voyage(6, faults="none", wind_sensor=True)
    wind, speed = trip.outing.scene.wind, trip.channels["wind_speed_apparent_mps"]
    assert np.nanmean(speed[:600]) == approx(wind.speed_mps, rel=0.15)
    steady = trip.outing.motion.doing[: trip.n] == "motoring"
    angle = np.radians(trip.channels["wind_angle_apparent_deg"])
    ahead = (speed * np.cos(angle) - trip.true["speed_water_mps"])[steady]
    from_rad = np.radians(wind.from_deg + wind.veer_deg_h * np.arange(trip.n)[steady] / 3600)
    along = wind.speed_mps * np.cos(from_rad - np.radians(trip.true["heading_true_deg"][steady]))
    assert np.nanmean(ahead - along) == approx(0.0, abs=0.35)
