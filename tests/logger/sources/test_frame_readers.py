"""Live CAN frames: python-can as the peer over a pty, its virtual bus and UDP multicast."""

import os
import pty
import socket
import struct
import threading
import time
import tty
from collections.abc import Iterator
from pathlib import Path

import can
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.decode.can.frames import EXTENDED, FrameBatch
from logger.decode.counters import Counters
from logger.errors import SourceError
from logger.sources.byte_stream import SerialStream
from logger.sources.can_bus import open_reader
from logger.sources.frame_readers import (
    FrameReader,
    LibraryReader,
    SlcanReader,
    SocketCanReader,
)
from logger.sources.options import Options

SENT = [
    can.Message(arbitration_id=0x12ABCDEF, is_extended_id=True, data=b"\xaa\x55"),
    can.Message(arbitration_id=0x456, is_extended_id=False, data=b"\x11\x22\x33"),
    can.Message(arbitration_id=0x123, is_extended_id=False, is_remote_frame=True, dlc=8),
    can.Message(arbitration_id=0x7FF, is_extended_id=False, data=bytes(range(8))),
    can.Message(arbitration_id=0, is_extended_id=True, data=b""),
]
EXPECTED = [
    (0x12ABCDEF | EXTENDED, b"\xaa\x55"),
    (0x456, b"\x11\x22\x33"),
    (0x7FF, bytes(range(8))),
    (EXTENDED, b""),
]


def frames(batch: FrameBatch | None) -> list[tuple[int, bytes]]:
    if batch is None:
        return []
    rows = range(len(batch))
    return [(int(batch.ids[k]), batch.data[k, : batch.lengths[k]].tobytes()) for k in rows]


def gather(reader: FrameReader, count: int, limit_s: float = 5.0) -> list[tuple[int, bytes]]:
    found: list[tuple[int, bytes]] = []
    until = time.monotonic() + limit_s
    while len(found) < count and time.monotonic() < until:
        found += frames(reader.read(0.1))
    return found


@pytest.fixture
def pair() -> Iterator[tuple[int, int, str]]:
    master, slave = pty.openpty()
    tty.setraw(master)
    tty.setraw(slave)
    yield master, slave, os.ttyname(slave)
    os.close(slave)
    os.close(master)


def test_slcan_reads_what_python_can_sends_over_a_pty(pair: tuple[int, int, str]):
    """python-can's slcan writes to one end; what it sends to open the channel is no frame."""
    master, _, name = pair
    counters = Counters("x")
    reader = SlcanReader(SerialStream(name, 115200), "can0", counters)
    bus = can.Bus(interface="slcan", channel=os.ttyname(_mirror(master)), sleep_after_open=0)
    try:
        for message in SENT:
            bus.send(message)
        assert gather(reader, 4) == EXPECTED
        assert counters["remote"] == 1
    finally:
        bus.shutdown()
        reader.close()


def _mirror(master: int) -> int:
    """Another pty whose bytes are passed on to `master` by a thread."""
    other, end = pty.openpty()
    tty.setraw(other)
    tty.setraw(end)

    def pump() -> None:
        while True:
            try:
                os.write(master, os.read(other, 4096))
            except OSError:
                return

    threading.Thread(target=pump, daemon=True).start()
    return end


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # Reference values 4.6.
        (b"T12ABCDEF2AA55\r", [(0x12ABCDEF | EXTENDED, b"\xaa\x55")]),
        (b"t4563112233\r", [(0x456, b"\x11\x22\x33")]),
        (b"r1238\r", []),
        (b"t4563112233ABCD\r", [(0x456, b"\x11\x22\x33")]),  # with the adapter's own time
        (b"\r\a\rz\rt1230\r", [(0x123, b"")]),
        (b"t45631122\r", []),
        (b"t45691122334455667788\r", []),
        (b"t45g0\r", []),
    ],
)
def test_slcan_worked_lines(pair: tuple[int, int, str], text: bytes, expected: list[object]):
    reader = SlcanReader(SerialStream(pair[2], 115200), "x", Counters("x"))
    os.write(pair[0], text)
    assert gather(reader, len(expected) or 1, 0.3) == expected
    reader.close()


class Pieces:
    """A stream that gives bytes piece by piece."""

    def __init__(self, pieces: list[bytes]) -> None:
        self._pieces = pieces

    def read(self, timeout_s: float) -> bytes:
        return self._pieces.pop(0) if self._pieces else b""

    def close(self) -> None:
        pass


@settings(max_examples=200, deadline=None)
@given(pieces=st.lists(st.binary(max_size=60), max_size=6))
def test_slcan_stays_on_its_feet_with_noise(pieces: list[bytes]):
    reader = SlcanReader(Pieces([*pieces, b"\rt1232ABCD\r"]), "x", Counters("x"))
    found: list[tuple[int, bytes]] = []
    for _ in range(len(pieces) + 2):
        found += frames(reader.read(0.001))
    assert found[-1] == (0x123, b"\xab\xcd")


def test_slcan_lost_port_is_said(pair: tuple[int, int, str]):
    master, slave = pty.openpty()
    reader = SlcanReader(SerialStream(os.ttyname(slave), 115200), "x", Counters("x"))
    os.close(slave)
    os.close(master)
    with pytest.raises(SourceError, match="was lost"):
        reader.read(0.1)
    reader.close()


def test_socketcan_frames_as_the_kernel_lays_them_out():
    """struct can_frame: u32 id with flags, u8 length, 3 bytes, 8 bytes (linux/can.h)."""
    ours, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_DGRAM)
    counters = Counters("x")
    reader = SocketCanReader("can0", counters, ours)
    layout = struct.Struct("=IB3x8s")
    for can_id, data in EXPECTED:
        theirs.send(layout.pack(can_id, len(data), data))
    theirs.send(layout.pack(0x123 | 1 << 30, 8, b""))  # remote
    theirs.send(layout.pack(0x004 | 1 << 29, 8, b""))  # error frame
    theirs.send(layout.pack(0x040 | 1 << 29, 8, b""))  # the controller went off the bus
    theirs.send(layout.pack(0x140, 8, bytes(8)))  # a data frame that has that bit
    theirs.send(b"short")
    assert gather(reader, 5) == [*EXPECTED, (0x140, bytes(8))]
    errors = {"remote": 1, "error_frame": 2, "bus_off": 1, "syntax": 1}
    assert counters.errors() == errors
    reader.close()
    theirs.close()


def test_frames_that_the_kernel_had_no_room_for_are_counted():
    """A UDP socket counts as a CAN socket does (SO_RXQ_OVFL)."""
    ours = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    ours.bind(("127.0.0.1", 0))
    counters = Counters("x")
    reader = SocketCanReader("can0", counters, ours)
    ours.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2048)
    frame = struct.Struct("=IB3x8s").pack(0x123, 1, b"\x01")
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as theirs:
        theirs.connect(ours.getsockname())
        for _ in range(200):
            theirs.send(frame)
        got = len(gather(reader, 200, 0.3))
        theirs.send(frame)
        got += len(gather(reader, 1))
    reader.close()
    assert got < 201
    assert counters["dropped"] == 201 - got


def test_socketcan_without_interface_says_so():
    with pytest.raises(SourceError, match="no_such0"):
        SocketCanReader("no_such0", Counters("x"))


def test_any_python_can_interface_virtual():
    with can.Bus(interface="virtual", channel="keel") as sender:
        counters = Counters("x")
        bus = can.Bus(interface="virtual", channel="keel")
        reader = LibraryReader(bus, "x", counters)
        for message in SENT:
            sender.send(message)
        assert gather(reader, 4) == EXPECTED
        assert counters["remote"] == 1
        reader.close()
        with pytest.raises(SourceError, match="was lost"):
            reader.read(0.1)


def test_any_python_can_interface_udp_multicast():
    """Two processes, or two computers, share a bus this way; here two sockets of one."""
    pytest.importorskip("msgpack")
    table = {"interface": "udp_multicast", "channel": "239.74.163.77"}  # administratively scoped
    counters = Counters("x")
    try:
        sender = can.Bus(interface="udp_multicast", channel="239.74.163.77")
        reader = open_reader(Options("can0", table, Path()), counters)
    except (OSError, can.CanError, SourceError) as error:
        pytest.skip(f"no multicast on this machine: {error}")
    with sender:
        try:
            for message in SENT:
                sender.send(message)
        except (OSError, can.CanError) as error:
            pytest.skip(f"no multicast on this machine: {error}")
        assert gather(reader, 4) == EXPECTED
        assert counters["remote"] == 1
    reader.close()
