"""What leaves the log as CSV and GPX is what was written into it."""

import csv
import io

import gpxpy
import numpy as np
import pytest

from analyzer.errors import NoTrip
from analyzer.faces import table, track
from logger.sources.source import EXACT, Block, Group, UtcFix
from logger.store import Store, TripRecord

START_US = 1_782_887_400_000_000  # 2026-07-01 06:30 UTC
PACK = Group("t/pack", ("pack_voltage_v", "pack_current_a"), (EXACT, EXACT))
PLACE = Group("t/place", ("latitude_deg", "longitude_deg"), (EXACT, EXACT))


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "log.sqlite", write=True) as store:
        writer = store.writer("boot")
        writer.add(UtcFix(0, START_US, "file", 1.0))
        t_us = np.arange(10, dtype=np.int64) * 1_000_000
        volts = np.column_stack([50.0 + np.arange(10) / 8, np.full(10, 2.5)])
        volts[4, 1] = np.nan
        writer.add(Block(PACK, t_us, volts))
        here = t_us[[0, 1, 2, 9]] + 100_000
        places = np.column_stack([[46.0, 46.001, 46.002, 46.009], np.full(4, -24.0)])
        writer.add(Block(PLACE, here, places))
        writer.close()
        trip = TripRecord(number=1, start_us=START_US + 2_000_000, end_us=START_US + 6_000_000,
                          summary={})  # fmt: skip
        store.put_trips([trip])
        yield store


def rows(store, *arguments):
    out = io.StringIO()
    table.write_csv(store, table.choose(store, *arguments), out)
    return list(csv.DictReader(io.StringIO(out.getvalue())))


def test_whole_log_comes_out_as_it_went_in(store):
    found = rows(store, None, ("pack_voltage_v", "pack_current_a"))
    assert len(found) == 10
    assert float(found[0]["utc_s"]) == START_US / 1e6
    assert [float(r["pack_voltage_v"]) for r in found] == [50.0 + k / 8 for k in range(10)]


def test_trip_is_its_own_stretch_and_a_step_is_a_mean(store):
    found = rows(store, 1, ("pack_voltage_v",), 2.0)
    # the trip is seconds 2 to 5: means of 50.25 and 50.375, of 50.5 and 50.625
    assert [float(r["pack_voltage_v"]) for r in found] == [50.3125, 50.5625]


def test_every_channel_is_written_where_none_is_named(store):
    assert set(rows(store, None)[0]) == {"utc_s", *PACK.channels, *PLACE.channels}


def test_log_longer_than_a_part_has_no_seam(store, monkeypatch):
    whole = rows(store, None, ("pack_voltage_v",))
    monkeypatch.setattr(table, "_HOUR_US", 3_000_000)
    assert rows(store, None, ("pack_voltage_v",)) == whole


def test_unknown_trip_and_channel_are_said(store):
    with pytest.raises(NoTrip, match="no trip 7"):
        table.choose(store, 7)
    with pytest.raises(table.NoChannel, match="no channel 'volts'"):
        table.choose(store, None, ("volts",))


def test_track_reads_back_and_breaks_at_the_gap(store):
    text = track.gpx(store, table.choose(store, None), "a <b> & c")
    document = gpxpy.parse(text)
    (line,) = document.tracks
    assert line.name == "a <b> & c"
    assert [len(segment.points) for segment in line.segments][-1] == 1
    first = line.segments[0].points[0]
    assert (first.latitude, first.longitude) == (46.0, -24.0)
    assert first.time.timestamp() == START_US / 1e6


def test_track_without_a_position_is_said(store):
    with pytest.raises(track.NoTrack):
        track.gpx(store, table.Table((), START_US + 90_000_000, START_US + 99_000_000, 1.0), "x")
