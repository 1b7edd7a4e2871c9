"""CSV tables: units, signs, times, holes and wrong maps."""

import math
from pathlib import Path

import pytest

from logger.decode.column_map import load_map
from logger.decode.counters import Counters
from logger.errors import BoatFileError, RecordingError
from logger.reading import Block
from logger.sources.recordings.csv_recording import CsvRecording

MAP = """
[time]
column = "t"
unit = "ms"
[[column]]
column = "mV"
channel = "pack_voltage_v"
unit = "mV"
[[column]]
column = "A in"
channel = "pack_current_a"
sign = -1
"""


def block(tmp_path: Path, table: str, columns: str = MAP) -> tuple[Block, Counters]:
    (tmp_path / "x.csv").write_text(table)
    (tmp_path / "x.toml").write_text(columns)
    counters = Counters("x")
    recording = CsvRecording(tmp_path / "x.csv", load_map(tmp_path / "x.toml"), "x", counters)
    items = recording.batch() or []
    assert recording.batch() is None
    (found,) = items
    assert isinstance(found, Block)
    return found, counters


def test_units_and_signs(tmp_path: Path):
    got, _ = block(tmp_path, "t,mV,A in\n0,51200,-10.5\n1500,51100,3\n")
    assert got.t_us.tolist() == [0, 1_500_000]
    assert got.values.tolist() == [[51.2, 10.5], [51.1, -3.0]]


def test_holes_are_missing_not_zero(tmp_path: Path):
    got, counters = block(tmp_path, "t,mV,A in\n0,,1\n1,51200,NaN\n2,,\n3,oops,2\n4,51200\n")
    assert got.t_us.tolist() == [0, 1000, 3000, 4000]
    assert [[math.isnan(v) for v in row] for row in got.values.tolist()] == [
        [True, False], [False, True], [True, False], [False, True],
    ]  # fmt: skip
    assert counters["syntax"] == 1  # "oops"


def test_values_beyond_limits_are_missing_and_counted(tmp_path: Path):
    got, counters = block(tmp_path, "t,mV,A in\n0,51200,99999\n")
    assert math.isnan(got.values[0, 1])
    assert counters["out_of_limits"] == 1


@pytest.mark.parametrize(
    ("unit", "text"),
    [
        ("unix_s", "1700000000.25"),
        ("unix_ms", "1700000000250"),
        ("iso", "2023-11-14T22:13:20.25Z"),
        ("iso", "2023-11-15 00:13:20.25+02:00"),
    ],
)
def test_utc_columns(tmp_path: Path, unit: str, text: str):
    got, _ = block(tmp_path, f"t,mV,A in\n{text},1,1\n", MAP.replace('"ms"', f'"{unit}"'))
    assert got.t_us.tolist() == [1_700_000_000_250_000]


def test_rows_a_step_apart(tmp_path: Path):
    columns = MAP.replace('column = "t"\nunit = "ms"', "step_s = 4")
    got, _ = block(tmp_path, "mV,A in\n1,1\n2,2\n3,3\n", columns)
    assert got.t_us.tolist() == [0, 4_000_000, 8_000_000]


def test_missing_column_is_named(tmp_path: Path):
    with pytest.raises(RecordingError, match=r"wants a column 'A in' .*got t, mV"):
        block(tmp_path, "t,mV\n0,1\n")
    with pytest.raises(RecordingError, match="wants the time column 't'"):
        block(tmp_path, "time,mV,A in\n0,1,1\n")


@pytest.mark.parametrize(
    ("old", "new", "text"),
    [
        ('unit = "ms"', 'unit = "weeks"', r"time.unit: wants one of us, ms"),
        ("sign = -1", "sign = 0", "A in: sign wants 1 or -1, got 0"),
        ('unit = "mV"', 'unit = "kn"', "mV: wants a unit that fits V, got 'kn'"),
        ("pack_voltage_v", "volts", "mV: wants the name of a channel"),
        ("pack_voltage_v", "pack_current_a", "each channel once|unit that fits"),
        ("sign = -1", "turn = -1", "knows column, channel, unit, sign and optional, got 'turn'"),
        ("[time]", "[clock]", "knows time, column and delimiter, got 'clock'"),
        ("[time]", "[time", "wants TOML"),
    ],
)
def test_wrong_maps_name_the_key(tmp_path: Path, old: str, new: str, text: str):
    with pytest.raises(BoatFileError, match=text):
        block(tmp_path, "t,mV,A in\n0,1,1\n", MAP.replace(old, new, 1))
