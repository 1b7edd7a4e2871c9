"""A stick that keeps copies of the log, and strangers' sticks that get nothing and do nothing."""

import os
from pathlib import Path

import pytest

from tests.support.board import Board, words_of, write_log

TOOLS = {
    # What is mounted is a folder of the test's; how it was asked for is kept.
    "mount": 'echo "mount $*" >>"$CALLS"; for place; do :; done\n'
    'rmdir "$place" && ln -s "$STATE/stick" "$place"',
    "umount": 'rm "$1" && mkdir "$1"',
    "blkid": 'cat "$STATE/kind"',
    "id": 'case "$*" in "-un") echo root ;; *) echo 0 ;; esac',
}  # fmt: skip


# A program that takes a log in as `keelwatt import FILE --log NEW` does, and refuses a broken one.
IMPORTS = """
import shutil, sqlite3, sys

def main():
    if sys.argv[1] == "import":
        sqlite3.connect(sys.argv[2]).execute("SELECT * FROM t")
        shutil.copy(sys.argv[2], sys.argv[4])
"""
HOLDS = """
import sqlite3

class Store:
    def __init__(self, path):
        self.db = sqlite3.connect(path)

    @classmethod
    def open(cls, path):
        return cls(path)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.db.close()

    def span(self):
        rows = self.db.execute("SELECT name FROM sqlite_schema").fetchall()
        return (0, 1) if rows and self.db.execute("SELECT * FROM t").fetchall() else None

    def boat_text(self):
        return "name = 'the old one'\\n"
"""


class Stick:
    """A board with a log, and a stick in it."""

    def __init__(self, board: Board) -> None:
        self.board, self.folder = board, board.root / "state/stick"
        for name, text in TOOLS.items():
            tool = board.root / "bin" / name
            tool.write_text(f"#!/bin/sh\n{text}\n")
            tool.chmod(0o755)
        self.folder.mkdir()
        self.kind("vfat")

    def kind(self, name: str) -> None:
        (self.board.root / "state/kind").write_text(f"{name}\n")

    def run(self, word: str):
        return self.board.run("stick.sh", word)

    def said(self) -> str:
        return (self.board.root / "run/keelwatt-stick/said").read_text()

    def copies(self) -> list[str]:
        return sorted(p.name for p in self.folder.glob("keelwatt-log-*") if p.is_file())


@pytest.fixture
def stick(tmp_path: Path, repository: Path) -> Stick:
    board = Board(tmp_path, repository)
    done = board.run("install.sh", board.wheels("1.0", IMPORTS, HOLDS))
    assert done.returncode == 0, done.stderr
    write_log(board.log, "first")
    return Stick(board)


def test_a_marked_stick_gets_copies_and_keeps_two(stick: Stick):
    done = stick.run("mark-sda1")
    assert done.returncode == 0, done.stderr
    assert "may be pulled out" in stick.said()
    for word in ("second", "third"):
        write_log(stick.board.log, word)
        assert stick.run("plugged-sda1").returncode == 0
    assert stick.copies() == ["keelwatt-log-0002.sqlite", "keelwatt-log-0003.sqlite"]
    assert words_of(stick.folder / "keelwatt-log-0003.sqlite") == ["first", "second", "third"]
    assert not (stick.board.root / "state/as-root").exists()  # nothing on it was touched as root
    (first, *_) = [line for line in stick.board.calls().splitlines() if line.startswith("mount")]
    assert "nosuid,nodev,noexec" in first
    assert first.startswith("mount -t vfat ")


def test_a_stick_that_is_not_marked_gets_nothing(stick: Stick):
    assert stick.run("mark-sda1").returncode == 0
    for path in stick.folder.iterdir():
        path.unlink()
    for mark in (None, "", "0" * 32, "f" * 31, ".*", "\n" * 32, "\0" * 100_000):
        if mark is not None:
            (stick.folder / "keelwatt-stick").write_text(mark)
        done = stick.run("plugged-sda1")
        assert done.returncode == 1
        assert "left alone" in done.stderr
        assert stick.copies() == []


def test_a_mark_that_is_a_folder_or_begins_like_ours_is_none(stick: Stick):
    assert stick.run("mark-sda1").returncode == 0
    mark = (stick.folder / "keelwatt-stick").read_text()
    stick.copies()
    (stick.folder / "keelwatt-log-0001.sqlite").unlink()
    (stick.folder / "keelwatt-stick").write_text(mark[:16])
    assert stick.run("plugged-sda1").returncode == 1
    (stick.folder / "keelwatt-stick").unlink()
    (stick.folder / "keelwatt-stick").mkdir()
    assert stick.run("plugged-sda1").returncode == 1
    assert stick.copies() == []


@pytest.mark.parametrize("kind", ["ext4", "ntfs", "iso9660", "", "vfat ext4"])
def test_other_file_systems_are_not_mounted(stick: Stick, kind: str):
    stick.kind(kind)
    assert stick.run("mark-sda1").returncode == 1
    assert "mount" not in stick.board.calls()


@pytest.mark.parametrize(
    "word",
    [
        "",
        "mark",
        "mark-",
        "plugged-../sda1",
        "mark-sda1;x",
        "eject-sda1",
        "mark--o",
        "x",
        "restore",
        "release",
        "release-",
        "release-../sda1",
    ],
)
def test_what_is_no_device_does_nothing(stick: Stick, word: str):
    assert stick.run(word).returncode == 1
    assert "mount" not in stick.board.calls()


def test_strange_names_on_a_marked_stick_do_nothing(stick: Stick):
    assert stick.run("mark-sda1").returncode == 0
    names = ("keelwatt-log-$(touch x).sqlite", "keelwatt-log-;x.sqlite", "keelwatt-log--1.sqlite",
             "keelwatt-log-99999999999.sqlite", "keelwatt-log-.sqlite", "keelwatt-log- 7.sqlite",
             "-rf", "*")  # fmt: skip
    for name in names:
        (stick.folder / name).write_text("a stranger's")
    (stick.folder / "keelwatt-log-0005.sqlite").mkdir()
    before = sorted(os.listdir(stick.board.root))
    assert stick.run("plugged-sda1").returncode == 0
    assert words_of(stick.folder / "keelwatt-log-0002.sqlite") == ["first"]
    assert all((stick.folder / name).exists() for name in names)
    assert sorted(os.listdir(stick.board.root)) == before


def test_a_copy_that_fails_leaves_the_older_ones(stick: Stick):
    assert stick.run("mark-sda1").returncode == 0
    # A folder where the new copy is written stands for a full stick.
    (stick.folder / "keelwatt-log-0002.sqlite.part").mkdir()
    assert stick.run("plugged-sda1").returncode == 1
    assert "could not be copied" in stick.said()
    assert words_of(stick.folder / "keelwatt-log-0001.sqlite") == ["first"]


def test_a_new_card_gets_log_and_boat_file_back(stick: Stick):
    for word in ("mark-sda1", "plugged-sda1"):
        assert stick.run(word).returncode == 0
    stick.board.log.unlink()
    done = stick.run("restore-sda1")
    assert done.returncode == 0, done.stderr
    assert words_of(stick.board.log) == ["first"]
    assert (stick.board.log.parent / "boat.toml").read_text() == "name = 'the old one'\n"
    calls = stick.board.calls()
    assert calls.index("systemctl stop") < calls.rindex("systemctl start")
    assert "are back" in stick.said()
    assert not (stick.board.root / "state/as-root").exists()


def test_a_log_with_readings_is_never_put_away_for_a_stick_s(stick: Stick):
    assert stick.run("mark-sda1").returncode == 0
    write_log(stick.board.log, "newer")
    assert stick.run("restore-sda1").returncode == 1
    assert words_of(stick.board.log) == ["first", "newer"]
    assert "it was left as it is" in stick.said()


MACHINE = os.uname().machine


def test_the_newest_release_on_a_stick_is_laid_where_a_phone_s_would_be(stick: Stick):
    names = {
        f"keelwatt-0.9.0-{MACHINE}.release": b"old",
        f"keelwatt-0.10.0-{MACHINE}.release": b"new",
        "keelwatt-2.0.0-sparc64.release": b"another processor's",
        f"keelwatt-3$(touch x)-{MACHINE}.release": b"a stranger's",
        f"keelwatt-4.0.0-{MACHINE}.release.part": b"half",
        f"..keelwatt-5.0.0-{MACHINE}.release": b"hidden",
    }
    for name, content in names.items():
        (stick.folder / name).write_bytes(content)
    (stick.folder / f"keelwatt-6.0.0-{MACHINE}.release").mkdir()
    done = stick.run("release-sda1")  # no mark is wanted: what counts is its signature
    assert done.returncode == 0, done.stderr
    sent = stick.board.log.parent / "incoming/keelwatt.release"
    assert sent.read_bytes() == b"new"
    calls = stick.board.calls()
    assert "systemctl start --no-block keelwatt-update@file.service" in calls
    assert "0.10.0 was copied" in stick.said()
    assert not (stick.board.root / "state/as-root").exists()
    assert stick.copies() == []  # nothing of the log goes to a stick that was not marked


def test_a_stick_without_a_release_starts_nothing(stick: Stick):
    assert stick.run("release-sda1").returncode == 1
    assert "no release for this computer" in stick.said()
    assert "keelwatt-update" not in stick.board.calls()


@pytest.mark.parametrize("text", [b"", b"no log", b"SQLite format 3\0" + b"\xff" * 5000])
def test_a_stranger_s_log_that_is_none_changes_nothing(stick: Stick, text: bytes):
    (stick.folder / "keelwatt-log-0001.sqlite").write_bytes(text)
    stick.board.log.unlink()
    boat = (stick.board.log.parent / "boat.toml").read_text()
    assert stick.run("restore-sda1").returncode == 1
    assert not stick.board.log.exists()
    assert (stick.board.log.parent / "boat.toml").read_text() == boat
    assert "no whole log" in stick.said()


def test_a_stick_without_a_copy_changes_nothing(stick: Stick):
    stick.board.log.unlink()
    (stick.folder / "keelwatt-log-0001.sqlite").mkdir()
    assert stick.run("restore-sda1").returncode == 1
    assert "no copy" in stick.said()
