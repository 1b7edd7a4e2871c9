"""The disk is full: recording waits, says so, doubles nothing, and goes on by itself."""

import contextlib
import math
import os
import sqlite3
import time
from types import SimpleNamespace

import pytest

from logger.errors import StoreError
from logger.reading import Group, Quantum, Row
from logger.store import Store, due, writer
from tests.support.small_disk import mounted

S = 1_000_000
ALL = -(2**62), 2**62
GROUP = Group("can/1", ("pack_voltage_v", "pack_current_a"), (Quantum(0.01), Quantum()))


@pytest.fixture(autouse=True)
def _impatient(monkeypatch):
    monkeypatch.setattr(due, "TRY_AGAIN_S", 0.0)


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "boat.log", write=True) as opened:
        yield opened


def row(i):
    return Row(GROUP, i * S, [i % 100 / 100, 1000 * math.sin(i)])


@contextlib.contextmanager
def no_room(w):
    """SQLite's own limit stands for a disk's."""
    (pages,) = w._db.execute("PRAGMA page_count").fetchone()
    w._db.execute(f"PRAGMA max_page_count = {pages}")
    yield
    w._db.execute("PRAGMA max_page_count = 4294967294")


def add_without_room(w, count):
    """Rows from 0 on; the disk has room for the first only."""
    w.add(row(0))
    with no_room(w):
        for i in range(1, count):
            w.add(row(i))
        assert w.full


def numbers(store):
    t_us, values = store.read("pack_current_a", *ALL)
    found = (t_us // S).tolist()
    assert values.tolist() == [1000 * math.sin(i) for i in found]
    return found


def test_rows_of_a_full_disk_are_kept_in_memory_and_stored_later(store):
    with store.writer("boot-a", flush_s=0.0) as w:
        add_without_room(w, 500)
        assert len(numbers(store)) < 500
        w.add(row(500))
        assert not w.full
        assert w.dropped == 0
        assert numbers(store) == list(range(501))
    assert numbers(store) == list(range(501))


def test_what_memory_cannot_hold_is_counted_and_the_rest_stays_in_order(store, monkeypatch):
    monkeypatch.setattr(writer, "ROOM_VALUES", 400)
    with store.writer("boot-a", flush_s=0.0) as w:
        add_without_room(w, 1500)
        assert w.dropped > 200
        for i in range(1500, 1510):
            w.add(row(i))
        assert not w.full
    found = numbers(store)
    assert len(found) == 1510 - w.dropped
    assert found == [*range(1501 - w.dropped), *range(1501, 1510)]  # at 1500 it found room again
    assert store.health()["dropped"].value == {"rows": w.dropped}


def test_a_seal_that_finds_no_room_can_be_repeated(store):
    with store.writer("boot-a", flush_s=1e9) as w:
        for i in range(3000):
            w.add(row(i))
        with no_room(w), pytest.raises(sqlite3.OperationalError, match="full"):
            w.seal()
        w.seal()
        assert numbers(store) == list(range(3000))


def test_closing_on_a_full_disk_says_what_is_lost_and_keeps_the_rest(store):
    w = store.writer("boot-a", flush_s=1e9)
    for i in range(100):
        w.add(row(i))
    w.flush()
    for i in range(100, 3000):
        w.add(row(i))
    w._db.execute("PRAGMA max_page_count = 1")
    with pytest.raises(StoreError, match="the last 2900 rows were not kept"):
        w.close()
    assert numbers(store) == list(range(100))
    store.writer("boot-b").close()  # the lock has been let go
    assert numbers(store) == list(range(100))


class Shaky:
    """A connection whose disk fails at each commit while `failing`."""

    def __init__(self, db):
        self._db, self.failing = db, False

    def __getattr__(self, name):
        return getattr(self._db, name)

    def execute(self, statement, *bindings):
        if self.failing and statement == "COMMIT":
            error = sqlite3.OperationalError("disk I/O error")
            error.sqlite_errorcode = sqlite3.SQLITE_IOERR_FSYNC
            raise error
        return self._db.execute(statement, *bindings)


def test_a_disk_that_fails_for_a_while_is_waited_for(store):
    with store.writer("boot-a", flush_s=0.0) as w:
        w.add(row(0))
        w._db = Shaky(w._db)
        w._db.failing = True
        for i in range(1, 200):
            w.add(row(i))
        assert w.full
        assert w.due_in_s() <= due.TRY_AGAIN_S  # nobody need ask in a circle
        assert numbers(store) == [0]
        w._db.failing = False
        w.add(row(200))
        assert not w.full
        assert numbers(store) == list(range(201))
    assert numbers(store) == list(range(201))


class Slow(Shaky):
    """A connection whose card takes its time for each commit."""

    commits = 0

    def execute(self, statement, *bindings):
        if statement == "COMMIT":
            self.commits += 1
            time.sleep(0.1)
        return super().execute(statement, *bindings)


def test_what_waits_behind_a_slow_card_goes_in_few_commits(store):
    """All of it is late already: a commit for each reading would make it later and later."""
    with store.writer("boot-a", flush_s=0.1, now_us=lambda: 10_000 * S) as w:
        w._db = Slow(w._db)
        begun = time.monotonic()
        for i in range(3000):
            w.add(row(i))
        w.flush()
        assert w._db.commits <= 2 + (time.monotonic() - begun) / 0.14
        assert numbers(store) == list(range(3000))
    assert w._db.commits < 100


def test_a_slow_card_gets_its_commits_earlier(store, monkeypatch):
    now_s = [1000.0]
    monkeypatch.setattr(due, "time", SimpleNamespace(monotonic=lambda: now_s[0]))

    class Taking(Shaky):
        takes_s = 0.3

        def execute(self, statement, *bindings):
            now_s[0] += self.takes_s if statement == "COMMIT" else 0.0
            return super().execute(statement, *bindings)

    def age_at_commit():
        """How old the oldest row is when it is on the card."""
        begun = now_s[0]
        w.add(Row(GROUP, int(begun * S), [1.0, 2.0]))
        while w._due._oldest_us != due.NEVER_US:
            now_s[0] += 0.01
            w.flush_if_due()
        return now_s[0] - begun

    with store.writer("boot-a", flush_s=1.0, now_us=lambda: int(now_s[0] * S)) as w:
        w._db = Taking(w._db)
        first, *later = [age_at_commit() for _ in range(5)]
        assert first > 1.2
        assert all(age <= 1.02 for age in later)
        w._db.takes_s = 0.01
        quick_s = 1.0 - due.COMMIT_S - 0.02
        assert [age_at_commit() for _ in range(30)][-1] > quick_s  # it has become quick again


@pytest.fixture
def small_disk(tmp_path):
    with mounted(tmp_path / "disk", 2) as folder:
        yield folder


def fill(path):
    file = os.open(path, os.O_WRONLY | os.O_CREAT)
    with contextlib.suppress(OSError):
        while os.write(file, bytes(4096)):
            pass
    os.close(file)


def test_a_real_full_disk_is_waited_for(small_disk):
    stuff = small_disk / "stuff"
    with Store.open(small_disk / "boat.log", write=True) as store:
        with store.writer("boot-a", flush_s=0.0) as w:
            for i in range(50):
                w.add(row(i))
            fill(stuff)
            i = 50
            while not w.full:
                w.add(row(i))
                i += 1
                assert i < 50_000
            for k in range(i, i + 100):
                w.add(row(k))
            stuff.unlink()
            w.add(row(i + 100))
            assert not w.full
        assert numbers(store) == list(range(i + 101))
        assert store._db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
