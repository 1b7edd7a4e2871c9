"""candump text in all its layouts, fast and slow, against python-can's reader and by hand."""

import gzip
from pathlib import Path

import can
import numpy as np
import pytest
import zstandard
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.decode.can.frames import EXTENDED, FrameBatch, joined
from logger.decode.counters import Counters
from logger.errors import RecordingError
from logger.sources.recordings.candump import read_candump
from logger.sources.recordings.candump_line import read_time

Plain = tuple[int, int, bytes, str]


def plain(batches: list[FrameBatch]) -> list[Plain]:
    return [
        (int(b.t_us[k]), int(b.ids[k]), b.data[k, : b.lengths[k]].tobytes(), b.names[b.buses[k]])
        for b in batches
        for k in range(len(b))
    ]


def read(path: Path, counters: Counters | None = None, piece: int = 1 << 22) -> list[Plain]:
    return plain(list(read_candump(path, counters or Counters("x"), piece)))


def written(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "frames.log"
    path.write_bytes(text.encode())
    return path


# Reference values 4.6; sources named there.
WORKED = [
    (
        "(1609779922.655421) vcan0 00000343#B204B9049C049C04",
        (1609779922655421, 0x343 | EXTENDED, bytes.fromhex("B204B9049C049C04"), "vcan0"),
    ),
    ("(1.000000) can0 123#", (1_000_000, 0x123, b"", "can0")),
    (
        "(1.500000) can0 12345678#112233",
        (1_500_000, 0x12345678 | EXTENDED, b"\x11\x22\x33", "can0"),
    ),
]


# By hand, as the tools print them: direction and CAN FD's marks, length codes, long lengths.
DIALECTS = [
    (" (1.500000)  can0  RX - -  123   [2]  11 22", (1_500_000, 0x123, b"\x11\x22", "can0")),
    (" (1.500000)  can0  TX B E  123  [03]  11 22 33", (1_500_000, 0x123, b"\x11\x22\x33", "can0")),
    ("(1.500000) can0 123##31122 R", (1_500_000, 0x123, b"\x11\x22", "can0")),
    ("(1.500000) can0 123#1122334455667788_B",
     (1_500_000, 0x123, bytes.fromhex("1122334455667788"), "can0")),
]  # fmt: skip


@pytest.mark.parametrize(("line", "expected"), [*WORKED, *DIALECTS])
def test_worked_lines(tmp_path: Path, line: str, expected: Plain):
    assert read(written(tmp_path, line + "\n")) == [expected]


def test_remote_frame_is_counted_not_read(tmp_path: Path):
    counters = Counters("x")
    assert read(written(tmp_path, "(1609779922.655421) can0 123#R7\n"), counters) == []
    assert counters.errors() == {"remote": 1}


def test_layouts_may_be_mixed_and_keep_their_order(tmp_path: Path):
    text = (
        "(1600000000.000001) can0 123#01\n"
        " (2020-09-13 12:26:40.000002)  can1  00ABCDEF   [2]  F0 01\n"
        "(1600000000.000003) can0 123#0102 R\r\n"
        "(1600000000.000004) can0 12345678##1AABBCCDDEEFF001122334455\n"
        "(1600000000.000005) can0 ERROR\n"
        "\n"
        "(1600000000.000006) can0 7FF#8899AABBCCDDEEFF\n"
        "(1600000000.000007) can0 800#00\n"
        "(1600000000.000008) can0 123#0\n"
        "nonsense\n"
    )
    counters = Counters("x")
    got = read(written(tmp_path, text), counters)
    assert [frame[0] - 1_600_000_000_000_000 for frame in got] == [1, 2, 3, 4, 6]
    assert got[1] == (1_600_000_000_000_002, 0xABCDEF | EXTENDED, b"\xf0\x01", "can1")
    assert got[3][2] == bytes.fromhex("AABBCCDDEEFF001122334455")
    assert counters.errors() == {"error_frame": 1, "syntax": 3}


def test_lines_without_times_keep_their_order(tmp_path: Path):
    counters = Counters("x")
    got = read(written(tmp_path, "  vcan0  0C8   [1]  F0\n  vcan0  0C8   [1]  F1\n"), counters)
    assert [frame[2] for frame in got] == [b"\xf0", b"\xf1"]
    assert got[0][0] < got[1][0]
    assert counters["untimed"] == 2


FRAME = st.tuples(
    st.integers(10**15, 4 * 10**15),
    st.one_of(st.integers(0, 0x7FF), st.integers(0, 0x1FFFFFFF).map(lambda i: i | EXTENDED)),
    st.binary(max_size=8),
    st.sampled_from(["can0", "vcan1", "slcan12"]),
)


@settings(max_examples=60, deadline=None)
@given(frames=st.lists(FRAME, min_size=1, max_size=40), piece=st.integers(30, 400))
def test_blocks_agree_with_python_can(
    tmp_path_factory: pytest.TempPathFactory, frames: list[Plain], piece: int
):
    frames = sorted(frames, key=lambda frame: frame[0])
    path = tmp_path_factory.mktemp("log") / "x.log"
    with can.CanutilsLogWriter(path) as writer:
        for t_us, can_id, data, bus in frames:
            writer.on_message_received(
                can.Message(
                    timestamp=t_us / 1e6,
                    arbitration_id=can_id & ~EXTENDED,
                    is_extended_id=bool(can_id & EXTENDED),
                    data=data,
                    channel=bus,
                )
            )
    got = read(path, piece=piece)
    with can.CanutilsLogReader(path) as reader:
        expected = [
            (
                round(m.timestamp * 1e6),
                m.arbitration_id | (EXTENDED if m.is_extended_id else 0),
                bytes(m.data),
                m.channel,
            )
            for m in reader
        ]
    assert got == expected


@settings(max_examples=300, deadline=None)
@given(
    text=st.one_of(
        st.binary(max_size=200),
        st.text("()0123456789.ABCDEFabcdefR# \ncan[]", max_size=200).map(str.encode),
    )
)
def test_arbitrary_text_never_raises(tmp_path_factory: pytest.TempPathFactory, text: bytes):
    path = tmp_path_factory.mktemp("log") / "x.log"
    path.write_bytes(b"(1600000000.000001) can0 123#01\n" + text)
    got = read(path)
    assert got[0][2] == b"\x01" or b"(" in text


@pytest.mark.parametrize("kind", ["gz", "zst"])
def test_compressed_reads_the_same_and_up_to_a_tear(tmp_path: Path, kind: str):
    lines = [
        f"(16{k:08d}.{k * 7919 % 10**6:06d}) can0 {k % 2048:03X}#{k * 2654435761 % 2**64:016X}\n"
        for k in range(20_000)
    ]
    text = "".join(lines).encode()
    squeezed = gzip.compress(text) if kind == "gz" else zstandard.compress(text)
    path = tmp_path / f"x.log.{kind}"
    path.write_bytes(squeezed)
    whole = read(path)
    assert len(whole) == 20_000
    path.write_bytes(squeezed[: len(squeezed) * 3 // 4])
    counters = Counters("x")
    torn = read(path, counters, piece=1 << 16)
    assert 5_000 < len(torn) < 20_000
    assert torn[:-1] == whole[: len(torn) - 1]


def test_missing_file_says_so(tmp_path: Path):
    with pytest.raises(RecordingError, match="No such file"):
        read(tmp_path / "none.log")


def test_read_time_of_both_kinds():
    assert read_time("1609779922.655421") == 1609779922655421
    assert read_time("2020-12-19 12:04:45.485261") == 1608379485485261
    with pytest.raises(ValueError, match="later"):
        read_time("later")


def test_joined_sorts_and_renumbers_buses():
    one = FrameBatch(
        np.array([5, 9]), np.array([1, 2], np.uint32), np.array([1, 1], np.uint8),
        np.zeros((2, 8), np.uint8), np.array([0, 0], np.uint16), ("a",),
    )  # fmt: skip
    two = FrameBatch(
        np.array([7]), np.array([3], np.uint32), np.array([12], np.uint8),
        np.ones((1, 64), np.uint8), np.array([0], np.uint16), ("b",),
    )  # fmt: skip
    whole = joined([one, two])
    assert whole.ids.tolist() == [1, 3, 2]
    assert [whole.names[k] for k in whole.buses] == ["a", "b", "a"]
    assert whole.data.shape == (3, 64)
