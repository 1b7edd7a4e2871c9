"""serve starts on a board that has nothing yet, and its first page leads on."""

import argparse

import pytest

from analyzer.errors import NoLog
from analyzer.faces.cli import serve
from analyzer.faces.web.app import create_app


@pytest.fixture
def bare(monkeypatch, tmp_path):
    """A board with no settings and no data."""
    for name in ("KEELWATT_LOG", "KEELWATT_BOAT"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    return tmp_path


def test_with_no_boat_file_and_no_log_the_page_leads_to_the_first_step(bare, browse, capsys):
    log = serve._log(argparse.Namespace(log=None, boat=None))
    assert "no boat file and no log yet" in capsys.readouterr().err
    client = browse(create_app(log))
    assert "/set-up/guide" in client.get("/").text
    assert client.get("/set-up").status_code == 200
    assert client.get("/set-up/guide").status_code == 200
    assert "There is no log" in client.get("/trips").text
    assert not any(bare.iterdir())  # looking makes nothing


def test_a_boat_file_saved_into_a_folder_that_is_not_there_yet_is_kept(bare, browse, invented):
    log = serve._log(argparse.Namespace(log=None, boat=None))
    log.save_boat(invented.InventedLog.boat_toml)
    assert (bare / "config" / "keelwatt" / "boat.toml").is_file()
    page = browse(create_app(log)).get("/").text
    assert "Nothing is recorded yet" in page


def test_a_log_that_was_named_has_to_be_there(bare):
    with pytest.raises(NoLog, match="there is no log at"):
        serve._log(argparse.Namespace(log=str(bare / "mine.sqlite"), boat=None))


def test_a_device_is_offered_by_the_name_that_stays(monkeypatch):
    from logger.discover import listen, ports

    gps = ports.Device("serial", "/dev/ttyUSB0", "GPS", "/dev/serial/by-id/gps", None)
    monkeypatch.setattr(ports, "found", lambda: (gps,))
    monkeypatch.setattr(listen, "heard", lambda devices: ("speaks NMEA 0183",))
    (plug,) = serve.plugged_in()
    assert (plug.place, plug.heard) == ("/dev/serial/by-id/gps", "")
    assert serve.plugged_in(listen=True)[0].heard == "speaks NMEA 0183"
