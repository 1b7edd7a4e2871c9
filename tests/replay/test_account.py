"""Every line and frame of a recording is accounted for, counted here by hand."""

from pathlib import Path
from types import SimpleNamespace

import pytest

from logger.reading import EXACT, Group, Row, UtcFix
from replay.account import Tally
from replay.into_log import Recordings, play_into

# NMEA 0183: the check sum is the exclusive or of all between $ and *, by definition.
LINES = [
    "$SDDBT,7.8,f,2.4,M,1.3,F*0D",  # 2.4 m
    "$SDDBT,8.1,f,2.5,M,1.4,F*0E",  # a wrong sum
    "$XXABC,1*5D",  # well formed, of a kind that nobody knows
    "$XXABC,1*5D",
]
# candump's form: seconds, bus, identifier#data
FRAMES = [
    "(1600000000.0) can0 123#00",
    "(1600000001.0) can0 18FF50E5#0011",
    "(1600000002.0) can0 123#01",
]
DBC = """VERSION ""
BU_: X
BO_ 291 Pack: 1 X
 SG_ Volts : 0|8@1+ (1,0) [0|255] "V" X
"""


def checksum(line: str) -> int:
    total = 0
    for letter in line[1 : line.index("*")]:
        total ^= ord(letter)
    return total


@pytest.fixture
def account(tmp_path: Path):
    """Plays files into a fresh log and gives the account."""

    def played(name: str, lines: list[str], *dbc: Path):
        path = tmp_path / name
        path.write_text("\n".join(lines) + "\n")
        return play_into(tmp_path / "log.sqlite", Recordings([path], (), dbc), None).account

    return played


def test_the_lines_are_what_they_should_be():
    assert [checksum(line) == int(line[-2:], 16) for line in LINES] == [True, False, True, True]


def test_lines_read_understood_unknown_and_spoiled(account):
    found = account("a.nmea", LINES)
    (part,) = [part for part in found.parts if part.read]
    assert part.read == 4
    assert part.unknown == {"XXABC": 2}
    assert part.spoiled == {"checksum": 1}
    assert [(c.name, c.readings, c.first_utc_s) for c in found.channels] == [("depth_m", 1, None)]


def test_frames_that_nothing_decodes_are_named(account):
    found = account("a.log", FRAMES)
    (part,) = [part for part in found.parts if part.read]
    assert (part.read, part.unknown, part.spoiled) == (3, {"123": 2, "18FF50E5": 1}, {})
    assert found.channels == ()
    assert found.readings == 0


def test_channels_have_their_first_and_last_time(account, tmp_path):
    dbc = tmp_path / "pack.dbc"
    dbc.write_text(DBC)  # 291 is 0x123
    found = account("a.log", FRAMES, dbc)
    (channel,) = found.channels
    assert channel.readings == 2
    assert (channel.first_utc_s, channel.last_utc_s) == (1_600_000_000, 1_600_000_002)
    (part,) = [part for part in found.parts if part.read]
    assert part.unknown == {"18FF50E5": 1}


def test_a_channel_s_time_goes_from_its_first_to_its_last_part():
    group = Group("t/depth", ("depth_m",), (EXACT,))
    tally = Tally(SimpleNamespace(add=lambda item: None))
    for second in (3, 1, 7, 5):  # files that are played together come in any order
        tally.add(Row(group, second * 1_000_000, (2.0,)))
    tally.add(UtcFix(0, 1_600_000_000_000_000, "file", 1.0))
    (channel,) = tally.account({}).channels
    assert (channel.readings, channel.first_utc_s) == (4, 1_600_000_001)
    assert channel.last_utc_s == 1_600_000_007
