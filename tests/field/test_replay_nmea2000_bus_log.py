"""A NMEA 2000 bus of a boat lying still, replayed into a log and read back value for value.

Expected values: GPSD project, see the folder's README.
"""

import csv
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from logger.store import Store
from replay.player import Player, open_recordings, play

pytestmark = pytest.mark.field
EVER = (0, 2**62)


@pytest.fixture(scope="module")
def folder(shared_data: Path) -> Path:
    return shared_data / "nmea2000_bus_log"


@pytest.fixture(scope="module")
def played(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Store, Player]:
    path = tmp_path_factory.mktemp("log") / "log.sqlite"
    source = open_recordings([folder / "bus.candump.log"])
    with Store.open(path, write=True) as store, store.writer("bus") as writer:
        play(source, writer)
    return Store.open(path), source


def test_depth_is_that_decoded_by_gpsd(folder: Path, played: tuple[Store, Player]):
    with (folder / "expected_depth.csv").open() as stream:
        expected = [float(row["depth_m"]) for row in csv.DictReader(stream)]
    assert len(expected) == 98
    assert played[0].read("depth_m", *EVER)[1].tolist() == expected


def expected_rows(folder: Path) -> list[tuple[int, dict[str, float]]]:
    """UTC seconds and values."""
    rows = []
    with (folder / "expected_position.csv").open() as stream:
        for row in csv.DictReader(stream):
            moment = datetime.fromisoformat(row.pop("time_utc"))
            values = {name: float(text) for name, text in row.items() if text}
            rows.append((round(moment.timestamp()), values))
    return rows


def test_height_of_129029_is_that_decoded_by_gpsd(folder: Path, played: tuple[Store, Player]):
    """The expected file holds the first height throughout, while the bus goes on to others."""
    store, _ = played
    height = store.read("other_gnss_altitude_wgs84_m", *EVER)[1]
    geoid = store.read("other_gnss_geoid_m", *EVER)[1]
    (expected,) = {values["altitude_msl_m"] for _, values in expected_rows(folder)}
    got = np.round(height - geoid, 4)
    assert (got[:14] == expected).all()
    assert (np.abs(got - expected) < 0.5).all()


def test_places_come_in_the_order_decoded_by_gpsd(folder: Path, played: tuple[Store, Player]):
    store, _ = played
    latitude, longitude = (store.read(f"{n}_deg", *EVER)[1] for n in ("latitude", "longitude"))
    got = list(dict.fromkeys(zip(latitude.round(7), longitude.round(7), strict=True)))
    places = ((v["latitude_deg"], v["longitude_deg"]) for _, v in expected_rows(folder))
    expected = list(dict.fromkeys(places))
    assert [place for place in got if place in expected] == expected
    # 129029 has more digits than 129025, so one place can round to its neighbour.
    assert all(np.abs(np.subtract(place, expected)).sum(axis=1).min() < 2.1e-7 for place in got)


def test_places_are_among_those_on_the_bus(folder: Path, played: tuple[Store, Player]):
    """Every place that GPSD gives is in the log, in its second or the one beside it."""
    store, _ = played
    t_us, latitude = store.read("latitude_deg", *EVER)
    longitude = store.read("longitude_deg", *EVER)[1]
    for second, values in expected_rows(folder):
        near = (t_us >= (second - 1) * 1e6) & (t_us < (second + 2) * 1e6)
        off = np.abs(latitude[near] - values["latitude_deg"])
        off += np.abs(longitude[near] - values["longitude_deg"])
        assert off.min() < 1.1e-7, second


def test_speeds_are_among_those_on_the_bus(folder: Path, played: tuple[Store, Player]):
    store, _ = played
    t_us, speed = store.read("speed_ground_mps", *EVER)
    for second, values in expected_rows(folder):
        near = (t_us >= (second - 1) * 1e6) & (t_us < (second + 2) * 1e6)
        assert values["speed_m_s"] in np.round(speed[near], 3), second


def test_battery_is_about_what_the_readme_says(played: tuple[Store, Player]):
    """README: about 12.5 V and -6 A; the bus counts charging, we count giving."""
    store, _ = played
    voltage = store.read("pack_voltage_v", *EVER)[1]
    current = store.read("pack_current_a", *EVER)[1]
    assert len(voltage) == len(current) == 69
    assert abs(voltage.mean() - 12.5) < 0.2
    assert 5 < current.mean() < 7


def test_bus_time_dates_the_log(folder: Path, played: tuple[Store, Player]):
    """The recorder's clock is about 18 minutes off the bus time; the bus wins."""
    (boot,) = played[0].boots()
    first = float((folder / "bus.candump.log").read_text()[1:18])
    off_min = (first - boot.timeline_offset_us / 1e6) / 60
    assert 17 < off_min < 23


def test_what_was_not_read_is_counted(folder: Path, played: tuple[Store, Player]):
    counts = played[1].counters["can"].as_dict()
    text = (folder / "bus.candump.log").read_text()
    assert counts["frames"] == len(text.splitlines()) == 4895
    unknown = sum(text.count(f" {number}#") for number in ("19FA0302", "19FA0402"))
    assert counts["unknown_id"] == unknown
    assert counts["lost_packet"] <= 4  # the log was cut in two by time
