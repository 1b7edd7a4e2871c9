"""Recordings looked at before they are stored: an account, and a map for a table that has none."""

from contextlib import closing

import pytest

from analyzer.faces.cli.main import main
from logger.decode.guess_map import guess
from replay import player
from replay.into_log import Recordings, play_into
from replay.looking import account_of, proposal

SPREADSHEET = """# made elsewhere
Date;Time;Battery Voltage (mV);Current [A];SOC %;Cell 3 (V);Remark
01.07.2026;10:00:00;51200;-3,5;80;3,21;hot
01.07.2026;10:00:10;51100;-3,6;79;3,20;
"""
TABLES = {
    "spreadsheet": (SPREADSHEET, {
        "pack_voltage_v": 51.2, "pack_current_a": -3.5, "pack_soc_frac": 0.8,
        "cell_03_voltage_v": 3.21,
    }),
    "seconds": ("time_s,voltage_V,current_A\n0,51.2,3\n1,51.1,4\n", {
        "pack_voltage_v": 51.2, "pack_current_a": 3.0,
    }),
    "unix": ("timestamp,lat,lon,sog_kn\n1700000000,50,1,2\n1700000001,50,1,2\n", {
        "latitude_deg": 50.0, "longitude_deg": 1.0, "speed_ground_mps": 2 * 1852 / 3600,
    }),
    "motor": ("Time (ms),Motor temp (*C),RPM\n0,41,600\n50,42,660\n", {
        "motor_temp_c": 41.0, "motor_speed_rps": 10.0,
    }),
}  # fmt: skip


class Kept:
    """A sink that keeps the first value of each channel."""

    def __init__(self):
        self.first = {}

    def add(self, item):
        if hasattr(item, "group"):
            for name, value in zip(item.group.channels, item.values[0].tolist(), strict=True):
                self.first.setdefault(name, value)


@pytest.mark.parametrize("name", TABLES)
def test_a_guessed_map_reads_the_table_it_was_guessed_for(tmp_path, name):
    table, expected = TABLES[name]
    path = tmp_path / "x.csv"
    path.write_text(table)
    (tmp_path / "x.toml").write_text(proposal(path))
    kept = Kept()
    with closing(player.open_recordings([path])) as source:
        player.play(source, kept)
    assert kept.first == pytest.approx(expected)
    assert proposal(path) == ""  # it has one now


def test_dates_of_the_spreadsheet_are_read_and_times_are_right(tmp_path):
    path = tmp_path / "x.csv"
    path.write_text(SPREADSHEET)
    (tmp_path / "x.toml").write_text(proposal(path))
    found = account_of(Recordings([path]), None)
    volts = next(c for c in found.channels if c.name == "pack_voltage_v")
    # 2026-07-01 10:00 UTC
    assert (volts.readings, volts.first_utc_s) == (2, 1_782_900_000.0)


def test_a_look_counts_what_a_replay_would_and_stores_nothing(tmp_path):
    path = tmp_path / "a.nmea"
    path.write_text("$SDDBT,7.8,f,2.4,M,1.3,F*0D\n" * 3 + "$XXABC,1*5D\n")
    looked = account_of(Recordings([path]), None)
    assert [p.name for p in tmp_path.iterdir()] == ["a.nmea"]
    played = play_into(tmp_path / "log.sqlite", Recordings([path]), None).account
    assert looked == played


def test_what_is_no_table_is_refused():
    with pytest.raises(ValueError, match="line of names"):
        guess("hello\n")


def test_check_of_a_table_prints_a_map_alone(tmp_path, monkeypatch, capsys):
    path = tmp_path / "x.csv"
    path.write_text(TABLES["seconds"][0])
    assert main(["check", str(path)]) == 0
    said = capsys.readouterr()
    assert said.out.startswith("[time]\n")
    assert "to be corrected" in said.err
    path.with_suffix(".toml").write_text(said.out)
    assert main(["check", str(path)]) == 0
    assert "pack_voltage_v" in capsys.readouterr().out
