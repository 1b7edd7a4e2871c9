"""The recorder's process is killed at random moments while it records flat out.

KEELWATT_FULL=1 kills it 200 times.
"""

import mmap
import multiprocessing
import os
import random
import signal
import time
from multiprocessing.sharedctypes import Synchronized
from multiprocessing.synchronize import Event
from pathlib import Path

import numpy as np
import pytest

from logger.errors import StoreError
from logger.reading import Group, Quantum, Row
from logger.store import Store
from tests.support.flag_records import PLAIN

KILLS = 200 if os.environ.get("KEELWATT_FULL") else 10
S = 1_000_000
ALL = -(2**62), 2**62
FLUSH_S = 0.05
MOST_ROWS = 4_000_000
GROUPS = tuple(
    Group(
        f"can/{k}", (f"cell_{k + 1:02d}_voltage_v", f"block_{k + 1}_temp_c"), (Quantum(0.001),) * 2
    )
    for k in range(4)
)
fork = multiprocessing.get_context("fork")


def values_at(i: int) -> list[float]:
    return [i % 4000 / 1000, i % 97 / 2]


def record(path: Path, uid: str, memory: mmap.mmap) -> None:
    """Rows at the time they come, for ever; leaves each row's time in `memory`, which outlives
    the process, once the row has been taken."""
    times_us = np.frombuffer(memory, dtype=np.int64)
    with Store.open(path, write=True) as store:
        writer = store.writer(uid, flush_s=FLUSH_S, seal_s=0.3)
        for i in range(MOST_ROWS):
            t_us = time.monotonic_ns() // 1000
            writer.add(Row(GROUPS[i % 4], t_us, values_at(i)))
            times_us[i] = t_us
            if i % 20_000 == 19_999:
                writer.merge()


def rows_kept(store: Store, uid: str) -> int:
    """How many rows of the boot are there: checks that it is the first so many, each once, and
    that values and times are right."""
    found = [b for b in store.boots() if b.uid == uid and b.first_us is not None]
    if not found:
        return 0
    offset_us = found[0].timeline_offset_us
    ends = found[0].first_us + offset_us, found[0].last_us + offset_us + 1
    numbers = []
    for k, group in enumerate(GROUPS):
        (t_us, v), (again_us, w) = [store.read(name, *ends) for name in group.channels]
        assert np.array_equal(t_us, again_us)
        own = (np.arange(len(t_us)) * 4 + k).tolist()
        assert v.tolist() == [values_at(i)[0] for i in own]
        assert w.tolist() == [values_at(i)[1] for i in own]
        numbers += own
    assert sorted(numbers) == list(range(len(numbers)))
    return len(numbers)


def kill_one(path: Path, uid: str, after_s: float) -> np.ndarray:
    """Starts a recorder, kills it; the times of the rows it had taken. [µs]"""
    memory = mmap.mmap(-1, 8 * MOST_ROWS)
    recorder = fork.Process(target=record, args=(path, uid, memory))
    recorder.start()
    end_s = time.monotonic() + 30
    while not any(memory[:8]) and time.monotonic() < end_s:
        time.sleep(0.005)
    time.sleep(after_s)
    recorder.kill()
    recorder.join()
    assert recorder.exitcode == -signal.SIGKILL
    times_us = np.frombuffer(memory, dtype=np.int64)
    return times_us[: np.count_nonzero(times_us)]


def test_a_killed_recorder_loses_at_most_one_flush_and_doubles_nothing(tmp_path):
    path = tmp_path / "boat.log"
    rng = random.Random(11)
    lost = 0
    for kill in range(KILLS):
        times_us = kill_one(path, f"boot-{kill}", rng.uniform(0.0, 0.8))
        with Store.open(path) as store:
            assert store._db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            kept = rows_kept(store, f"boot-{kill}")
        assert kept <= len(times_us) + 1  # one may have come between the store and the memory
        assert np.all(times_us[kept:] > times_us[-1] - FLUSH_S * S)
        lost += len(times_us[kept:])
    assert lost, "no kill came at a moment that could have lost anything"
    with Store.open(path, write=True) as store:
        store.writer("last").close()
        assert store._db.execute("SELECT count(*) FROM tick").fetchone() == (0,)
        assert store._db.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_a_killed_recorder_lets_the_log_go(tmp_path):
    kill_one(tmp_path / "boat.log", "boot-a", 0.1)
    with Store.open(tmp_path / "boat.log", write=True) as store:
        store.writer("boot-b").close()


def raise_flags(path: Path, count: int) -> None:
    with Store.open(path, write=True) as store:
        for k in range(count):
            store.update_flag(store.add_flag(PLAIN), seen_us=k)


def test_recorder_and_watch_write_from_two_processes(tmp_path):
    path = tmp_path / "boat.log"
    with Store.open(path, write=True) as store:
        watch = fork.Process(target=raise_flags, args=(path, 100))
        watch.start()
        with store.writer("boot-a", flush_s=0.0, seal_s=0.2) as writer:
            i = 0
            while watch.is_alive() or i < 100:
                writer.add(Row(GROUPS[0], i * S, values_at(i)))
                i += 1
        watch.join()
        assert watch.exitcode == 0
        assert [f.seen_us for f in store.flags()] == list(range(100))
        assert store.channels()["cell_01_voltage_v"].count == i


def hold(path: Path, ready: Event) -> None:
    with Store.open(path, write=True) as store, store.writer("boot-a"):
        ready.set()
        time.sleep(60)


def test_another_process_cannot_write_at_the_same_time(tmp_path):
    ready = fork.Event()
    other = fork.Process(target=hold, args=(tmp_path / "boat.log", ready))
    other.start()
    try:
        assert ready.wait(30)
        with Store.open(tmp_path / "boat.log", write=True) as store:
            with pytest.raises(StoreError, match="another recorder or replay; stop it first"):
                store.writer("boot-b")
            other.kill()
            other.join()
            store.writer("boot-b").close()
    finally:
        other.kill()
        other.join()


def open_at(path: Path, start: Event, counted: Synchronized) -> None:
    start.wait()
    with Store.open(path, write=True) as store:
        store.add_flag(PLAIN)
    with counted.get_lock():
        counted.value += 1


def test_several_processes_may_make_the_same_log_at_once(tmp_path):
    for k in range(5):
        path, start, counted = tmp_path / f"{k}.log", fork.Event(), fork.Value("i", 0)
        others = [fork.Process(target=open_at, args=(path, start, counted)) for _ in range(4)]
        for other in others:
            other.start()
        start.set()
        for other in others:
            other.join()
        assert counted.value == 4
        with Store.open(path) as store:
            assert len(store.flags()) == 4
