"""Telling files apart by what is in them."""

from pathlib import Path

import pytest

from logger.errors import RecordingError
from logger.sources.recordings.recording import kind_of


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("(1609779922.655421) vcan0 00000343#B204\n", "candump"),
        ("  vcan0  0C8   [8]  F0 00 00 00 00 00 00 00\n", "candump"),
        ("\n(1594172462.127684) vcan0 ERROR\n", "candump"),
        ("$IIRPM,S,1,1250.0,,A*58\n", "nmea0183"),
        ("(1609779922.655421) gps $IIRPM,S,1,1250.0,,A*58\r\n", "nmea0183"),
        ("noise\n!AIVDM,1,1,,A,x,0*26\n", "nmea0183"),
        ("a header of a program\n" * 900 + "$IIRPM,S,1,1250.0,,A*58\n", "nmea0183"),
        ("# a remark\n" * 900 + "(1609779922.655421) vcan0 00000343#B204\n", "candump"),
        ("time_s,voltage_V\n0,3.2\n1,3.1\n", "csv"),
        ("time_s,voltage_V\n" + "0,3.2\n" * 30 + "$IIRPM,S,1,1250.0,,A*58\n", "csv"),
        ("time;volts\n0;3,2\n1;3,1\n", "csv"),
        ("date Sat Jan 1 12:00:00 2022\nbase hex  timestamps absolute\n", "asc"),
    ],
)
def test_kind_of(tmp_path: Path, text: str, kind: str):
    path = tmp_path / "file"
    path.write_text(text)
    assert kind_of(path) == kind


def test_kind_of_says_what_it_wants(tmp_path: Path):
    path = tmp_path / "letter.txt"
    path.write_text("Dear crew,\nsee you at noon.\n")
    with pytest.raises(RecordingError, match="look like none of them"):
        kind_of(path)
