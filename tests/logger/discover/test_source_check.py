"""What `check` finds in the sources of a boat file, before anything is recorded."""

import os
import pty
from contextlib import closing

import pytest

from logger.discover.source_check import is_recorded, look_into
from logger.store import Store
from tests.support.small_boat import GOOD


def looked(tmp_path, options, kind="nmea0183"):
    """The one source's findings, its options as given; they begin on line 33 of the file."""
    path = tmp_path / "boat.toml"
    text = GOOD.replace('port = "/dev/ttyUSB0"\n', options + "\n")
    path.write_text(text.replace('kind = "nmea0183"', f'kind = "{kind}"'))
    (found,) = look_into(path, tmp_path / "log.sqlite")
    return found.ok, found.text


@pytest.fixture
def port():
    """A serial port that is there."""
    ends = pty.openpty()
    yield os.ttyname(ends[1])
    for end in ends:
        os.close(end)


def test_a_port_that_is_there_opens(tmp_path, port):
    ok, text = looked(tmp_path, f'port = "{port}"')
    assert ok
    assert text.startswith("opens")


@pytest.mark.parametrize(
    ("kind", "options", "says"),
    [
        ("nmea183", 'port = "x"', "line 31: kind: wants one of can, nmea0183,"),
        ("nmea0183", 'port = "/dev/none"', "/dev/none: wants a serial port; it is not there"),
        ("nmea0183", 'prot = "/dev/none"', "line 33: knows baud,"),
        ("nmea0183", 'port = "/dev/none"\nbaud = "fast"', "line 34: baud: wants"),
        ("can", 'channel = "none0"\ndecode = [{dbc = "none.dbc"}]', "none.dbc"),
        ("can", 'channel = "none0"\ndecode = ["nmea3000"]', "line 34: decode: wants"),
        ("text", 'port = "x"\npattern = "("\nsignals = {a = "pack_voltage_v"}',
         "line 34: pattern: wants a regular expression"),
        ("text", 'port = "x"\npattern = "(?P<a>.)"\nsignals = {a = "pack_volts"}',
         "wants the name of a channel"),
        ("text", 'port = "x"\npattern = "(?P<a>.)"\nsignals = {a = {channel = "pack_voltage_v", '
         'unit = "A"}}', "wants a unit that fits"),
        ("modbus", 'port = "/dev/none"\nregister = [{address = 1, type = "u17", channel = '
         '"pack_voltage_v"}]', "type: wants one of"),
    ],
)  # fmt: skip
def test_what_is_wrong_with_a_source_is_told_with_its_line(tmp_path, kind, options, says):
    ok, text = looked(tmp_path, options, kind)
    assert ok is False
    assert says in text
    assert "\n" not in text


def test_a_recorder_at_work_is_left_alone(tmp_path, port):
    log = tmp_path / "log.sqlite"
    assert not is_recorded(log)
    with closing(Store.open(log, write=True)) as store, store.writer("boot"):
        assert is_recorded(log)
        ok, text = looked(tmp_path, f'port = "{port}"')
        assert ok is None
        assert text.startswith("not tried, as a recorder is at work")
    assert not is_recorded(log)


def test_what_only_says_how_recordings_are_read_is_not_opened(tmp_path):
    assert looked(tmp_path, "", "csv") == (None, "says how recordings are read")
