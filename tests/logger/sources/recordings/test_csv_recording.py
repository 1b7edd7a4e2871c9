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
        (
            "sign = -1",
            "turn = -1",
            "knows column, channel, unit, factor, offset, sign and optional, got 'turn'",
        ),
        ("[time]", "[clock]", "knows time, column, delimiter, decimal and comment, got 'clock'"),
        ("[time]", "[time", "wants TOML"),
    ],
)
def test_wrong_maps_name_the_key(tmp_path: Path, old: str, new: str, text: str):
    with pytest.raises(BoatFileError, match=text):
        block(tmp_path, "t,mV,A in\n0,1,1\n", MAP.replace(old, new, 1))


SPREADSHEET = """
delimiter = ";"
decimal = ","
comment = "#"
[time]
columns = ["Date", "Time"]
format = "%d.%m.%Y %H:%M:%S"
zone = "Europe/Berlin"
[[column]]
column = "Volts x10"
channel = "pack_voltage_v"
factor = 0.1
[[column]]
column = "Temp"
channel = "pack_temp_c"
unit = "°F"
offset = -4
"""


def test_a_spreadsheet_as_people_keep_them(tmp_path: Path):
    table = (
        "# exported\n# by hand\nDate;Time;Volts x10;Temp\n"
        "15.11.2023;00:13:20;512,5;72\n15.11.2023;00:13:21;;\n32.11.2023;00:13:22;512;72\n"
    )
    got, counters = block(tmp_path, table, SPREADSHEET)
    # 23:13:20 UTC, an hour less in winter, is 1 700 003 600 s after 1970
    assert got.t_us.tolist() == [1_700_003_600_000_000]
    # 512.5 / 10, and 72 - 4 = 68 degrees Fahrenheit are 20 Celsius
    assert got.values[0].tolist() == pytest.approx([51.25, 20.0])
    assert counters["syntax"] == 1  # a 32nd of November


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('zone = "Europe/Berlin"', 'zone = "Berlin"', "wants a time zone's name"),
        ('decimal = ","', 'decimal = ",,"', "wants one character"),
        ("factor = 0.1", 'factor = "a tenth"', "factor wants a number"),
        ('format = "%d.%m.%Y %H:%M:%S"\n', "", "and time.format beside it"),
    ],
)
def test_wrong_spreadsheet_maps_name_the_key(tmp_path: Path, old: str, new: str, says: str):
    with pytest.raises(BoatFileError, match=says):
        block(tmp_path, "Date;Time\n", SPREADSHEET.replace(old, new))
