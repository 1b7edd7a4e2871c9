"""Logs as they come to a desk: on a read-only medium, held by a program, copied in part; and a
board that gives two boots one name."""

import shutil
import sqlite3
import subprocess
from contextlib import contextmanager

import numpy as np
import pytest

from analyzer.faces.cli.main import main
from logger.errors import StoreError
from logger.reading import EXACT, Group, Row, UtcFix
from logger.store import Store
from logger.store import connect as connect_module
from tests.support.small_boat import BOAT_TEXT

S = 1_000_000
ALL = -(2**62), 2**62
START_US = 1_782_887_400 * S
GROUP = Group("test/1", ("pack_voltage_v", "pack_current_a"), (EXACT, EXACT))


def fill(store, uid="boot-a", first=0, count=100, fix=True, **how):
    """A writer that has committed `count` rows, a second apart, and is not closed."""
    writer = store.writer(uid, flush_s=1e9, seal_s=1e9, **how)
    if fix:
        writer.add(UtcFix(0, START_US, "gnss", 1.0))
    for k in range(first, first + count):
        writer.add(Row(GROUP, k * S, [50.0, float(k)]))
    writer.flush()
    return writer


def cut_off(folder):
    """A log and its journal as a loss of power leaves them, in a folder of their own."""
    path, left = folder / "live.sqlite", folder / "left"
    left.mkdir()
    with Store.open(path, write=True) as store:
        store.save_boat(BOAT_TEXT, 1)
        with fill(store):
            for name in ("live.sqlite", "live.sqlite-wal"):
                shutil.copy(folder / name, left)
    return left / "live.sqlite"


@contextmanager
def read_only(folder):
    """The folder as on a read-only medium."""
    for how in (["--bind"], ["-o", "remount,bind,ro"]):
        command = ["mount", *how, str(folder), str(folder)]
        if not shutil.which("mount") or subprocess.run(command, capture_output=True).returncode:
            pytest.skip("nothing can be mounted here")
    try:
        yield
    finally:
        subprocess.run(["umount", str(folder)], check=True)


@contextmanager
def held(path, monkeypatch):
    """Another program has the write lock and keeps it."""
    monkeypatch.setattr(connect_module, "BUSY_S", 0.1)
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    try:
        yield
    finally:
        other.close()


def currents(path):
    with Store.open(path) as store:
        return store.read("pack_current_a", *ALL)[1]


@pytest.mark.parametrize("journal", [True, False])
def test_a_log_on_a_read_only_medium_is_read_whole(tmp_path, journal, capsys):
    path = cut_off(tmp_path)
    if not journal:
        Store.open(path, write=True).close()  # takes the journal in and removes it
    assert path.with_name("live.sqlite-wal").exists() == journal
    with read_only(path.parent):
        assert np.array_equal(currents(path), np.arange(100.0))
        assert main(["trips", "--log", str(path)]) == 0
        assert "from a copy" in capsys.readouterr().err
        with pytest.raises(StoreError, match="cannot be written here"):
            Store.open(path, write=True)
        assert main(["replay", str(tmp_path / "live.sqlite"), "--log", str(path)]) == 2
        assert main(["flags", "--seen", "1", "--log", str(path)]) == 2
    assert "Traceback" not in capsys.readouterr().err


def test_a_log_that_another_program_holds_is_answered_from_a_copy(tmp_path, monkeypatch, capsys):
    path = cut_off(tmp_path)
    Store.open(path, write=True).close()
    table = tmp_path / "a.csv"
    table.write_text("t,v\n0,50\n1,51\n")
    table.with_suffix(".toml").write_text(
        '[time]\ncolumn = "t"\nunit = "s"\n[[column]]\ncolumn = "v"\nchannel = "pack_voltage_v"\n'
    )
    with held(path, monkeypatch):
        assert main(["trips", "--log", str(path)]) == 0
        assert "held by another program" in capsys.readouterr().err
        assert main(["replay", str(table), "--log", str(path)]) == 2
        assert "held by another program" in capsys.readouterr().err
        with Store.open(path) as store:
            assert store.flags() == []
        with Store.open(path, write=True) as store, pytest.raises(StoreError, match="held by"):
            store.put_health("x", {})


def test_a_log_without_its_journal_says_that_readings_are_missing(tmp_path, capsys):
    path = cut_off(tmp_path)
    alone = tmp_path / "alone.sqlite"
    shutil.copy(path, alone)
    for _ in range(2):  # being looked at does not hide it
        main(["boots", "--log", str(alone)])
        assert "alone.sqlite-wal is not beside it" in capsys.readouterr().err
    assert main(["boots", "--log", str(path)]) == 0
    assert "not beside it" not in capsys.readouterr().err
    Store.open(path, write=True).close()  # as the look-through does
    assert connect_module.missing_journal(path) == ""
    assert np.array_equal(currents(path), np.arange(100.0))


def test_a_whole_copy_and_a_closed_log_say_nothing(tmp_path):
    path, copy = tmp_path / "boat.sqlite", tmp_path / "copy.sqlite"
    with Store.open(path, write=True) as store:
        with fill(store):
            store.back_up(copy)
        assert connect_module.missing_journal(copy) == ""
    path.with_name("boat.sqlite.lock").unlink()
    assert connect_module.missing_journal(path) == ""


def test_a_new_log_is_one_without_its_journal(tmp_path):
    path, alone = tmp_path / "boat.sqlite", tmp_path / "alone.sqlite"
    with Store.open(path, write=True):
        shutil.copy(path, alone)
    with read_only_file(alone), Store.open(alone) as store:
        assert store.span() is None


@contextmanager
def read_only_file(path):
    """Nothing may be written to it on the way in."""
    before = path.read_bytes()
    yield
    assert path.read_bytes() == before


def test_two_boots_of_one_name_are_two(tmp_path):
    path = tmp_path / "boat.sqlite"
    with Store.open(path, write=True) as store:
        fill(store, count=100, now_us=lambda: 100 * S).close()
        # The same name again, 20 s after power on, then a restart of the recorder in that boot,
        # when it runs for longer than the first did: the hand's count is 100, 20 and 5 rows.
        fill(store, first=20, count=20, fix=False, now_us=lambda: 20 * S).close()
        fill(store, first=200, count=5, fix=False, now_us=lambda: 200 * S).close()
        first, second = store.boots()
        assert (first.uid, second.uid) == ("boot-a", "boot-a#2")
        assert len(store.read("pack_current_a", *ALL, first.number)[1]) == 100
        values = store.read("pack_current_a", *ALL, second.number)[1]
        assert values.tolist() == [*range(20, 40), *range(200, 205)]
        assert second.timeline_offset_us > first.timeline_offset_us + 100 * S - 20 * S
        assert second.utc_offset_us is None


def test_a_recorder_that_starts_again_stays_in_its_boot(tmp_path):
    with Store.open(tmp_path / "boat.sqlite", write=True) as store:
        fill(store, count=50, now_us=lambda: 50 * S).close()
        fill(store, first=50, count=50, now_us=lambda: 50 * S).close()
        assert [boot.uid for boot in store.boots()] == ["boot-a"]


def test_an_import_of_a_log_without_its_journal_says_it_too(tmp_path, capsys):
    alone = tmp_path / "alone.sqlite"
    shutil.copy(cut_off(tmp_path), alone)
    main(["import", str(alone), "--log", str(tmp_path / "new.sqlite")])
    assert "alone.sqlite-wal is not beside it" in capsys.readouterr().err
