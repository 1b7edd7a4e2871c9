"""Recordings that break off, are damaged, have no end or are a trap: what is there is read, what is
not is counted, and nobody meets a traceback or an eaten memory."""

import gzip
import itertools
import multiprocessing
import os
import signal
import struct
import subprocess
import sys
import zlib

import can
import numpy as np
import pytest
import zstandard

from analyzer.faces.cli.main import main
from logger.errors import RecordingError
from logger.reading import EXACT, Group, Row
from logger.sources.recordings import opened
from logger.sources.recordings.opened import open_bytes, read_piece
from logger.store import Store
from replay import player
from replay.player import open_recordings

DBC = (
    'VERSION ""\nNS_ :\nBS_:\nBU_: A\n'
    'BO_ 300 Pack: 2 A\n SG_ Volts : 0|16@1+ (0.01,0) [0|0] "V" A\n'
)
COLUMNS = '[time]\ncolumn = "t"\nunit = "s"\n[[column]]\ncolumn = "v"\nchannel = "pack_voltage_v"\n'
HEADS = {
    "candump": b"",
    "csv": b"t,v,noise\n",
    "asc": b"date Mon Nov 30 10:00:00.000 am 2026\nbase hex timestamps absolute\n"
    b"internal events logged\n",
    "trc": b";$FILEVERSION=1.1\n;$STARTTIME=46157.5\n",
}
LINES = 30_000
PACK = {"gz": gzip.compress, "zst": zstandard.ZstdCompressor(write_checksum=True).compress}


def line(kind: str, k: int) -> bytes:
    """Row k: a tenth of a second later, (50 + k % 10) V."""
    raw = (5000 + 100 * (k % 10)).to_bytes(2, "little").hex().upper()
    if kind == "candump":
        return f"({1_700_000_000 + k / 10:.6f}) can0 12C#{raw}\n".encode()
    if kind == "csv":
        noise = zlib.crc32(bytes([k % 251, k % 241]))  # so that it packs as readings do
        return f"{k / 10},{50 + k % 10},{noise}\n".encode()
    if kind == "trc":
        return f"{k + 1:6}) {100 * k:12.1f}  Rx         012C  2  {raw[:2]} {raw[2:]}\n".encode()
    return f"{k / 10:.6f} 1  12C             Rx   d 2 {raw[:2]} {raw[2:]}\n".encode()


def written(folder, kind: str, lines: list[bytes], name: str = ""):
    """A recording of the kind with what it is read by beside it; its path."""
    path = folder / (name or f"a.{'log' if kind == 'candump' else kind}")
    path.write_bytes(HEADS[kind] + b"".join(lines))
    path.with_suffix(".toml").write_text(COLUMNS)
    (folder / "pack.dbc").write_text(DBC)
    return path


def played(path):
    """Values in order, and all counts of the file's own reader."""
    source = open_recordings([path], dbcs=[path.parent / "pack.dbc"])
    values = []
    while (items := source.read()) is not None:
        values += [item.values[:, 0] for item in items if hasattr(item, "values")]
    counts = {}
    for counters in source.counters.values():
        counts |= counters.as_dict()
    source.close()
    return np.concatenate(values) if values else np.array([]), counts


@pytest.mark.parametrize("packing", PACK)
@pytest.mark.parametrize("kind", HEADS)
def test_a_packed_recording_that_breaks_off_is_read_up_to_the_tear(tmp_path, kind, packing):
    path = written(tmp_path, kind, [line(kind, k) for k in range(LINES)])
    packed = PACK[packing](path.read_bytes())
    for share in (0.5, 0.8, 0.95):
        cut = packed[: int(share * len(packed))]
        path.write_bytes(cut)
        values, counts = played(path)
        whole = unpacked(cut, packing).count(b"\n") - HEADS[kind].count(b"\n")
        assert whole - 1 <= len(values) <= whole + 1  # the last may be without its end
        assert values[:whole].tolist() == [50.0 + k % 10 for k in range(len(values))][:whole]
        assert counts["torn"] == 1


def unpacked(cut: bytes, packing: str) -> bytes:
    """What the libraries themselves make of it."""
    if packing == "gz":
        return zlib.decompressobj(31).decompress(cut)
    return zstandard.ZstdDecompressor().decompressobj().decompress(cut)


@pytest.mark.parametrize("packing", PACK)
def test_members_one_after_the_other_are_one_recording(tmp_path, packing):
    pack = PACK[packing]
    path = written(tmp_path, "csv", [])
    lines = [line("csv", k) for k in range(100)]
    path.write_bytes(pack(HEADS["csv"] + b"".join(lines[:50])) + pack(b"".join(lines[50:])))
    values, counts = played(path)
    assert len(values) == 100
    assert "torn" not in counts


@pytest.mark.parametrize("size", [0, 1, 5, 12])
@pytest.mark.parametrize("packing", PACK)
def test_a_stump_is_a_sentence(tmp_path, size, packing, capsys):
    path = tmp_path / "a.log"
    path.write_bytes(PACK[packing](b"nothing" * 1000)[:size])
    assert main(["replay", str(path), "--log", str(tmp_path / "new.sqlite")]) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_the_user_is_told_that_a_recording_breaks_off(tmp_path, capsys):
    path = written(tmp_path, "csv", [line("csv", k) for k in range(LINES)])
    path.write_bytes(gzip.compress(path.read_bytes())[:-1000])
    assert main(["replay", str(path), "--log", str(tmp_path / "new.sqlite")]) == 0
    assert "a.csv breaks off" in capsys.readouterr().err


def test_a_replay_that_was_killed_is_not_there_twice(tmp_path):
    path, log = written(tmp_path, "csv", [line("csv", k) for k in range(LINES)]), tmp_path / "a.log"
    with Store.open(log, write=True) as store, store.writer("the boat's own") as writer:
        writer.add(Row(Group("x", ("pack_voltage_v",), (EXACT,)), 0, [12.0]))

    def killed() -> None:
        real = player.Player.read

        def read(self, timeout_s=0.0):
            found = real(self, timeout_s)
            if found is None:
                os.kill(os.getpid(), signal.SIGKILL)
            return found

        player.Player.read = read
        main(["replay", str(path), "--log", str(log)])

    process = multiprocessing.get_context("fork").Process(target=killed)
    process.start()
    process.join()
    assert process.exitcode == -signal.SIGKILL
    with Store.open(log) as store:
        assert [boot.uid[:9] for boot in store.boots()] == ["the boat'", "replaying"]
    assert main(["replay", str(path), "--log", str(log)]) == 0
    with Store.open(log) as store:
        assert [boot.uid[:7] for boot in store.boots()] == ["the boa", "replay-"]
        assert len(store.read("pack_voltage_v", -(2**62), 2**62)[1]) == LINES + 1
        assert store._db.execute("PRAGMA integrity_check").fetchone() == ("ok",)


DAMAGED = {
    "candump": [
        b"(99999999999.999999) can0 12C#8813\n",
        b"(9999999999.999999) can0 12C#8813\n",
        b"(1e300) can0 12C#8813\n",
        b"(1700000000.0) can0 12C" + b"#" * 50_000 + b"\n",
        b"(1700000000.0) can0 12C  [2] " + b" " * 50_000 + b"x\n",
        b"(0000-00-00 00:00:00) can0 12C#8813\n",
    ],
    "csv": [
        b"1e300,50\n",
        b"inf,50\n",
        b"-5,50\n",
        b"9999999999999999999999,50\n",
        b'1,"' + b"x" * 200_000 + b'"\n',
        b"\0\0\0\xff\xfe,\n",
    ],
    "asc": [
        b"9999999999999999999999.0 1  12C             Rx   d 2 88 13\n",
        b"5.0 1  ZZZ             Rx   d 2 88 13\n",
        b"5.0 1  12C             Rx   d 2 8\xff 13\n",
        b"5.0 1  12C Rx\n",
        b"5.0 1  FFFFFFFFFFFF             Rx   d 2 88 13\n",
    ],
    "trc": [
        b"    11)    1000.0  Rx         012C  2  88\n",
        b"    11)    1000.0  Rx         FFFFFFFFFF  2  88 13\n",
        b"    11)    1e400  Rx         012C  2  88 13\n",
        b"    11)    -99999999999999999  Rx         012C  2  88 13\n",
        b"    11)    1000.0  Qx         012C  2  88 13\n",
        b"    11)    1000.0  Rx\n",
    ],
}


@pytest.mark.parametrize("kind", HEADS)
def test_a_damaged_line_costs_itself_only(tmp_path, kind):
    for number, damaged in enumerate(DAMAGED[kind]):
        lines = [line(kind, k) for k in range(20)]
        lines.insert(10, damaged)
        values, counts = played(written(tmp_path, kind, lines, f"{number}.{kind}"))
        assert values[:10].tolist() == [50.0 + k for k in range(10)]
        assert len(values) == 20, damaged[:60]
        assert counts.get("syntax", 0) == 1, damaged[:60]


def test_a_strange_date_in_an_asc_file_does_not_hide_its_base(tmp_path):
    path = tmp_path / "a.asc"
    path.write_bytes(
        b"date the day after\nbase dec timestamps absolute\ninternal events logged\n"
        b"0.1 1  300             Rx   d 2 136 19\n0.2 1  300             Rx   d 2 136 19\n"
    )
    (tmp_path / "pack.dbc").write_text(DBC)
    values, _ = played(path)
    assert values.tolist() == [50.0, 50.0]


def blf(path, *objects: bytes):
    """A BLF file of a few frames, and then these objects."""
    with can.BLFWriter(path, max_container_size=256) as writer:
        for k in range(30):
            writer.on_message_received(
                can.Message(
                    timestamp=1_700_000_000 + k,
                    arbitration_id=300,
                    is_extended_id=False,
                    data=b"\x88\x13",
                )
            )
    with path.open("ab") as file:
        file.write(b"".join(objects))
    (path.parent / "pack.dbc").write_text(DBC)
    return path


def container(packed: bytes, size: int | None = None) -> bytes:
    """A container (type 10) that is deflated (method 2), as the format has it."""
    body = struct.pack("<H6xL4x", 2, len(packed)) + packed
    return struct.pack("<4sHHLL", b"LOBJ", 16, 1, size or 16 + len(body), 10) + body


ENDLESS = struct.pack("<4sHHLL", b"LOBJ", 16, 1, 0xFFFFFFF0, 1) + bytes(100_000)
TRAPS = {
    "longer than the file": [container(b"", 0xFFFFFFFF)],
    "shorter than its head": [container(zlib.compress(bytes(100)), 3)],
    "unpacks without end": [container(zlib.compress(bytes(400 << 20), 9))],
    "goes on and on": [container(zlib.compress(ENDLESS)), *[container(zlib.compress(ENDLESS))] * 9],
}


@pytest.mark.parametrize("trap", TRAPS)
def test_a_length_in_a_blf_file_is_not_believed(tmp_path, trap):
    values, counts = played(blf(tmp_path / "a.blf", *TRAPS[trap]))
    assert len(values) >= 25  # the last frames may wait for what comes after them
    assert counts["torn"] == 1


READ = """
import sys
from pathlib import Path
sys.path[:0] = [{here!r}]
from tests.faults.test_recordings_cut import played
values, counts = played(Path({path!r}))
# its own peak: that of getrusage would be its parent's, if that was larger
peak = next(line for line in open("/proc/self/status") if line.startswith("VmHWM"))
most_kb = peak.split()[1]
print(len(values), counts.get("syntax", 0), most_kb)
"""


@pytest.mark.parametrize("kind", HEADS)
def test_a_line_without_end_takes_no_memory(tmp_path, kind):
    # The hole takes no room on the disk; it is read as half a gigabyte of zeros.
    path = written(tmp_path, kind, [line(kind, k) for k in range(10)])
    with path.open("r+b") as file:
        file.seek(1 << 29)
        file.write(b"\n" + b"".join(line(kind, k) for k in range(10, 20)))
    text = READ.format(here=".", path=str(path))
    done = subprocess.run([sys.executable, "-c", text], capture_output=True, text=True, timeout=120)
    count, refused, most_kb = done.stdout.split() or ("", done.stderr, "0")
    assert count == "20"
    assert int(refused) >= 1
    # the imports take some 150 MB; a line that was kept would take 512 more
    assert int(most_kb) < 400_000


def read_through(stream, path):
    for number in itertools.count(1):
        read_piece(stream, 1 << 20, path)
        assert number < 2 * opened.TRAP_BYTES >> 20


def test_an_archive_that_unpacks_without_end_is_refused_soon(tmp_path, capsys):
    path = tmp_path / "a.log"
    packer = zstandard.ZstdCompressor(level=1).compressobj()
    zeros = bytes(1 << 24)
    with path.open("wb") as file:
        for _ in range(256):  # 4 GB
            file.write(packer.compress(zeros))
        file.write(packer.flush())
    with open_bytes(path) as stream, pytest.raises(RecordingError, match="300 times its size"):
        read_through(stream, path)
    assert main(["replay", str(path), "--log", str(tmp_path / "new.sqlite")]) == 2
    assert "Traceback" not in capsys.readouterr().err
