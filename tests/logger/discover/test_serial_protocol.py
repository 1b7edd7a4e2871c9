"""Telling protocols apart, on published frames and on the frames of other programs' libraries.

Worked frames: reference values 4.1, 4.2, 4.3, 4.4, 4.5. Peers: python-can's slcan, the canopen
library's nodes, pymodbus' framer.
"""

import os
import random
import tty
from pathlib import Path

import can
import canopen
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pymodbus.framer import FramerRTU
from pymodbus.pdu import DecodePDU
from pymodbus.pdu.register_message import (
    ReadHoldingRegistersRequest,
    ReadHoldingRegistersResponse,
)

from logger.decode.can.frames import EXTENDED
from logger.discover.can_protocol import CanFrame, can_frames
from logger.discover.serial_protocol import crc16, serial_bytes

MORE = 20 if os.environ.get("KEELWATT_FULL") else 1
SENTENCES = b"""$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68\r
$GPGLL,4916.45,N,12311.12,W,225444,A,*1D\r
$GPVTG,,T,,M,0.00,N*1B\r
$YXXDR,A,-64.437,M,N,A,054.454,D,E,C,17.09,C,T-N1052*46\r
$IIVHW,,T,213.0,M,5.0,N,9.3,K*74\r
$IIRPM,S,1,1250.0,,A*58\r
"""


def test_crc16_is_the_published_one():
    assert crc16(b"123456789") == 0x4B37
    assert crc16(bytes.fromhex("11 03 00 7C 00 02 07 43")) == 0


def test_published_sentences_are_nmea_0183_from_any_byte_on():
    for start in range(0, 60, 7):
        guess = serial_bytes(SENTENCES[start:-3])
        assert guess.protocol == "NMEA 0183"
        assert guess.sureness_frac >= 0.9
    assert "IIRPM" in serial_bytes(SENTENCES).text


def test_sentences_with_wrong_checksums_are_not_believed():
    damaged = SENTENCES.replace(b"*", b"*0")
    assert serial_bytes(damaged).protocol != "NMEA 0183"


def test_published_modbus_frames_are_modbus():
    # request, reply and exception of one device, and the specification's two examples
    frames = [
        "11 03 00 7C 00 02 07 43",
        "11 03 04 00 8D 00 8E FB BD",
        "11 83 02 C1 34",
        "11 03 00 6B 00 03 76 87",
    ]
    guess = serial_bytes(bytes.fromhex("".join(frames)))
    assert guess.protocol == "Modbus RTU"
    assert "devices 17" in guess.text


def test_another_librarys_modbus_traffic_is_modbus_even_when_cut():
    framer = FramerRTU(DecodePDU(False))
    traffic = b""
    for n in range(6):
        ask = ReadHoldingRegistersRequest(address=16 * n, count=4, dev_id=n % 2 + 1)
        reply = ReadHoldingRegistersResponse(registers=[n, 500, 65535, 7], dev_id=n % 2 + 1)
        traffic += framer.buildFrame(ask) + framer.buildFrame(reply)
    for cut in range(12):
        guess = serial_bytes(traffic[cut:-cut] if cut else traffic)
        assert guess.protocol == "Modbus RTU", cut
        assert "devices 1, 2" in guess.text


def test_frames_of_a_serial_can_adapter_are_told_from_text():
    master, slave = os.openpty()
    tty.setraw(master)
    bus = can.Bus(interface="slcan", channel=os.ttyname(slave), sleep_after_open=0)
    try:
        os.read(master, 1000)  # the adapter's own set-up
        for n in range(5):
            message = can.Message(
                arbitration_id=0x123 + n, data=bytes(n), is_extended_id=n % 2 == 0
            )
            bus.send(message)
        sent = b""
        while sent.count(b"\r") < 5:
            sent += os.read(master, 1000)
    finally:
        bus.shutdown()
        os.close(master)
        os.close(slave)
    assert serial_bytes(sent).protocol == "CAN over a serial line"


def test_lines_silence_and_noise():
    lines = b"V=52.1 I=-3.2 T=21\r\n" * 5
    assert serial_bytes(lines).protocol == "text lines"
    assert serial_bytes(b"").protocol == "silence"
    noise = random.Random(3).randbytes(500)
    assert serial_bytes(noise).protocol == "noise"
    wrong_rate = bytes(b >> 1 | 0x80 for b in SENTENCES)
    assert serial_bytes(wrong_rate).protocol == "noise"


@settings(max_examples=200 * MORE)
@given(st.binary(max_size=400))
def test_no_bytes_break_it_and_few_are_taken_for_a_protocol(data: bytes):
    guess = serial_bytes(data)
    assert 0 < guess.sureness_frac <= 1
    assert guess.protocol in ("silence", "noise", "text lines")


def test_noise_is_hardly_ever_taken_for_modbus():
    rng = random.Random(11)
    names = [serial_bytes(rng.randbytes(300)).protocol for _ in range(400)]
    assert set(names) == {"noise"}


def long(identifier: int, data: str) -> CanFrame:
    return identifier | EXTENDED, bytes.fromhex(data)


def names_of(frames: list[CanFrame]) -> list[str]:
    return [g.protocol for g in can_frames(frames)]


def test_published_nmea_2000_frames():
    frames = [
        long(0x19F21421, "00 00 14 AB FC 77 74 07"),
        long(0x19F21221, "40 0B 07 00 00 4C 62 5F"),
        long(0x19F21221, "41 00 0C 00 C8 00 FF FF"),
        long(0x15FD0C21, "01 02 03 5F 1B 05 FF FF"),
    ]
    assert names_of(frames) == ["NMEA 2000"]


def test_published_j1939_frames():
    frames = [
        long(0x0CF00400, "00 00 00 20 4E 00 00 00"),
        long(0x00FEB201, "00 00 00 00 00 00 00 00"),
        long(0x18EAFF00, "00 EE 00"),
        long(0x00ECFF01, "20 14 00 03 FF B0 FE 00"),
        long(0x0CF00400, "00 00 00 21 4E 00 00 00"),
    ]
    assert names_of(frames) == ["J1939"]


def test_published_canopen_frames():
    # question and answer, then two heartbeats of node 2
    frames = [
        (0x602, bytes.fromhex("40 18 10 01 00 00 00 00")),
        (0x582, bytes.fromhex("43 18 10 01 04 00 00 00")),
        (0x702, b"\x05"),
        (0x182, bytes(8)),
        (0x702, b"\x05"),
        (0x082, bytes.fromhex("01 20 02 00 01 02 03 04")),
    ]
    (guess,) = can_frames(frames)
    assert guess.protocol == "CANopen"
    assert "nodes 2" in guess.text


def test_another_librarys_canopen_node_is_canopen():
    listener = can.Bus(interface="virtual", channel="recognise")
    network = canopen.Network()
    network.connect(interface="virtual", channel="recognise")
    try:
        node = canopen.LocalNode(5, canopen.ObjectDictionary())
        network.add_node(node)
        node.nmt.send_command(0)
        for state in (0, 127, 5, 5):
            network.send_message(0x705, bytes([state]))
            network.send_message(0x185, bytes(8))
            node.emcy.send(0x3210)
    finally:
        network.disconnect()
    frames: list[CanFrame] = []
    while (message := listener.recv(0.2)) is not None:
        extended = EXTENDED if message.is_extended_id else 0
        frames.append((message.arbitration_id | extended, bytes(message.data)))
    listener.shutdown()
    assert names_of(frames) == ["CANopen"]


def test_a_makers_own_frames_are_said_to_want_a_dbc():
    frames = [(0x100 + n % 7, bytes(8)) for n in range(100)]
    (guess,) = can_frames(frames)
    assert guess.protocol == "CAN of a maker's own"
    assert "DBC" in guess.text
    assert names_of([long(0x10000 + n % 5, "0102") for n in range(50)]) == ["CAN of a maker's own"]


def test_two_protocols_on_one_bus_are_both_told():
    marine = [long(0x19F21421, "00 00 14 AB FC 77 74 07")] * 10
    own = [(0x201, bytes(8)), (0x202, bytes(8))] * 10
    assert set(names_of(marine + own)) == {"NMEA 2000", "CAN of a maker's own"}


@settings(max_examples=100 * MORE)
@given(st.lists(st.tuples(st.integers(0, 2**32 - 1), st.binary(max_size=64)), max_size=60))
def test_no_frames_break_it(frames: list[CanFrame]):
    for guess in can_frames(frames):
        assert 0 < guess.sureness_frac <= 1


@pytest.mark.field
def test_a_boats_recorded_bus_is_nmea_2000(shared_data: Path):
    frames: list[CanFrame] = []
    for line in (shared_data / "nmea2000_bus_log/bus.candump.log").read_text().splitlines():
        identifier, data = line.split()[2].split("#")
        frames.append(long(int(identifier, 16), data))
    for start in range(0, len(frames) - 50, 500):  # a few seconds of it are enough
        assert names_of(frames[start : start + 50]) == ["NMEA 2000"]


@pytest.mark.field
def test_a_boats_recorded_sentences_are_nmea_0183(shared_data: Path):
    data = (shared_data / "nmea0183_logs/river_powerboat.nmea").read_bytes()
    assert serial_bytes(data).protocol == "NMEA 0183"
    assert serial_bytes(data[1000:1400]).protocol == "NMEA 0183"
