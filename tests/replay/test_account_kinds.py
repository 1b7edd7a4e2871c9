"""Small samples of every kind of recording, each with its account, counted here by hand."""

import gzip
from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

import can
import pytest

from logger.account import Account
from replay.into_log import Recordings, play_into

# 0x123 is 291: one byte, in tenths of volts from 40 V. 16 May 2026 09:11 UTC.
DBC = """VERSION ""
BU_: X
BO_ 291 Pack: 1 X
 SG_ Volts : 0|8@1+ (0.1,40) [0|70] "V" X
"""
NINE_UTC_S = datetime(2026, 5, 16, 9, 11, tzinfo=UTC).timestamp()
# Days from 30 December 1899 to 16 May 2026 (1 January 2026 is day 46023), and 09:11 of the day.
SHEET_DAY = 46158 + (9 * 60 + 11) / 1440
MAP = """delimiter = ";"
decimal = ","
comment = "#"
[time]
columns = ["Data", "Hora"]
format = "%d.%m.%Y %H:%M:%S"
zone = "Europe/Lisbon"
[[column]]
column = "Volts"
channel = "pack_voltage_v"
"""


@dataclass(frozen=True)
class Sample:
    """A recording and what becomes of it. first_s, last_s: of the channel; None: any date."""

    name: str
    text: str
    read: int
    channel: str = "other_pack_volts_v"
    readings: int = 2
    span_s: tuple[float, float] | None = (NINE_UTC_S, NINE_UTC_S + 1)
    unknown: dict[str, int] = field(default_factory=dict)
    spoiled: dict[str, int] = field(default_factory=dict)
    passed_over: dict[str, int] = field(default_factory=dict)


def sentence(body: str) -> str:
    """With its check sum, the exclusive or of all between $ and *."""
    total = 0
    for letter in body.encode():
        total ^= letter
    return f"${body}*{total:02X}"


HEADER = "".join(f"# line {n} of what a receiver's program writes first\n" for n in range(200))
SAMPLES = [
    Sample(
        "receiver.nmea",
        HEADER
        + sentence("GPRMC,091100.00,A,4616.89,N,02352.44,W,4.0,90.0,160526,,,A")
        + "\n"
        + sentence("GPRMC,091101.00,A,4616.89,N,02352.44,W,4.0,90.0,160526,,,A")
        + "\n"
        + sentence("GPRMC,091102.00,A,4616.89,N,02352.44,W,4.0,90.0,160526,,,A")[:-1]
        + "F\n"  # the last sum is wrong: its own ends in another digit
        + sentence("PXYZ,1,2")
        + "\n",
        read=204,
        channel="latitude_deg",
        unknown={"PXYZ": 1},
        spoiled={"checksum": 1, "syntax": 200},
    ),
    Sample(
        "bus.asc",
        "date Sat May 16 09:11:00.000 am 2026\nbase hex  timestamps absolute\n"
        "internal events logged\n// version 8.0.0\n"
        "   0.000000 1  123             Rx   d 1 70\n"
        "   0.500000 1  18FEF121x       Rx   d 2 00 01\n"
        "   0.700000 1  123             Rx   r\n"
        "   0.800000 1  ErrorFrame\n"
        "   1.000000 1  123             Tx   d 1 71\n",
        read=3,
        span_s=None,  # its clock's zone is not told
        unknown={"18FEF121": 1},
        passed_over={"remote": 1, "error_frame": 1},
    ),
    Sample(
        "bus.trc",
        f";$FILEVERSION=1.1\n;$STARTTIME={SHEET_DAY!r}\n;\n"
        "     1)         0.0  Rx         0123  1  70\n"
        "     2)       500.0  Tx     18FEF121  0\n"
        "     3)       600.0  Rx         0123  1  RTR\n"
        "     4)       700.0  Error      0002  5  04 00 02 00 00\n"
        "     5)      1000.0  Rx         0123  1  71\n",
        read=3,
        unknown={"18FEF121": 1},
        passed_over={"remote": 1, "error_frame": 1},
    ),
    Sample(
        "dialects.log",
        f"({NINE_UTC_S:.6f}) can0 123#70\n"
        f" ({NINE_UTC_S + 0.2:.6f})  can0  RX - -  456   [2]  11 22\n"
        f"({NINE_UTC_S + 0.3:.6f}) can0 456##31122 R\n"
        f"({NINE_UTC_S + 0.4:.6f}) can0 123#R1\n"
        f"({NINE_UTC_S + 0.5:.6f}) can0 123#7\n"  # half a byte
        f" ({NINE_UTC_S + 1:.6f})  can0  TX - -  123   [1]  71\n",
        read=4,
        unknown={"456": 2},
        spoiled={"syntax": 1},
        passed_over={"remote": 1},
    ),
    Sample(
        "sheet.csv",
        "# made by hand\nData;Hora;Volts\n16.05.2026;10:11:00;52,1\n"  # Lisbon is an hour ahead
        "16.05.2026;10:11:01;52,2\n32.05.2026;10:11:02;52,3\n",
        read=3,
        channel="pack_voltage_v",
        spoiled={"syntax": 1},
    ),
]


def played(folder: Path, path: Path) -> Account:
    dbc = folder / "pack.dbc"
    dbc.write_text(DBC)
    tables = path.suffix == ".csv"
    recordings = Recordings([path], (), () if tables or path.suffix == ".nmea" else (dbc,))
    return play_into(folder / "log.sqlite", recordings, None).account


def judged(account: Account, sample: Sample) -> None:
    assert sum(part.read for part in account.parts) == sample.read
    for name in ("unknown", "spoiled", "passed_over"):  # the file's own part and the decoder's
        counts = Counter()
        for part in account.parts:
            counts.update(getattr(part, name))
        assert counts == getattr(sample, name), name
    (channel,) = [c for c in account.channels if c.name == sample.channel]
    assert channel.readings == sample.readings
    if sample.span_s:
        assert (channel.first_utc_s, channel.last_utc_s) == pytest.approx(sample.span_s, abs=0.01)


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda sample: sample.name)
def test_every_line_and_frame_is_accounted_for(tmp_path, sample):
    path = tmp_path / sample.name
    path.write_text(sample.text)
    path.with_suffix(".toml").write_text(MAP)
    judged(played(tmp_path, path), sample)


def test_a_compressed_recording_has_the_same_account(tmp_path):
    sample = next(sample for sample in SAMPLES if sample.name == "dialects.log")
    path = tmp_path / "dialects.log.gz"
    path.write_bytes(gzip.compress(sample.text.encode()))
    judged(played(tmp_path, path), sample)


def test_a_binary_recording_is_accounted_for(tmp_path):
    path = tmp_path / "bus.blf"
    with can.Logger(path) as writer:  # python-can writes it
        for k, (number, data) in enumerate([(0x123, b"\x70"), (0x456, b"\x01"), (0x123, b"\x71")]):
            writer.on_message_received(
                can.Message(
                    timestamp=NINE_UTC_S + k / 2,
                    arbitration_id=number,
                    is_extended_id=False,
                    data=data,
                )
            )
    judged(played(tmp_path, path), Sample(path.name, "", read=3, unknown={"456": 1}))
