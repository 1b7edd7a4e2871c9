"""The recorder's own view of the boat file."""

import subprocess
import sys
from pathlib import Path

import pytest

from logger import boat
from logger.boat.starter import starter_text
from logger.daemon import config
from logger.errors import BoatFileError

SOURCES = """
[[source]]
name = "gps"
kind = "nmea0183"
options = {udp = 10110, raw = true, xdr = {"A#1" = "ambient_temp_c"}}
[[source]]
name = "charger"
kind = "modbus"
[source.options]
port = "/dev/ttyUSB1"
register = [{address = 16, scale = 0.5, channel = "solar_power_w"}, {address = 17, scale = 2}]
"""


def test_it_says_what_the_boat_file_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.chdir(tmp_path)
    path = Path("boat.toml")
    text = starter_text().replace("[hull]", "flush_s = 2.5\nlog_limit_mb = 40\n[hull]", 1)
    path.write_text(text + SOURCES)
    whole, part = boat.load(path), config.load(path)
    for key in (*config.KEYS, "folder"):
        assert getattr(part, key) == getattr(whole, key)
    assert part.flush_s == 2.5
    assert part.folder == Path()
    assert [(s.name, s.kind, dict(s.options)) for s in part.source] == [
        (s.name, s.kind, s.options) for s in whole.source
    ]
    scales = [type(entry["scale"]) for entry in part.source[1].options["register"]]  # type: ignore
    assert scales == [float, int]


def test_a_mistake_gets_the_same_sentences(tmp_path: Path):
    path = tmp_path / "boat.toml"
    path.write_text(starter_text().replace("waterline_m = 7.5", 'waterline_m = "7.5"'))
    with pytest.raises(BoatFileError) as here:
        boat.load(path)
    with pytest.raises(BoatFileError) as aside:
        config.load(path)
    assert str(aside.value) == str(here.value)
    with pytest.raises(BoatFileError, match="there is no boat file here"):
        config.load(tmp_path / "none.toml")


def test_the_recorder_holds_nothing_of_what_reads_boat_files():
    code = "import logger.daemon.recorder, sys; print([m for m in sys.modules if 'pydantic' in m])"
    root = Path(__file__).resolve().parents[3]
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=root
    )
    assert done.stdout.strip() == "[]"
