"""Text lines by pattern and by columns."""

import os
import pty
import tty
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.channels import find
from logger.decode.counters import Counters
from logger.errors import BoatFileError
from logger.reading import Row
from logger.sources.options import Options
from logger.sources.text_lines import decoder_from, open_source

SIGNALS = {
    "volts": {"channel": "pack_voltage_v", "unit": "mV"},
    "amps": {"channel": "pack_current_a", "sign": -1},
}
PATTERN = {"pattern": r"V=(?P<volts>\S*) A=(?P<amps>\S*)", "signals": SIGNALS}
COLUMNS = {"columns": ["", "volts", "amps"], "delimiter": ";", "signals": SIGNALS}


def decode(table: dict[str, object], line: str) -> tuple[dict[str, float | None], Counters]:
    counters = Counters("shunt")
    decoder = decoder_from(Options("shunt", table, Path()), counters)
    rows = decoder.feed(line, 1)
    found = {n: v for r in rows if isinstance(r, Row)
             for n, v in zip(r.group.channels, r.values, strict=True)}  # fmt: skip
    return found, counters


@pytest.mark.parametrize(
    ("table", "line"), [(PATTERN, "x V=51234 A=-10.5 y"), (COLUMNS, "77; 51234 ;-10.5")]
)
def test_fields_land_in_their_channels(table: dict[str, object], line: str):
    assert decode(table, line)[0] == {"pack_voltage_v": 51.234, "pack_current_a": 10.5}


def test_missing_and_impossible_fields_are_none_and_counted():
    got, counters = decode(PATTERN, "V= A=1e9")
    assert got == {}
    assert counters.errors() == {"out_of_limits": 1}
    got, counters = decode(PATTERN, "V=51000 A=--")
    assert got == {"pack_voltage_v": 51.0, "pack_current_a": None}
    assert counters["missing"] == 1
    assert decode(COLUMNS, "1;2")[1].errors() == {"syntax": 1}


@pytest.mark.parametrize(
    ("table", "text"),
    [
        ({"signals": SIGNALS}, "exactly one of pattern and columns"),
        ({**PATTERN, "columns": ["a"]}, "exactly one of pattern and columns"),
        ({"pattern": "(", "signals": SIGNALS}, "a regular expression"),
        ({"pattern": "(?P<volts>x)", "signals": SIGNALS}, "amps: wants a field named in pattern"),
        ({"pattern": "x"}, "at least one field"),
    ],
)
def test_wrong_options_are_named(table: dict[str, object], text: str):
    with pytest.raises(BoatFileError, match=text):
        decoder_from(Options("shunt", table, Path()), Counters("x"))


def test_lines_from_a_port():
    master, slave = pty.openpty()
    tty.setraw(slave)
    table = {"port": os.ttyname(slave), **PATTERN}
    source = open_source(Options("shunt", table, Path()), Counters("shunt"), None)
    os.write(master, b"V=50000 A=1\r\nV=51000 A=2\nV=520")
    rows = source.read(1.0) or []
    os.write(master, b"00 A=3\n")
    rows += source.read(1.0) or []
    assert [row.values for row in rows if isinstance(row, Row)] == [[50, -1], [51, -2], [52, -3]]
    source.close()
    os.close(slave)
    os.close(master)


@settings(max_examples=300, deadline=None)
@given(line=st.text(max_size=80))
def test_arbitrary_lines_never_raise_nor_pass_limits(line: str):
    for table in (PATTERN, COLUMNS):
        for text in (line, f"V={line} A={line}", f"1;{line};{line}"):
            for name, value in decode(table, text)[0].items():
                channel = find(name)
                assert channel
                assert value is None or channel.low <= value <= channel.high
