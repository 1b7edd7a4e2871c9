"""Trips and legs on hand-made days; the expected figures are sums done by hand."""

import numpy as np
import pytest

from analyzer.series.series import Series
from analyzer.trips import trips
from tests.support.motor_boat import motor_boat

BOAT = motor_boat()


def day(*stretches: tuple[float, float, float]) -> Series:
    """Stretches of (seconds, amperes, metres per second) at 50 V."""
    amps = np.concatenate([np.full(round(s), float(a)) for s, a, _ in stretches])
    speed = np.concatenate([np.full(round(s), float(v)) for s, _, v in stretches])
    values = {
        "pack_current_a": amps,
        "pack_voltage_v": np.full(len(amps), 50.0),
        "speed_ground_mps": speed,
    }
    return Series(0, 1.0, len(amps), values)


def kinds(trip: trips.Trip) -> list[str]:
    return [leg.kind for leg in trip.legs]


def test_find_tells_motoring_sailing_and_a_pause_in_one_trip():
    log = day((600, 0, 0), (1200, 60, 2), (1200, -3, 2.5), (600, 0, 0), (1200, 40, 2), (900, 0, 0))
    found = trips.find(log, BOAT)
    assert len(found) == 1
    assert kinds(found[0]) == ["motoring", "sailing", "lying", "motoring"]
    assert found[0].start_us == pytest.approx(600e6, abs=31e6)
    assert found[0].end_us == pytest.approx(4800e6, abs=31e6)


def test_find_parts_trips_at_a_long_stop_and_charging_is_none():
    stop = trips.PAUSE_S + 600
    log = day((900, 50, 2), (stop, -30, 0), (900, 50, 2))
    found = trips.find(log, BOAT)
    assert [kinds(t) for t in found] == [["motoring"], ["motoring"]]
    charging = trips.label(log, BOAT)[900 : 900 + round(stop)]
    assert set(charging.tolist()) == {trips.KINDS.index("charging")}


def test_a_short_burst_of_power_is_no_leg_of_its_own():
    log = day((1800, 0, 2), (40, 60, 2), (1800, 0, 2))
    assert kinds(trips.find(log, BOAT)[0]) == ["sailing"]


def test_trip_row_sums_are_the_hand_sums():
    log = day((600, 0, 0), (1800, 60, 2), (600, -4, 2.5), (600, 0, 0))
    row = trips.trip_row(log, trips.find(log, BOAT)[0], 3)
    assert row.number == 3
    assert row.distance_m == pytest.approx(1800 * 2 + 600 * 2.5, rel=0.01)
    assert row.energy_out_wh == pytest.approx(60 * 50 * 0.5, rel=0.01)
    assert row.energy_in_wh == pytest.approx(4 * 50 / 6, rel=0.02)
    assert row.motoring_wh_per_m == pytest.approx(1500 / 3600, rel=0.02)
    assert row.charge_start.mid is None


def test_a_gap_has_no_distance_and_no_energy():
    log = day((3600, 60, 2))
    for values in log.values.values():
        values[1200:2400] = np.nan
    assert trips.distance_m(log) == pytest.approx(4800)
    assert trips.energy_wh(log)[0] == pytest.approx(60 * 50 * 2400 / 3600)
    assert set(trips.label(log, BOAT)[1300:2300].tolist()) == {trips.UNKNOWN}


def test_track_is_the_geodesic():
    # 0.01 degree north from 50° N on WGS 84: 1/50 of 55 616.939 - 35e-4 of it is not known apart,
    # so: 0.5 degree north is 55 616.939 m (geodesic, published test values); a hundredth of a
    # degree is a fiftieth of it within 20 ppm, as a meridian degree changes slowly.
    n = 1001
    lat = np.linspace(50.0, 50.5, n)
    values = {"latitude_deg": lat, "longitude_deg": np.full(n, 3.0)}
    log = Series(0, 30.0, n, values)
    assert trips.distance_m(log) == pytest.approx(55616.939, rel=1e-4)


def test_positions_across_a_long_gap_are_not_joined():
    lat = np.linspace(50.0, 50.5, 1001)
    lat[200:400] = np.nan
    log = Series(0, 30.0, 1001, {"latitude_deg": lat, "longitude_deg": np.full(1001, 3.0)})
    assert trips.distance_m(log) == pytest.approx(55616.939 * (1 - 201 / 1000), rel=1e-3)


def test_nothing_measured_is_no_trip():
    assert trips.find(Series(0, 1.0, 0, {}), BOAT) == []
    assert trips.find(Series(0, 1.0, 5000, {}), BOAT) == []
