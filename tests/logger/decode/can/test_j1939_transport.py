"""J1939 messages of more than eight bytes."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.decode.can.bus import BusDecoder
from logger.decode.can.dbc import DbcChoices, DbcDecoder
from logger.decode.can.frames import EXTENDED, Frame, batch_of
from logger.decode.can.j1939_transport import CONNECTION, DATA, Transport
from logger.decode.can.pgn_id import split
from logger.decode.counters import Counters
from logger.reading import Row
from tests.support.single_frames import feed_one

# Reference values 4.2: 0x00ECFF01 data 20 14 00 03 FF B0 FE 00 announces 20 bytes in 3 packets
# of PGN 65200; then 0x00EBFF01 with 01.., 02.., 03..
ANNOUNCE = bytes.fromhex("20140003FFB0FE00")
PAYLOAD = bytes(range(100, 120))
PACKETS = [bytes([k + 1]) + PAYLOAD[7 * k : 7 * k + 7].ljust(7, b"\xff") for k in range(3)]
BROADCAST = [(0x00ECFF01, ANNOUNCE)] + [(0x00EBFF01, packet) for packet in PACKETS]


def feed(transport: Transport, frames: list[tuple[int, bytes]]) -> list[tuple[int, bytes]]:
    done = []
    for can_id, data in frames:
        this = split(can_id)
        whole = transport.feed(this.pgn, this.source, this.destination, data)
        if whole:
            done.append(whole)
    return done


def test_announced_broadcast_is_put_together():
    assert feed(Transport(Counters("x")), BROADCAST) == [(65200, PAYLOAD)]


def test_transfer_between_two_devices_is_overheard():
    """A packet sent again does no harm; the receiver's own frames are passed over."""
    request = (0x18EC0201, b"\x10" + ANNOUNCE[1:])
    clear = (0x18EC0102, bytes.fromhex("110301FFFFB0FE00"))
    packets = [(0x18EB0201, packet) for packet in PACKETS]
    frames = [request, clear, packets[0], packets[0], *packets[1:]]
    counters = Counters("x")
    assert feed(Transport(counters), frames) == [(65200, PAYLOAD)]
    assert counters.errors() == {}


@pytest.mark.parametrize("missing", [0, 1, 2])
def test_a_lost_packet_loses_the_message_and_is_counted(missing: int):
    counters = Counters("x")
    frames = [frame for k, frame in enumerate(BROADCAST) if k != missing]
    transport = Transport(counters)
    assert feed(transport, frames) == []
    assert counters["lost_packet"] >= 1
    assert feed(transport, BROADCAST) == [(65200, PAYLOAD)]


def test_announcement_that_does_not_add_up_is_refused():
    counters = Counters("x")
    wrong = (0x00ECFF01, bytes.fromhex("20140004FFB0FE00"))
    assert feed(Transport(counters), [wrong, *BROADCAST[1:]]) == []
    assert counters["syntax"] == 1


def test_long_message_of_a_dbc_file(tmp_path: Path):
    can_id = 0x18FEB001  # PGN 65200
    (tmp_path / "long.dbc").write_text(
        'VERSION ""\nNS_ :\nBS_:\nBU_: A\n'
        f"BO_ {can_id | EXTENDED} Long: 20 A\n"
        ' SG_ First : 0|8@1+ (1,0) [0|0] "" A\n SG_ Late : 136|16@1+ (0.5,0) [0|0] "V" A\n'
    )
    counters = Counters("bus")
    found = DbcDecoder(tmp_path / "long.dbc", "bus", counters, choices=DbcChoices(j1939=True))
    bus = BusDecoder([found], counters)
    expected = {"other_long_first_count": 100.0, "other_long_late_v": (117 + 118 * 256) / 2}
    rows = [r for i, d in BROADCAST for r in feed_one(bus, 1, i | EXTENDED, d)]
    batch = batch_of([Frame(k, i | EXTENDED, d, "b") for k, (i, d) in enumerate(BROADCAST)])
    for row in [*rows, *bus.feed_live(batch)]:
        assert isinstance(row, Row)
        assert dict(zip(row.group.channels, row.values, strict=True)) == expected
    assert len(rows) == 1


@settings(max_examples=300, deadline=None)
@given(
    frames=st.lists(
        st.tuples(st.sampled_from([CONNECTION, DATA]), st.integers(0, 3), st.binary(max_size=8)),
        max_size=30,
    )
)
def test_arbitrary_frames_never_raise(frames: list[tuple[int, int, bytes]]):
    transport = Transport(Counters("x"))
    for pgn, source, data in frames:
        whole = transport.feed(pgn, source, 255, data)
        assert whole is None or len(whole[1]) <= 1785
