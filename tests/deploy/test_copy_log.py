"""A copy of a log that is being written."""

import sqlite3
import subprocess
import sys
import threading
from contextlib import closing
from pathlib import Path

import pytest


@pytest.fixture
def script(repository: Path) -> Path:
    return repository / "deploy/copy-log.py"


def run(script: Path, *paths: Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, str(script), *map(str, paths)]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def make_log(path: Path) -> None:
    with closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA journal_mode=WAL")
        db.execute("CREATE TABLE t (n INTEGER, twice INTEGER)")
        db.commit()


def test_copy_of_a_log_being_written_is_whole(script: Path, tmp_path: Path):
    log, copy = tmp_path / "log.sqlite", tmp_path / "copy.sqlite"
    make_log(log)
    over = threading.Event()

    def write() -> None:
        with closing(sqlite3.connect(log)) as db:
            for n in range(100_000):
                if over.is_set():
                    return
                db.execute("INSERT INTO t VALUES (?, NULL)", [n])
                db.execute("UPDATE t SET twice = 2 * n WHERE n = ?", [n])
                db.commit()  # a copy between the two would hold a NULL

    writer = threading.Thread(target=write)
    writer.start()
    try:
        for _ in range(3):
            assert run(script, log, copy).returncode == 0
            with closing(sqlite3.connect(copy)) as db:
                rows = db.execute("SELECT n, twice FROM t ORDER BY n").fetchall()
                assert [r[0] for r in rows] == list(range(len(rows)))
                assert all(twice == 2 * n for n, twice in rows)
                assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    finally:
        over.set()
        writer.join()
    assert len(rows) > 0
    assert not list(tmp_path.glob("*.part"))


def test_copy_that_cannot_be_made_leaves_the_older_one(script: Path, tmp_path: Path):
    log, copy = tmp_path / "log.sqlite", tmp_path / "copy.sqlite"
    copy.write_text("the older copy")
    log.write_bytes(b"this is no database" * 100)
    done = run(script, log, copy)
    assert done.returncode == 1
    assert "could not be copied" in done.stderr
    assert copy.read_text() == "the older copy"
    assert not list(tmp_path.glob("*.part"))


def test_copy_of_nothing_says_so(script: Path, tmp_path: Path):
    done = run(script, tmp_path / "none.sqlite", tmp_path / "copy.sqlite")
    assert (done.returncode, list(tmp_path.iterdir())) == (1, [])
    assert "there is no log" in done.stderr
