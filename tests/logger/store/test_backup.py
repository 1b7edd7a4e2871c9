import multiprocessing
import sqlite3
from multiprocessing.synchronize import Event
from pathlib import Path

import numpy as np
import pytest

from logger.errors import StoreError
from logger.reading import Group, Quantum, Row
from logger.store import Store
from logger.store.backup import whole_file
from tests.support.flag_records import flag_record

S = 1_000_000
ALL = -(2**62), 2**62
GROUP = Group("can/1", ("pack_voltage_v", "pack_current_a"), (Quantum(0.01), Quantum(0.1)))
fork = multiprocessing.get_context("fork")


def record(path: Path, running: Event, stop: Event) -> None:
    with Store.open(path, write=True) as store, store.writer("boot-a", flush_s=0.01) as writer:
        i = 0
        while not stop.is_set():
            writer.add(Row(GROUP, i * S, [i % 1000 / 100, i % 10000 / 10]))
            i += 1
            if i == 3000:
                writer.flush()
                running.set()


def test_a_copy_made_while_recording_is_whole(tmp_path):
    path, copies = tmp_path / "boat.log", []
    running, stop = fork.Event(), fork.Event()
    recorder = fork.Process(target=record, args=(path, running, stop))
    recorder.start()
    assert running.wait(60)
    with Store.open(path) as store:
        for k in range(5):
            store.back_up(tmp_path / f"copy-{k}.log")
            copies.append(tmp_path / f"copy-{k}.log")
    stop.set()
    recorder.join()
    assert recorder.exitcode == 0
    counts = []
    for copy in copies:
        with Store.open(copy) as kept:
            t_us, values = kept.read("pack_current_a", *ALL)
            assert np.array_equal(t_us, np.arange(len(t_us)) * S)
            assert np.array_equal(values, np.arange(len(t_us)) % 10000 / 10)
            counts.append(len(t_us))
    assert counts[0] > 0
    assert counts == sorted(counts)


def test_a_copy_has_everything_and_can_be_written_to(tmp_path):
    with Store.open(tmp_path / "boat.log", write=True) as store:
        store.add_flag(flag_record(raised_us=5))
        store.save_boat("name = 'x'", 1)
        store.put_learned("hull", {"a": 1}, 0, 1)
        with store.writer("boot-a") as writer:
            writer.add(Row(GROUP, 0, [50.0, 1.0]))
        store.back_up(tmp_path / "copy.log")
        with Store.open(tmp_path / "copy.log", write=True) as copy:
            assert copy.flags() == store.flags()
            assert copy.boat_text() == store.boat_text()
            assert copy.learned("hull") == store.learned("hull")
            assert copy.boots() == store.boots()
            with copy.writer("boot-a") as writer:
                writer.add(Row(GROUP, S, [51.0, 2.0]))
            assert copy.read("pack_voltage_v", *ALL)[1].tolist() == [50.0, 51.0]
    assert not (tmp_path / "copy.log.part").exists()


def test_a_copy_never_replaces_a_file(tmp_path):
    there = tmp_path / "copy.log"
    there.write_text("precious")
    with Store.open(tmp_path / "boat.log", write=True) as store:
        with pytest.raises(StoreError, match=r"copy\.log is there already"):
            store.back_up(there)
        with pytest.raises(StoreError, match="could not be copied"):
            store.back_up(tmp_path / "no folder" / "copy.log")
    assert there.read_text() == "precious"


def test_a_damaged_log_gives_no_copy(tmp_path):
    path = tmp_path / "boat.log"
    with Store.open(path, write=True) as store, store.writer("boot-a") as writer:
        for i in range(3000):
            writer.add(Row(GROUP, i * S, [i % 1000 / 100, i / 10 % 1000]))
    with sqlite3.connect(path) as db:
        (page,) = db.execute("SELECT rootpage FROM sqlite_master WHERE name = 'flag'").fetchone()
        (size,) = db.execute("PRAGMA page_size").fetchone()
    db.close()
    data = bytearray(path.read_bytes())
    data[(page - 1) * size : page * size] = b"\xee" * size
    path.write_bytes(data)
    with Store.open(path) as store, pytest.raises(StoreError, match="could not be copied"):
        store.back_up(tmp_path / "copy.log")
    assert not list(tmp_path.glob("copy*"))


def test_a_folder_that_is_not_there_is_told_by_the_name_that_was_asked_for(tmp_path):
    asked = tmp_path / "nowhere" / "x.csv"
    with pytest.raises(OSError, match=r"nowhere/x\.csv'?$"), whole_file(asked):
        pass
