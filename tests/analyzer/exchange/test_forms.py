"""Each form as other people's programs see it: pandas, DuckDB, polars, gpxpy, the GPX schema."""

import io
import json
import sqlite3
from contextlib import closing
from pathlib import Path

import duckdb
import gpxpy
import numpy as np
import pandas as pd
import polars
import pyarrow.parquet
import pytest
import xmlschema
import zstandard

from analyzer.errors import BadImport, NoChannel, NotInstalled, NoTrack, NoTrip
from analyzer.exchange import csv_table, forms, gpx_track, packed_log, parquet_days, rows
from logger.errors import StoreError
from logger.reading import (
    EXACT,
    Block,
    Group,
    Quantum,
    UtcFix,
)
from logger.store import Store, TripRecord

START_US = 1_782_887_400_000_000  # 2026-07-01 06:30 UTC
DAY_US = 86_400_000_000
PACK = Group("t/pack", ("pack_voltage_v", "pack_current_a"), (Quantum(0.125), EXACT))
PLACE = Group("t/place", ("latitude_deg", "longitude_deg", "altitude_m", "speed_ground_mps"),
              (EXACT,) * 4)  # fmt: skip
SCHEMA = Path(__file__).with_name("gpx_1_1.xsd")


@pytest.fixture
def store(tmp_path):
    """Two days of one boot, then a boot whose date is not known."""
    with Store.open(tmp_path / "log.sqlite", write=True) as store:
        with store.writer("boot-a") as writer:
            writer.add(UtcFix(0, START_US, "file", 1.0))
            t_us = np.arange(10, dtype=np.int64) * 1_000_000
            volts = np.column_stack([50.0 + np.arange(10) / 8, np.full(10, 2.5)])
            volts[4, 1] = np.nan
            writer.add(Block(PACK, t_us, volts))
            writer.add(Block(PACK, t_us + DAY_US, volts + 1.0))
            here = t_us[[0, 1, 2, 9]] + np.array([0, 100_000, 100_000, 60_000_000])
            places = np.array(
                [
                    [46.0, 180.0, -1.5, 2.0],
                    [46.001, -24.0, np.nan, 1e-7],
                    [46.002, -24.1, 3.0, np.nan],
                    [46.009, -23.9, 4.0, 2.0],
                ]
            )
            writer.add(Block(PLACE, here, places))
        with store.writer("boot-b") as writer:
            writer.add(Block(PACK, t_us + 7_000, volts + 2.0))
        trip = TripRecord(1, START_US + 2_000_000, START_US + 6_000_000, {})
        store.put_trips([trip])
        yield store


def written(store, form, **choice):
    out = io.BytesIO()
    forms.write(store, form, rows.choose(store, **choice), out, "a <b> & c")
    return out.getvalue()


# -- csv ----------------------------------------------------------------------------------------


def test_csv_opens_with_a_plain_read_csv(store):
    frame = pd.read_csv(io.BytesIO(written(store, "csv", channels=PACK.channels)))
    assert list(frame) == ["utc_s", *PACK.channels, "boot", "t_mono_us"]
    assert len(frame) == 30
    assert frame.dtypes[["utc_s", *PACK.channels]].eq("float64").all()
    assert frame["pack_voltage_v"][:10].tolist() == [50.0 + k / 8 for k in range(10)]
    assert np.isnan(frame["pack_current_a"][4])
    assert frame["utc_s"][0] == START_US / 1e6


def test_csv_gives_an_undated_boot_no_date(store):
    frame = pd.read_csv(io.BytesIO(written(store, "csv")))
    undated = frame[frame["boot"] == "boot-b"]
    assert undated["utc_s"].isna().all()
    assert undated["t_mono_us"].tolist() == [7_000 + 1_000_000 * k for k in range(10)]


def test_a_step_is_a_mean_and_a_trip_its_own_stretch(store):
    text = written(store, "csv", trip=1, channels=("pack_voltage_v",), step_s=2.0)
    frame = pd.read_csv(io.BytesIO(text))
    # the trip is seconds 2 to 5: means of 50.25 and 50.375, of 50.5 and 50.625
    assert frame["pack_voltage_v"].tolist() == [50.3125, 50.5625]
    assert frame["utc_s"].tolist() == [START_US / 1e6 + 2, START_US / 1e6 + 4]


def test_a_step_means_directions_as_directions(tmp_path):
    group = Group("g", ("course_ground_deg",), (EXACT,))
    with Store.open(tmp_path / "x", write=True) as store:
        with store.writer("b") as writer:
            t_us = np.arange(2, dtype=np.int64) * 1_000_000
            writer.add(Block(group, t_us, np.array([[350.0], [20.0]])))
        (piece,) = rows.rows(store, rows.choose(store, step_s=10.0))
    assert piece.values[0, 0] == pytest.approx(5.0)  # half-way from 350 to 20


def test_readings_of_one_time_get_a_row_each(tmp_path):
    with Store.open(tmp_path / "x", write=True) as store:
        with store.writer("b") as writer:
            t_us = np.array([5, 5, 5], dtype=np.int64) * 1000
            writer.add(Block(PACK, t_us, np.array([[1.0, 9.0], [2.0, np.nan], [3.0, 8.0]])))
        (piece,) = rows.rows(store, rows.choose(store, channels=PACK.channels))
    assert piece.t_mono_us.tolist() == [5000] * 3
    assert piece.values[:, 0].tolist() == [1.0, 2.0, 3.0]


def test_unknown_trip_and_channel_are_said(store):
    with pytest.raises(NoTrip, match="no trip 7"):
        rows.choose(store, 7)
    with pytest.raises(NoChannel, match="no channel 'volts'"):
        rows.choose(store, None, ("volts",))


# -- parquet ------------------------------------------------------------------------------------


def sums(store):
    """Count and sum by channel, from the log itself."""
    found = {}
    for name in store.channels():
        values = store.read(name, -(2**61), 2**61)[1]
        found[name] = (len(values), pytest.approx(float(values.sum()), rel=1e-12))
    return found


def test_pandas_duckdb_and_polars_add_up_alike(store, tmp_path):
    parquet_days.write_folder(store, rows.choose(store), tmp_path / "out", "A boat (1)")
    where = str(tmp_path / "out" / "readings")
    names = list(store.channels())
    frame = pd.read_parquet(where)
    assert {n: (frame[n].count(), frame[n].sum()) for n in names} == sums(store)
    asked = ", ".join(f"count({n}), sum({n})" for n in names)
    row = duckdb.sql(f"SELECT {asked} FROM read_parquet('{where}/**/*.parquet')").fetchall()[0]
    assert dict(zip(names, zip(row[::2], row[1::2], strict=True), strict=True)) == sums(store)
    table = polars.scan_parquet(where, hive_partitioning=True).collect()
    assert {n: (table[n].count(), table[n].sum()) for n in names} == sums(store)


def test_days_and_boats_are_parts(store, tmp_path):
    parquet_days.write_folder(store, rows.choose(store), tmp_path / "out", "A boat (1)")
    where = tmp_path / "out" / "readings"
    days = {"2026-07-01": 10, "2026-07-02": 10, "undated": 10}
    frame = pd.read_parquet(where)
    assert set(frame["boat"]) == {"a-boat-1"}
    assert frame.groupby(frame["day"].astype(str))["pack_voltage_v"].count().to_dict() == days
    query = f"SELECT day, count(pack_voltage_v) FROM '{where}/**/*.parquet' GROUP BY day"
    assert dict(duckdb.sql(query).fetchall()) == days
    table = polars.scan_parquet(where, hive_partitioning=True).collect()
    counts = table.group_by("day").agg(polars.col("pack_voltage_v").count()).rows()
    assert dict(counts) == days


def test_boats_of_different_channels_share_a_folder_by_name(store, tmp_path):
    where = tmp_path / "out"
    parquet_days.write_folder(store, rows.choose(store), where, "one")
    with Store.open(tmp_path / "other.sqlite", write=True) as other:
        with other.writer("boot-z") as writer:
            depth = Group("d", ("depth_m",), (EXACT,))
            writer.add(Block(depth, np.array([0]), np.array([[7.5]])))
        parquet_days.write_folder(other, rows.choose(other), where, "two")
    query = f"read_parquet('{where}/readings/**/*.parquet', union_by_name=true)"
    asked = f"SELECT boat, count(depth_m), count(pack_voltage_v) FROM {query} GROUP BY boat"
    assert sorted(duckdb.sql(asked).fetchall()) == [("one", 0, 30), ("two", 1, 0)]
    assert pd.read_parquet(where / "readings" / "boat=two")["depth_m"].tolist() == [7.5]


def test_columns_say_their_unit(store):
    schema = pyarrow.parquet.read_schema(io.BytesIO(written(store, "parquet")))
    about = schema.field("pack_voltage_v").metadata
    assert about[b"unit"] == b"V"
    assert about[b"text"] == b"voltage at the pack's terminals"
    assert (about[b"step"], about[b"group"]) == (b"0.125", b"t/pack")
    assert schema.field("t_utc").type == pyarrow.timestamp("us", "UTC")


def test_writing_again_replaces(store, tmp_path):
    for _ in range(2):
        parquet_days.write_folder(store, rows.choose(store), tmp_path / "out", "x")
    assert pd.read_parquet(tmp_path / "out" / "readings")["pack_voltage_v"].count() == 30


def test_without_pyarrow_one_sentence_says_what_to_install(store, monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "pyarrow", None)
    with pytest.raises(NotInstalled, match=r"pip install 'keelwatt\[parquet\]'"):
        written(store, "parquet")


# -- gpx ----------------------------------------------------------------------------------------


def test_gpx_is_valid_by_the_published_schema(store):
    schema = xmlschema.XMLSchema(str(SCHEMA))
    text = written(store, "gpx").decode()
    schema.validate(text)
    broken = text.replace('lon="-180.0"', 'lon="180.0"')  # and the schema does look
    assert broken != text
    assert not schema.is_valid(broken)


def test_gpx_reads_back_elsewhere_and_breaks_at_the_gap(store):
    (line,) = gpxpy.parse(written(store, "gpx").decode()).tracks
    assert line.name == "a <b> & c"
    assert [len(segment.points) for segment in line.segments] == [3, 1]
    first, second, *_ = line.segments[0].points
    assert (first.latitude, first.longitude, first.elevation) == (46.0, -180.0, -1.5)
    assert first.time.timestamp() == START_US / 1e6
    spaces = {e.tag.partition("}")[0] for e in second.extensions}
    assert spaces == {f"{{{gpx_track.NAMESPACE}"}
    said = {e.tag.rpartition("}")[2]: e.text for e in second.extensions}
    assert said["speed_ground_mps"] == "0.0000001"


def test_gpx_without_a_position_is_said(store):
    with pytest.raises(NoTrack):
        gpx_track.write(store, rows.Stretch((), START_US + DAY_US, START_US + 2 * DAY_US), "x",
                        io.BytesIO())  # fmt: skip


def test_anybodys_track_with_times_comes_in(tmp_path):
    path = tmp_path / "other.gpx"
    path.write_text(
        '<gpx version="1.0" creator="x" xmlns="http://www.topografix.com/GPX/1/0"><trk><trkseg>'
        '<trkpt lat="50.5" lon="-1.25"><ele>3</ele><time>2026-07-01T06:30:00Z</time></trkpt>'
        '<trkpt lat="50.6" lon="-1.5"><time>2026-07-01T08:30:01.5+02:00</time></trkpt>'
        "</trkseg></trk></gpx>"
    )
    forms.read(path, tmp_path / "log.sqlite")
    with Store.open(tmp_path / "log.sqlite") as store:
        t_us, latitude = store.read("latitude_deg", 0, 2**61)
        assert t_us.tolist() == [START_US, START_US + 1_500_000]
        assert latitude.tolist() == [50.5, 50.6]
        assert store.read("altitude_m", 0, 2**61)[1].tolist() == [3.0]


# -- what cannot be read ------------------------------------------------------------------------

WRONG = {
    "a.csv": b"time,volts\n1,2\n",
    "b.csv": b"utc_s,volts,boot,t_mono_us\n1,2,x,3\n",
    "c.csv": b"utc_s,pack_voltage_v,boot,t_mono_us\n1,two,x,3\n",
    "d.csv": b"\xff\xfe\x00",
    "e.csv": b"utc_s,pack_voltage_v,boot,t_mono_us\n1,2\n",
    "a.gpx": b"<gpx>",
    "b.gpx": b'<gpx><trk><trkseg><trkpt lat="1" lon="2"/></trkseg></trk></gpx>',
    "c.gpx": b"<gpx/>",
    "a.parquet": b"PAR1",
    "a.arrow": b"ARROW1",
    "a.sqlite.zst": b"no",
    "b.sqlite": b"no",
    "a.xlsx": b"",
}


@pytest.mark.parametrize("name", WRONG)
def test_what_cannot_be_read_is_said_and_leaves_no_log(tmp_path, name):
    path, log = tmp_path / name, tmp_path / "new.sqlite"
    path.write_bytes(WRONG[name])
    with pytest.raises((BadImport, StoreError)) as caught:
        forms.read(path, log)
    assert "\n" not in str(caught.value)
    assert str(path) in str(caught.value)
    assert list(tmp_path.iterdir()) == [path]


def test_other_peoples_parquet_is_refused(tmp_path):
    pd.DataFrame({"a": [1.0]}).to_parquet(tmp_path / "a.parquet")
    with pytest.raises(BadImport, match="not as `keelwatt export` writes it"):
        forms.read(tmp_path / "a.parquet", tmp_path / "new.sqlite")


def test_pandas_and_polars_read_the_arrow_file_alike(store, tmp_path):
    path = tmp_path / "a.arrow"
    path.write_bytes(written(store, "arrow"))
    frame, table = pd.read_feather(path), polars.read_ipc(path)
    stored = store.read("pack_voltage_v", -(2**61), 2**61)[1]
    for column in (frame["pack_voltage_v"].dropna(), table["pack_voltage_v"].drop_nulls()):
        assert column.to_list() == stored.tolist()


def test_a_log_that_is_there_is_not_replaced(store, tmp_path):
    path = tmp_path / "x.csv"
    path.write_bytes(written(store, "csv"))
    with pytest.raises(StoreError, match="is there already"):
        forms.read(path, tmp_path / "log.sqlite")


@pytest.mark.parametrize("damage", ["cut", "turned"])
def test_a_damaged_pack_is_noticed(store, tmp_path, damage):
    data = bytearray(written(store, "log"))
    assert zstandard.get_frame_parameters(bytes(data)).has_checksum
    if damage == "cut":
        del data[-40:]
    else:
        data[len(data) // 2] ^= 4
    path = tmp_path / "x.sqlite.zst"
    path.write_bytes(bytes(data))
    with pytest.raises(BadImport):
        packed_log.read(path, tmp_path / "new.sqlite")


def test_the_head_of_a_file_says_what_boots_there_are(store):
    schema = pyarrow.parquet.read_schema(io.BytesIO(written(store, "parquet")))
    head = json.loads(schema.metadata[b"keelwatt"])
    assert [(b["uid"], b["utc_offset_us"]) for b in head["boots"]] == [
        ("boot-a", START_US),
        ("boot-b", None),
    ]


def test_csv_is_written_in_pieces_without_a_seam(store, monkeypatch):
    whole = written(store, "csv")
    monkeypatch.setattr(rows, "PIECE_US", 3_000_000)
    monkeypatch.setattr(csv_table, "ROWS", 4)
    assert written(store, "csv") == whole


@pytest.mark.parametrize(
    "act",
    [
        "CREATE TRIGGER evil AFTER INSERT ON tick BEGIN DELETE FROM chunk; END",
        "CREATE VIEW evil AS SELECT * FROM chunk",
    ],
)
@pytest.mark.parametrize("packed", [False, True])
def test_a_strange_log_that_acts_by_itself_is_not_taken_in(store, tmp_path, act, packed):
    # what SQLite runs on its own as the recorder writes (sqlite.org/lang_createtrigger.html)
    strange = tmp_path / "strange.sqlite"
    store.back_up(strange)
    with closing(sqlite3.connect(strange)) as db:
        db.execute(act)
        db.commit()
    if packed:
        raw = strange.read_bytes()
        strange = tmp_path / "strange.sqlite.zst"
        strange.write_bytes(zstandard.ZstdCompressor().compress(raw))
    with pytest.raises(BadImport, match="'evil'"):
        forms.read(strange, tmp_path / "new.sqlite")
    assert not (tmp_path / "new.sqlite").exists()
