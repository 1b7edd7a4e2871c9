"""Raw copies: what was recorded raw replays to the same values; files rotate and are bounded."""

import os
from pathlib import Path

import numpy as np
import pytest

from logger.decode.can.frames import EXTENDED, Frame, batch_of
from logger.decode.counters import Counters
from logger.sources import raw_copy
from logger.sources.raw_copy import RawFile, raw_files
from logger.sources.recordings.candump import read_candump
from replay.player import open_recordings


def test_frames_read_back_as_they_came(tmp_path: Path):
    frames = [
        Frame(1_000_001, 0x123, b"", "can0"),
        Frame(1_000_002, 0x12345678 | EXTENDED, bytes(range(8)), "can0"),
        Frame(1_000_003, 0x7FF, bytes(range(12)), "can0"),
    ]
    raw = RawFile(tmp_path, "can0", utc_offset_us=1_700_000_000_000_000)
    raw.frames(batch_of(frames), "can0")
    raw.close()
    (path,) = tmp_path.glob("can0-*.log")
    (batch,) = read_candump(path, Counters("x"))
    assert batch.ids.tolist() == [f.can_id for f in frames]
    assert [batch.data[k, : batch.lengths[k]].tobytes() for k in range(3)] == [
        f.data for f in frames
    ]
    assert (batch.t_us - 1_700_000_000_000_000).tolist() == [1_000_001, 1_000_002, 1_000_003]


def test_lines_replay(tmp_path: Path):
    raw = RawFile(tmp_path, "gps", utc_offset_us=1_700_000_000_000_000)
    raw.line(5_000_000, "gps", "$IIRPM,S,1,1250.0,,A*58")
    raw.close()
    player = open_recordings(list(tmp_path.glob("gps-*.log")))
    (fix, block) = player.read() or []
    assert fix.utc_us == 1_700_000_005_000_000  # type: ignore[union-attr]
    assert np.allclose(block.values, 1250 / 60)  # type: ignore[union-attr]


def test_torn_last_line_is_skipped(tmp_path: Path):
    raw = RawFile(tmp_path, "gps")
    for k in range(3):
        raw.line(k, "gps", "$IIRPM,S,1,1250.0,,A*58")
    raw.close()
    (path,) = tmp_path.glob("gps-*.log")
    path.write_bytes(path.read_bytes()[:-8])
    player = open_recordings([path])
    (block,) = player.read() or []
    assert len(block.t_us) == 2  # type: ignore[arg-type]
    assert player.counters["nmea0183"]["checksum"] == 1


def test_files_rotate_and_the_oldest_go(tmp_path: Path):
    raw = RawFile(tmp_path, "gps", file_bytes=1000, keep_bytes=3000)
    other = tmp_path / "can0-000001.log"
    other.write_text("x" * 5000)
    for k in range(400):
        raw.line(k * 1_000_000, "gps", "$IIRPM,S,1,1250.0,,A*58")
    raw.close()
    files = raw_files(tmp_path)
    assert files.pop(0) == other
    assert 2 <= len(files) <= 3
    assert sum(path.stat().st_size for path in files) <= 3000
    assert files[-1].read_text().endswith("(0000000399.000000) gps $IIRPM,S,1,1250.0,,A*58\n")


def test_the_oldest_is_known_without_a_clock(tmp_path: Path):
    """A board without a clock begins each boot in 1970: neither names nor file times tell."""
    for boot in range(6):
        raw = RawFile(tmp_path, "gps", file_bytes=500, keep_bytes=1500)
        raw.line(1_000_000 + boot, "gps", "x" * 460)
        raw.close()
        newest = raw_files(tmp_path)[-1]
        os.utime(newest, (9000 - boot, 9000 - boot))
        assert f"(0000000001.{boot:06d})" in newest.read_text()
    assert [path.name for path in raw_files(tmp_path)] == [f"gps-{n:06d}.log" for n in (4, 5, 6)]


def test_a_copy_that_cannot_be_written_costs_only_itself(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(raw_copy, "AGAIN_S", 0.0)
    counters = Counters("gps")
    (tmp_path / "raw").write_text("no folder")
    raw = RawFile(tmp_path / "raw", "gps", file_bytes=100, counters=counters)
    for k in range(9):
        raw.line(k, "gps", "$IIRPM,S,1,1250.0,,A*58")
    raw.close()
    assert counters.as_dict() == {"raw_lost": 9}
    (tmp_path / "raw").unlink()
    raw.line(9, "gps", "$IIRPM,S,1,1250.0,,A*58")
    raw.close()
    (path,) = raw_files(tmp_path / "raw")
    assert path.read_text() == "(0000000000.000009) gps $IIRPM,S,1,1250.0,,A*58\n"
