"""The logger's own channels."""

import queue
from pathlib import Path

import pytest

from logger.channels import find
from logger.daemon.feed import Feed
from logger.daemon.health import Health, card_bytes_written
from logger.decode.can.frames import EXTENDED, Frame, batch_of
from logger.decode.counters import Counters
from logger.sources.can_bus import bits_on_bus


def feed(name: str) -> Feed:
    return Feed(name, lambda: pytest.fail("not opened"), Counters(name), queue.Queue())


def test_rows_have_every_counter_and_known_channels(tmp_path: Path):
    can = feed("can0")
    can.counters.add("frames", 100)
    can.counters.add("out_of_limits", 3)
    can.counters.add("length", 2)
    can.counters.add("unknown_id", 50)  # nobody asked for these: no fault
    can.counters.add("error_frame", 4)
    can.counters.add("dropped", 7)
    row, own = Health(tmp_path, {"can0": 250_000}).rows([can], 5, 1, 0.25, 9)
    found = dict(zip(row.group.channels, row.values, strict=True))
    assert found == {
        "health_can0_frames_count": 100,
        "health_can0_errors_count": 5,
        "health_can0_reconnects_count": 0,
        "health_can0_dropped_count": 7,
        "health_can0_bus_errors_count": 4,
        "health_can0_bus_load_frac": None,  # nothing to compare with yet
    }
    words = dict(zip(own.group.channels, own.values, strict=True))
    assert words["health_log_lag_s"] == 0.25
    assert words["health_log_dropped_count"] == 9
    assert 0 < (words["health_log_disk_left_frac"] or 0) <= 1
    assert all(find(name) for name in (*row.group.channels, *own.group.channels))


def test_bus_load_of_a_known_traffic(tmp_path: Path):
    """1000 frames of 8 bytes and 11 bits in 1 s: 111 bits each and a tenth more; 500 kbit/s."""
    frames = [Frame(k, 0x123, bytes(8), "can0") for k in range(1000)]
    assert bits_on_bus(batch_of(frames)) == 122_100
    assert bits_on_bus(batch_of([Frame(0, EXTENDED, b"", "x")])) == 73
    can = feed("can0")
    health = Health(tmp_path, {"can0": 500_000})
    health.rows([can], 1_000_000, 0, 0.0)
    can.counters.add("bus_bits", 122_100)
    row = health.rows([can], 2_000_000, 0, 0.0)[0]
    assert row.values[-1] == pytest.approx(0.2442)


def test_card_bytes_come_from_the_block_device(tmp_path: Path):
    """Documentation/block/stat.rst: the seventh number is sectors of 512 bytes written."""
    device = tmp_path.stat().st_dev
    import os

    folder = tmp_path / f"dev/block/{os.major(device)}:{os.minor(device)}"
    folder.mkdir(parents=True)
    (folder / "stat").write_text("  1 2 3 4 5 6 2000 8 9 10 11\n")
    assert card_bytes_written(tmp_path, tmp_path) == 1_024_000
    assert card_bytes_written(tmp_path, tmp_path / "none") is None
