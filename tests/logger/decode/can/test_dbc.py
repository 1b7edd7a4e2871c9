"""Any DBC decoded in blocks and one by one, against cantools itself."""

import math
import subprocess
import sys
from functools import lru_cache
from pathlib import Path
from typing import Any

import cantools.database
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.decode.can.dbc import DbcChoices, DbcDecoder, highest_measured
from logger.decode.can.frames import EXTENDED
from logger.decode.counters import Counters
from logger.decode.message import MessageHandler
from logger.errors import BoatFileError
from logger.reading import Block, Row

HEADER = 'VERSION ""\nNS_ :\nBS_:\nBU_: A\n'

# Every kind of signal that a DBC can hold: both byte orders, signed, floats, odd lengths,
# nine-byte spans are impossible in eight bytes; scales with and without decimals, offsets.
ASSORTED = (
    HEADER
    + """
BO_ 256 Little: 8 A
 SG_ U3 : 5|3@1+ (1,0) [0|0] "" A
 SG_ S13 : 8|13@1- (0.01,-40) [0|0] "" A
 SG_ U16 : 24|16@1+ (0.125,0) [0|0] "" A
 SG_ S24 : 40|24@1- (0.001,12.5) [0|0] "" A

BO_ 257 Big: 8 A
 SG_ BU12 : 7|12@0+ (0.1,0) [0|0] "" A
 SG_ BS20 : 11|20@0- (0.03,7) [0|0] "" A
 SG_ BU31 : 38|31@0+ (1e-06,0) [0|0] "" A

BO_ 258 Wide: 8 A
 SG_ S64 : 0|64@1- (1e-07,0) [0|0] "" A

BO_ 259 WideBig: 8 A
 SG_ U64 : 7|64@0+ (1e-09,0) [0|0] "" A

BO_ 260 Real: 8 A
 SG_ F32 : 0|32@1- (2,1) [0|0] "" A
 SG_ F32B : 39|32@0- (1,0) [0|0] "" A

BO_ 2566844961 Turned: 7 A
 SG_ Back : 3|17@1- (-0.5,3) [0|0] "" A
 SG_ Muxer M : 24|4@1+ (1,0) [0|0] "" A
 SG_ First m1 : 32|16@1- (0.02,0) [0|0] "" A
 SG_ Second m2 : 36|12@1+ (0.25,-8) [0|0] "" A

SIG_VALTYPE_ 260 F32 : 1;
SIG_VALTYPE_ 260 F32B : 1;
"""
)


@pytest.fixture(scope="module")
def assorted(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("dbc") / "assorted.dbc"
    path.write_text(ASSORTED)
    return path


def decoder(path: Path, **options: object) -> DbcDecoder:
    signals = options.pop("signals", None)
    return DbcDecoder(path, "bus", Counters("bus"), signals, DbcChoices(**options))  # type: ignore[arg-type]


@lru_cache
def all_kept(path: Path) -> DbcDecoder:
    return decoder(path)


@lru_cache
def loaded(path: Path) -> Any:
    return cantools.database.load_file(str(path))


def by_block(found: DbcDecoder, can_id: int, payload: bytes) -> dict[str, float]:
    handler = found.handler(can_id)
    assert handler
    data = np.zeros((1, 64 if len(payload) > 8 else 8), np.uint8)
    data[0, : len(payload)] = np.frombuffer(payload, np.uint8)
    values: dict[str, float] = {}
    for item in handler.block(np.array([5]), np.array([len(payload)], np.uint8), data):
        assert isinstance(item, Block)
        values |= dict(zip(item.group.channels, item.values[0].tolist(), strict=True))
    return {name: value for name, value in values.items() if not math.isnan(value)}


def by_row(found: DbcDecoder, can_id: int, payload: bytes) -> dict[str, float]:
    handler = found.handler(can_id)
    assert handler
    values: dict[str, float] = {}
    for item in handler.row(5, payload):
        assert isinstance(item, Row)
        values |= {
            name: value
            for name, value in zip(item.group.channels, item.values, strict=True)
            if value is not None
        }
    return values


def cantools_values(path: Path, can_id: int, payload: bytes) -> dict[str, tuple[float, float]]:
    """Channel -> value by cantools, and the largest number met on the way to it."""
    message = loaded(path).get_message_by_frame_id(can_id & ~EXTENDED)
    try:
        decoded = message.decode(payload, decode_choices=False)
    except cantools.database.DecodeError:  # a selector without signals: the rest is still there
        decoded = {}
    names = {}
    for name, value in decoded.items():
        signal = message.get_signal_by_name(name)
        largest = max(abs(value), abs(value - signal.offset), abs(signal.offset))
        names[f"other_{message.name.lower()}_{name.lower()}_count"] = (value, largest)
    return names


FRAMES = st.sampled_from([256, 257, 258, 259, 260, 0x18FEF221 | EXTENDED])


@settings(max_examples=400, deadline=None)
@given(can_id=FRAMES, payload=st.binary(min_size=8, max_size=8))
def test_blocks_and_rows_agree_with_cantools(assorted: Path, can_id: int, payload: bytes):
    if can_id & EXTENDED:
        payload = payload[:7]
    found = all_kept(assorted)
    block, row = by_block(found, can_id, payload), by_row(found, can_id, payload)
    assert block == row  # bit for bit
    for name, (value, largest) in cantools_values(assorted, can_id, payload).items():
        if not math.isfinite(value) or abs(value) > 1e15:
            assert name not in block
        else:
            assert abs(block[name] - value) <= math.ulp(largest), name


def test_blocks_agree_with_cantools_for_can_fd(shared_data: Path):
    path = shared_data / "can_dbc_decode" / "foobar.dbc"
    payload = bytes([2]) + bytes(7) + bytes([1]) + bytes(55)
    # Expected: can_dbc_decode/cases.json, decode_can_fd: Fie 2, Fas 1.
    expected = {"other_canfd_fie_count": 2.0, "other_canfd_fas_count": 1.0}
    assert by_block(decoder(path), 0x12333 | EXTENDED, payload) == expected
    assert by_row(decoder(path), 0x12333 | EXTENDED, payload) == expected


def test_big_endian_signed_worked_example(shared_data: Path):
    # Reference values 4.6, from the cantools README: 80 4A 0F 00 .. gives Foo = 255.92.
    path = shared_data / "can_dbc_decode" / "foobar.dbc"
    found = decoder(path, signals={"Foo.Foo": {"channel": "pack_temp_c"}})
    payload = bytes.fromhex("804A0F0000000000")
    assert by_row(found, 74544 | EXTENDED, payload) == {"pack_temp_c": -17.23}


def test_identifier_with_bit_31_is_extended(assorted: Path):
    # Reference values 4.6: DBC id 2566844961 is 0x98FEF221, so extended 0x18FEF221.
    assert decoder(assorted).handler(0x18FEF221 | EXTENDED)
    assert decoder(assorted).handler(0x18FEF221) is None


def test_signals_land_in_their_channels_with_unit_and_sign(tmp_path: Path):
    path = tmp_path / "pack.dbc"
    path.write_text(
        HEADER
        + 'BO_ 100 Pack: 6 A\n SG_ Volts : 0|16@1+ (10,0) [0|0] "mV" A\n'
        + ' SG_ Amps : 16|16@1- (0.1,0) [0|0] "A" A\n SG_ Turns : 32|16@1+ (1,0) [0|0] "" A\n'
    )
    signals = {
        "Pack.Volts": {"channel": "pack_voltage_v"},
        "Pack.Amps": {"channel": "pack_current_a", "sign": -1},
        "Pack.Turns": {"channel": "shaft_speed_rps", "unit": "rpm"},
    }
    payload = (5123).to_bytes(2, "little") + (-815).to_bytes(2, "little", signed=True)
    payload += (1250).to_bytes(2, "little")
    found = decoder(path, signals=signals)
    # 5123 x 10 mV; -(-815 x 0.1 A); 1250 / 60 turns a second.
    expected = {"pack_voltage_v": 51.23, "pack_current_a": 81.5, "shaft_speed_rps": 1250 / 60}
    assert by_row(found, 100, payload) == pytest.approx(expected, rel=1e-15)
    assert by_block(found, 100, payload) == by_row(found, 100, payload)
    handler = found.handler(100)
    assert isinstance(handler, MessageHandler)
    group = handler.row(0, payload)[0].group  # type: ignore[union-attr]
    assert [quantum.step for quantum in group.quanta] == [0.01, 0.1, 1 / 60]


@pytest.mark.parametrize(
    ("signals", "text"),
    [
        ({"Little.U4": "other_x_count"}, "did you mean 'Little.U3'"),
        ({"Little.U3": {"channel": "pack_volts"}}, "wants the name of a channel"),
        ({"Little.U16": {"channel": "pack_voltage_v"}}, "wants unit = ... that fits V"),
        ({"Little.U16": {"channel": "pack_voltage_v", "unit": "A"}}, "wants a unit that fits"),
        ({"Little.U16": {"channel": "pack_voltage_v", "unit": "V", "sign": 2}}, "1 or -1"),
        ({"Little.U16": {"channel": "pack_voltage_v", "factor": 2}}, "got factor"),
    ],
)
def test_wrong_signals_name_the_key(assorted: Path, signals: dict[str, object], text: str):
    with pytest.raises(BoatFileError, match=text):
        decoder(assorted, signals=signals)


def test_not_a_dbc_file_says_so(tmp_path: Path):
    path = tmp_path / "x.dbc"
    path.write_text("{} not a dbc")
    with pytest.raises(BoatFileError, match="wants a DBC file"):
        decoder(path)
    with pytest.raises(BoatFileError, match="No such file"):
        decoder(tmp_path / "none.dbc")


def test_wrong_length_is_refused_and_counted(assorted: Path):
    counters = Counters("bus")
    found = DbcDecoder(assorted, "bus", counters)
    handler = found.handler(256)
    assert handler
    assert handler.row(0, bytes(7)) == []
    assert handler.block(np.arange(2), np.array([7, 0], np.uint8), np.zeros((2, 8), np.uint8)) == []
    assert counters["length"] == 3


def test_value_outside_plausible_limits_is_missing_and_counted(tmp_path: Path):
    path = tmp_path / "cell.dbc"
    path.write_text(HEADER + 'BO_ 1 C: 2 A\n SG_ V : 0|16@1+ (0.001,0) [0|0] "V" A\n')
    counters = Counters("bus")
    found = DbcDecoder(path, "bus", counters, {"C.V": "cell_01_voltage_v"})
    handler = found.handler(1)
    assert handler
    assert handler.row(0, (9999).to_bytes(2, "little")) == []  # 9.999 V is no cell
    assert by_block(found, 1, (9999).to_bytes(2, "little")) == {}
    assert counters["out_of_limits"] == 2


def test_j1939_matches_by_group_and_takes_error_codes_as_missing(tmp_path: Path):
    path = tmp_path / "j.dbc"
    path.write_text(
        HEADER
        + f"BO_ {0x0CF00400 | EXTENDED} Engine: 8 A\n"
        + ' SG_ Speed : 24|16@1+ (0.125,0) [0|0] "rpm" A\n'
        + ' SG_ Coolant : 56|8@1+ (1,-40) [0|0] "degC" A\n'
    )
    signals = {"Engine.Speed": "motor_speed_rps", "Engine.Coolant": "motor_temp_c"}
    found = decoder(path, signals=signals, j1939=True)
    # Reference values 4.2: 0x4E20 x 0.125 is 2500 rpm; byte 130 is 90 degC; 0xFF not available.
    payload = bytes.fromhex("000000204E000082")
    for can_id in (0x0CF00400, 0x0CF00427, 0x18F00400):  # any sender, any priority
        values = by_row(found, can_id | EXTENDED, payload)
        assert values == {"motor_speed_rps": pytest.approx(2500 / 60), "motor_temp_c": 90.0}
    lost = bytes.fromhex("000000FFFF0000FF")
    assert by_row(found, 0x0CF00400 | EXTENDED, lost) == {}
    assert by_row(found, 0x0CF00400 | EXTENDED, bytes.fromhex("00000000FE0000FE")) == {}
    assert found.handler(0x0CF00300 | EXTENDED) is None


def test_reading_a_dbc_file_loads_nothing_of_buses(assorted: Path):
    code = (
        "import sys, pathlib\n"
        "from logger.decode.can.dbc import load\n"
        f"assert load(pathlib.Path({str(assorted)!r})).messages\n"
        "assert 'can' not in sys.modules and 'asyncio' not in sys.modules\n"
        "import cantools.tester, cantools.logreader\n"
        "assert cantools.tester.Tester and cantools.logreader.Parser\n"
    )
    root = Path(__file__).resolve().parents[4]
    subprocess.run([sys.executable, "-c", code], cwd=root, check=True)


def test_highest_measured_by_length():
    # Reference values 4.2: valid one-byte numbers are 0 to 250; 0xFExx is an error.
    assert [highest_measured(n) for n in (1, 2, 8, 16)] == [1, 1, 250, 0xFAFF]
