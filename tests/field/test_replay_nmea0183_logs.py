"""A powerboat's NMEA 0183 lines, replayed into a log and read back value for value.

Expected values: GPSD project, see the folder's README. Its decoder keeps the last value of each
second; the receiver's time steps back once in the file, so seconds are told apart by it.
"""

import csv
import re
from datetime import datetime
from pathlib import Path

import pytest

from logger.decode.counters import Counters
from logger.decode.nmea.sentences import SentenceDecoder
from logger.reading import Row
from logger.store import Store
from replay.player import open_recordings, play

pytestmark = pytest.mark.field
EVER = (0, 2**62)


@pytest.fixture(scope="module")
def lines(shared_data: Path) -> Path:
    return shared_data / "nmea0183_logs" / "river_powerboat.nmea"


@pytest.fixture(scope="module")
def log(lines: Path, tmp_path_factory: pytest.TempPathFactory) -> Store:
    path = tmp_path_factory.mktemp("log") / "log.sqlite"
    with Store.open(path, write=True) as store, store.writer("river") as writer:
        play(open_recordings([lines]), writer)
    return Store.open(path)


def fields(lines: Path, kind: str) -> list[list[str]]:
    """The fields of all sentences of a kind, cut out without any decoder."""
    found = re.findall(rf"^\$IN{kind},(.*)\*..\s*$", lines.read_text(), re.MULTILINE)
    return [text.split(",") for text in found]


def test_every_sentence_is_read(lines: Path):
    source = open_recordings([lines])
    while source.read() is not None:
        pass
    assert source.counters["nmea0183"].as_dict() == {"frames": 98}


def test_values_read_back_are_those_of_the_sentences(lines: Path, log: Store):
    depths = [float(f[0]) for f in fields(lines, "DPT")]
    assert log.read("depth_m", *EVER)[1].tolist() == depths
    water = [float(f[0]) for f in fields(lines, "MTW")]
    assert log.read("water_temp_c", *EVER)[1].tolist() == water
    heights = [float(f[8]) for f in fields(lines, "GGA")]
    assert log.read("altitude_m", *EVER)[1].tolist() == heights
    magnetic = [float(f[2]) for f in fields(lines, "VTG")]
    assert log.read("other_course_ground_magnetic_deg", *EVER)[1].tolist() == magnetic


def test_first_fix_dates_the_log(log: Store):
    (boot,) = log.boots()
    start = datetime.fromisoformat("2006-09-16T19:41:01+00:00").timestamp() * 1e6
    assert boot.timeline_offset_us == start


def test_values_are_those_decoded_by_gpsd(lines: Path):
    """By second of the receiver's own time, in the file's order, last one standing."""
    decoder, seconds = SentenceDecoder("gps", Counters("gps")), {}
    for line in lines.read_text().splitlines():
        for item in decoder.feed(line, 0):
            if isinstance(item, Row):
                kind = item.group.key[-3:]
                place = {"RMC": 7, "GGA": 7, "GLL": 5}.get(kind)
                if place is None:
                    continue
                text = line.split(",")
                moment = text[5] if kind == "GLL" else text[1]
                pairs = zip(item.group.channels, item.values, strict=True)
                seconds.setdefault(moment[:6].rstrip("*"), {}).update(
                    {name: value for name, value in pairs if value is not None}
                )
    compared = 0
    with (lines.parent / "river_powerboat_expected.csv").open() as stream:
        for row in csv.DictReader(stream):
            moment = row["time_utc"][11:19].replace(":", "")
            got = seconds[moment]
            assert got["latitude_deg"] == pytest.approx(float(row["lat"]), abs=5.1e-10)
            assert got["longitude_deg"] == pytest.approx(float(row["lon"]), abs=5.1e-10)
            if "altitude_m" in got and row["altMSL"]:
                assert got["altitude_m"] == float(row["altMSL"])
            if row["magvar"] == "-15.8":  # from RMC, not filled in by the decoder's own model
                assert got["course_ground_deg"] == float(row["track"])
                assert got["variation_deg"] == float(row["magvar"])
                speed = pytest.approx(float(row["speed"]), abs=5.1e-4)
                assert got["speed_ground_mps"] == speed
            compared += 1
    assert compared == 22


def test_replayed_log_has_the_expected_places(lines: Path, log: Store):
    expected = []
    for kind, first in (("RMC", 2), ("GGA", 1), ("GLL", 0)):
        for f in fields(lines, kind):
            degrees = int(f[first][:2]) + float(f[first][2:]) / 60
            expected.append(round(degrees, 12))
    got = [round(value, 12) for value in log.read("latitude_deg", *EVER)[1].tolist()]
    assert sorted(got) == sorted(expected)
    assert len(got) == 33
