"""Raw copies: what was recorded raw replays to the same values; files rotate and are bounded."""

from pathlib import Path

import numpy as np

from logger.decode.counters import Counters
from logger.decode.frames import EXTENDED, Frame, batch_of
from logger.sources.candump import read_candump
from logger.sources.tee import RawFile
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
    other = tmp_path / "can0-0000000001.log"
    other.write_text("x" * 5000)
    for k in range(400):
        raw.utc_offset_us = k * 1_000_000
        raw.line(k, "gps", "$IIRPM,S,1,1250.0,,A*58")
    raw.close()
    files = sorted(tmp_path.glob("gps-*.log"))
    assert 2 <= len(files) <= 5
    assert sum(path.stat().st_size for path in files) <= 4200
    assert other.exists()
