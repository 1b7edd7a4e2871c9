"""TRC traces: hand-written samples of every version, random frames against python-can, damage."""

import random
from datetime import UTC, datetime
from pathlib import Path

import can
import pytest

from logger.decode.can.frames import EXTENDED
from logger.decode.counters import Counters
from logger.errors import RecordingError
from logger.sources.recordings.recording import kind_of
from logger.sources.recordings.trc import read_trc
from tests.logger.sources.recordings.test_candump import Plain, plain

# 46157 days after 30 December 1899 is 15 May 2026 (2026-01-01 is 46023, as spreadsheets have it).
NOON_US = round(datetime(2026, 5, 15, 12, tzinfo=UTC).timestamp() * 1e6)
START = ";$STARTTIME=46157.5\n"
ONE = (1_059_900, 0x300, bytes.fromhex("00000000040000"))
TWO = (1_283_200, 0x18FEF121 | EXTENDED, b"")
SAMPLES = {
    "1.0": ";\n; no version: 1.0\n"
    "     1)    1060 0300 7 00 00 00 00 04 00 00\n"
    "     2)    1283 18FEF121 0\n"
    "     3)    1290 0300 4 RTR\n"
    "     4)    1300 FFFFFFFF 4 00 00 00 08 -- -- -- -- BUSHEAVY\n",
    "1.1": f";$FILEVERSION=1.1\n{START};\n"
    "     1)      1059.9  Rx         0300  7  00 00 00 00 04 00 00\n"
    "     2)      1283.2  Tx     18FEF121  0\n"
    "     3)      1290.0  Rx         0300  4  RTR\n"
    "     4)      1298.9  Error      0002  5  04 00 02 00 00\n",
    "1.2": f";$FILEVERSION=1.2\n{START}"
    "     1)      1059.900 1  Rx         0300  7  00 00 00 00 04 00 00\n"
    "     2)      1283.200 1  Rx     18FEF121  0\n"
    "     3)      1290.000 1  Rx         0300  4  RTR\n"
    "     4)      1298.945 1  Warng      FFFFFFFF  4  00 00 00 08  BUSHEAVY\n",
    "1.3": f";$FILEVERSION=1.3\n{START}"
    "     1)      1059.900 1  Rx         0300 -  7    00 00 00 00 04 00 00\n"
    "     2)      1283.200 1  Rx     18FEF121 -  0\n"
    "     3)      1290.000 1  Rx         0300 -  4    RTR\n"
    "     4)      1298.945 1  Error      0008 -  5    08 01 00 00 00\n",
    "2.0": f";$FILEVERSION=2.0\n{START};$COLUMNS=N,O,T,I,d,l,D\n"
    "      1      1059.900 DT     0300 Rx 7  00 00 00 00 04 00 00\n"
    "      2      1283.200 DT 18FEF121 Tx 0\n"
    "      3      1290.000 RR     0300 Rx 4\n"
    "      4      1298.945 ER        - Rx 5  04 00 02 00 00\n",
    "2.1": f";$FILEVERSION=2.1\n{START};$COLUMNS=N,O,T,B,I,d,R,L,D\n"
    "      1      1059.900 DT 1      0300 Rx -  7    00 00 00 00 04 00 00\n"
    "      2      1283.200 DT 1  18FEF121 Rx -  0\n"
    "      3      1290.000 RR 1      0300 Rx -  4\n"
    "      4      1298.945 ST 1         - Rx -  4    00 00 00 08\n",
}


def read(path: Path, counters: Counters) -> list[Plain]:
    return plain(list(read_trc(path, counters)))


@pytest.mark.parametrize("version", SAMPLES)
def test_samples_of_every_version(tmp_path, version):
    path = tmp_path / "a.trc"
    path.write_text(SAMPLES[version])
    counters = Counters("a")
    found = read(path, counters)
    offset_us = 0 if version == "1.0" else NOON_US
    step_us = 1000 if version == "1.0" else 100  # whole milliseconds there
    for (t_us, can_id, data, _), wanted in zip(found, (ONE, TWO), strict=True):
        assert abs(t_us - offset_us - wanted[0]) <= step_us
        assert (can_id, data) == wanted[1:]
    assert counters.as_dict() == {"remote": 1, "error_frame": 1}


def test_random_frames_as_python_can_reads_them(tmp_path):
    rng, path = random.Random(5), tmp_path / "a.trc"
    with can.TRCWriter(path) as writer:
        for k in range(2000):
            wide = rng.random() < 0.5
            writer.on_message_received(
                can.Message(
                    timestamp=1_700_000_000 + k / 1000,
                    arbitration_id=rng.randrange(1 << (29 if wide else 11)),
                    is_extended_id=wide,
                    data=rng.randbytes(rng.randrange(9)),
                    channel=1,
                )
            )
    with can.TRCReader(path) as reader:
        wanted = [
            (m.arbitration_id | (EXTENDED if m.is_extended_id else 0), bytes(m.data))
            for m in reader
        ]
    found = read(path, Counters("a"))
    assert [(can_id, data) for _, can_id, data, _ in found] == wanted
    with can.TRCReader(path) as reader:
        times = [round(m.timestamp * 1e6) for m in reader]
    assert max(abs(a[0] - b) for a, b in zip(found, times, strict=True)) <= 1


def test_length_codes_of_long_frames(tmp_path):
    path = tmp_path / "a.trc"
    data = " ".join(["11"] * 12)  # code 9 is 12 bytes: ISO 11898-1
    path.write_text(f"{SAMPLES['2.1']}      5      1300.000 FD 2      0301 Rx -  9    {data}\n")
    assert read(path, Counters("a"))[-1][2:] == (b"\x11" * 12, "2")


def test_a_version_that_is_not_known_is_a_sentence(tmp_path):
    path = tmp_path / "a.trc"
    path.write_text(";$FILEVERSION=9.9\n")
    with pytest.raises(RecordingError, match=r"wants a TRC file of version 1\.0.*got '9\.9'"):
        read(path, Counters("a"))


@pytest.mark.parametrize("name", ["a.trc", "a.txt"])
def test_it_is_known_by_its_ending_or_its_head(tmp_path, name):
    path = tmp_path / name
    path.write_text(SAMPLES["1.1"])
    assert kind_of(path) == "trc"
