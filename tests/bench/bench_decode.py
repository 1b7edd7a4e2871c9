"""Decoding and replay against python-can, cantools and sqlite3 rows, as ratios in one run.

    pytest tests/bench/bench_decode.py -s           # 200 000 frames
    KEELWATT_FULL=1 pytest tests/bench/bench_decode.py -s    # 1 million frames

CPU time of the process is compared, so that other work on the machine counts less. The
recording is invented: 8 signals a message, slow and noisy, as a motor controller sends them.
"""

import itertools
import os
import pty
import random
import sqlite3
import threading
import time
import tty
from collections.abc import Callable
from pathlib import Path
from typing import Any

import can
import cantools.database
import numpy as np
import pytest

from logger.decode.can.bus import BusDecoder
from logger.decode.can.dbc import DbcDecoder
from logger.decode.can.frames import FrameBatch
from logger.decode.counters import Counters
from logger.decode.rowcode import compile_row
from logger.sources.byte_stream import SerialStream
from logger.sources.frame_readers import SlcanReader
from logger.sources.recordings.candump import read_candump
from logger.store import Store
from replay.player import open_recordings, play

FULL = os.environ.get("KEELWATT_FULL") == "1"
FRAMES = 1_000_000 if FULL else 200_000
MESSAGES = 10
EVER = (-(2**62), 2**62)
MOMENT = 1720  # frames in 0.2 s of a full bus


def dbc_text() -> str:
    lines = ['VERSION ""', "NS_ :", "BS_:", "BU_: A"]
    for m in range(MESSAGES):
        lines.append(f"BO_ {256 + m} M{m}: 8 A")
        for s in range(8):
            scale = ("0.1", "1", "0.5", "0.01")[s % 4]
            lines.append(f' SG_ S{s} : {8 * s}|8@1{"-+"[s % 2]} ({scale},0) [0|0] "" A')
    return "\n".join(lines) + "\n"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("bench")
    (folder / "bench.dbc").write_text(dbc_text())
    rng = np.random.default_rng(5)
    steps = rng.choice([0, 0, 0, 0, 0, 0, 1, 255], size=(FRAMES // MESSAGES + 1, MESSAGES, 8))
    data = (np.cumsum(steps, axis=0) + 50).astype(np.uint8)
    jitter = rng.integers(0, 40, FRAMES)
    with (folder / "bench.log").open("w") as out:
        for k in range(FRAMES):
            t_us = 1_700_000_000_000_000 + k * 1000 + int(jitter[k])
            payload = data[k // MESSAGES, k % MESSAGES].tobytes().hex().upper()
            out.write(f"({t_us / 1e6:.6f}) can0 {256 + k % MESSAGES:03X}#{payload}\n")
    return folder


def cpu_s(act: Callable[[], object]) -> float:
    begun = time.process_time()
    act()
    return time.process_time() - begun


def by_rows(folder: Path) -> None:
    """python-can's reader, cantools per frame, one sqlite3 row per value."""
    database = cantools.database.load_file(str(folder / "bench.dbc"))
    db = sqlite3.connect(folder / "rows.sqlite")
    db.execute("PRAGMA journal_mode=WAL")
    db.execute("CREATE TABLE reading (t REAL, name TEXT, value REAL)")
    rows: list[tuple[float, str, float]] = []
    with can.LogReader(folder / "bench.log") as reader:
        for message in reader:
            decoded: Any = database.decode_message(message.arbitration_id, message.data)
            prefix = message.arbitration_id - 256
            for name, value in decoded.items():
                rows.append((message.timestamp, f"{prefix}.{name}", value))
            if len(rows) >= 80_000:
                db.executemany("INSERT INTO reading VALUES (?, ?, ?)", rows)
                db.commit()
                rows.clear()
    db.executemany("INSERT INTO reading VALUES (?, ?, ?)", rows)
    db.execute("CREATE INDEX by_name ON reading (name, t)")
    db.commit()
    db.close()


def by_keelwatt(folder: Path) -> None:
    path = folder / "keelwatt.sqlite"
    with Store.open(path, write=True) as store, store.writer("bench") as writer:
        source = open_recordings([folder / "bench.log"], dbcs=[folder / "bench.dbc"])
        play(source, writer)
        source.close()


def size(path: Path) -> int:
    return sum(p.stat().st_size for p in path.parent.glob(path.name + "*"))


def test_replay_flat_out(folder: Path):
    ours, theirs = cpu_s(lambda: by_keelwatt(folder)), cpu_s(lambda: by_rows(folder))
    our_size, their_size = size(folder / "keelwatt.sqlite"), size(folder / "rows.sqlite")
    print(
        f"\nreplay of {FRAMES} frames, {8 * FRAMES} values: {ours:.2f} s against {theirs:.2f} s of "
        f"CPU: {theirs / ours:.1f} x; {our_size / 1e6:.2f} against {their_size / 1e6:.2f} MB: "
        f"{their_size / our_size:.1f} x smaller; {our_size / FRAMES / 8:.3f} B a value"
    )
    with Store.open(folder / "keelwatt.sqlite") as store:
        db = sqlite3.connect(folder / "rows.sqlite")
        for m, s in itertools.product(range(MESSAGES), range(8)):
            wanted = db.execute(
                "SELECT value FROM reading WHERE name = ? ORDER BY t", [f"{m}.S{s}"]
            ).fetchall()
            got = store.read(f"other_m{m}_s{s}_count", *EVER)[1]
            expected = np.array([value for (value,) in wanted], dtype=float)
            assert len(got) == len(expected)
            assert np.all(np.abs(got - expected) <= np.spacing(np.abs(expected)))
        db.close()
    assert theirs / ours >= 20
    assert their_size / our_size >= 25


def batches(folder: Path) -> list[FrameBatch]:
    return list(read_candump(folder / "bench.log", Counters("x")))


def test_live_decoding(folder: Path):
    """All eight signals of each frame, against cantools' decode_message.

    Frame by frame through the generated function alone, and as the daemon does it: what came in
    0.2 s of a full bus at once, to blocks ready for the log.
    """
    counters = Counters("x")
    decoder = BusDecoder([DbcDecoder(folder / "bench.dbc", "x", counters)], counters)
    batch = batches(folder)[0]
    count = min(len(batch), 50_000) // MOMENT * MOMENT
    ids = batch.ids[:count].tolist()
    payloads = [batch.data[k].tobytes() for k in range(count)]
    moments = [batch.picked(np.arange(k, k + MOMENT)) for k in range(0, count, MOMENT)]
    database = cantools.database.load_file(str(folder / "bench.dbc"))
    found = DbcDecoder(folder / "bench.dbc", "x", counters)
    functions = {
        256 + m: compile_row(found.layouts(256 + m)[0], 8, counters) for m in range(MESSAGES)
    }

    def one_by_one() -> None:
        for can_id, payload in zip(ids, payloads, strict=True):
            functions[can_id](payload)

    def in_moments() -> None:
        for moment in moments:
            decoder.feed_live(moment)

    def theirs() -> None:
        for can_id, payload in zip(ids, payloads, strict=True):
            database.decode_message(can_id, payload)

    in_moments()
    single, moment, their = cpu_s(one_by_one), cpu_s(in_moments), cpu_s(theirs)
    print(
        f"\nlive decoding, 8 signals a frame: cantools {their / count * 1e6:.2f} µs a frame; "
        f"one by one {single / count * 1e6:.2f} ({their / single:.1f} x); "
        f"in moments {moment / count * 1e6:.2f} ({their / moment:.1f} x)"
    )
    assert their / single >= 4
    assert their / moment >= 4


def slcan_text(count: int) -> bytes:
    rng = random.Random(7)
    return b"".join(
        f"t{256 + k % MESSAGES:03X}8{rng.getrandbits(64):016X}\r".encode() for k in range(count)
    )


def test_slcan_reading():
    """CPU of the reading thread over the same lines from a pty."""
    count = 20_000 if FULL else 4_000
    text = slcan_text(count)

    def ours(name: str, begin: Callable[[], None]) -> int:
        reader, found = SlcanReader(SerialStream(name, 1_000_000), "x", Counters("x")), 0
        begin()
        while batch := reader.read(0.5):
            found += len(batch)
        reader.close()
        return found

    def theirs(name: str, begin: Callable[[], None]) -> int:
        bus = can.Bus(interface="slcan", channel=name, sleep_after_open=0, timeout=0.5)
        begin()
        found = 0
        while bus.recv(0.5):
            found += 1
        bus.shutdown()
        return found

    used = {}
    for label, read in (("ours", ours), ("theirs", theirs)):
        master, slave = pty.openpty()
        tty.setraw(master)
        tty.setraw(slave)
        thread = threading.Thread(target=write_slowly, args=(master, text), daemon=True)
        begun = time.thread_time()
        assert read(os.ttyname(slave), thread.start) == count
        used[label] = time.thread_time() - begun
        thread.join()
        os.close(slave)
        os.close(master)
    print(
        f"\nslcan: {used['ours'] / count * 1e6:.2f} against {used['theirs'] / count * 1e6:.1f} µs "
        f"a frame: {used['theirs'] / used['ours']:.0f} x"
    )
    assert used["theirs"] / used["ours"] >= 50


def write_slowly(master: int, text: bytes) -> None:
    """A full bus at 500 kbit/s is about 4,000 frames a second, 27 characters each."""
    left = text
    while left:
        left = left[os.write(master, left[:2700]) :]
        time.sleep(0.02)
