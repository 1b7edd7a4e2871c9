"""Damaged pages: recording goes on in a new log, and what can be read of the old one comes back.

What was written is known to the test; a reading is saved only if it is equal to the bit.
"""

import os
import random
import re
import shutil
import socket
import sqlite3
import subprocess
import sys
import time
from collections import defaultdict
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from analyzer.faces.cli.main import main as keelwatt
from logger.errors import StoreError
from logger.reading import Block, Group, Quantum, Row, UtcFix
from logger.salvage import aside
from logger.salvage.__main__ import main as salvage
from logger.salvage.join import join
from logger.salvage.page_check import PageCheck
from logger.salvage.rescue import is_log, rescue
from logger.store import Store
from tests.support.flag_records import PLAIN

EVER = (-(2**62), 2**62)
PAGE = 4096
UTC_US = 1_800_000_000_000_000
GROUPS = (
    Group("can/1", ("pack_voltage_v", "pack_current_a"), (Quantum(0.01), Quantum(0.1))),
    Group("can/2", ("motor_temp_c",), (Quantum(0.1),)),
)


def values_of(group: Group, rows: int) -> np.ndarray:
    """Noise, so that it does not pack into one page."""
    rng = np.random.default_rng(len(group.channels))
    return np.round(rng.uniform(0, 100, (rows, len(group.channels))), 1)


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A log of three boots, a flag, learned results and a tail that was never sealed."""
    path = tmp_path_factory.mktemp("written") / "boat.sqlite"
    kept = tmp_path_factory.mktemp("sound") / "boat.sqlite"
    with Store.open(path, write=True) as store:
        for boot in range(3):
            writer = store.writer(f"boot {boot}")
            writer.add(UtcFix(0, UTC_US + boot * 10**11, "gnss", 0.1))
            for group in GROUPS:
                times = np.arange(5000, dtype=np.int64) * 1_000_000
                writer.add(Block(group, times, values_of(group, 5000)))
            writer.seal()
            if boot == 2:
                for second in range(20):
                    writer.add(Row(GROUPS[1], (5000 + second) * 1_000_000, (20.0 + second / 10,)))
                    writer.flush()
                writer._lock.release()
                writer._db.close()
            else:
                writer.close()
        store.add_flag(PLAIN)
        store.put_learned("capacity", {"ah": 180}, 0, 10)
        for ending in ("", "-wal"):  # while it is open: the journal holds the newest
            shutil.copy(path.with_name(path.name + ending), kept.with_name(kept.name + ending))
    return kept


def readings(path: Path) -> dict[tuple[str, int], float]:
    """Every reading, by channel and time."""
    with Store.open(path) as store:
        return {
            (name, int(t)): float(value)
            for name in store.channels()
            for t, value in zip(*store.read(name, *EVER), strict=True)
        }


def copy(sound: Path, to: Path) -> Path:
    """The log as a card holds it after the plug was pulled: the journal beside it."""
    to.mkdir()
    for ending in ("", "-wal"):
        shutil.copy(sound.with_name(sound.name + ending), to / f"boat.sqlite{ending}")
    return to / "boat.sqlite"


def without_journal(sound: Path, to: Path) -> Path:
    path = copy(sound, to)
    Store.open(path, write=True).close()  # takes the journal into the file
    assert not path.with_name("boat.sqlite-wal").exists()
    return path


def owners_of(path: Path) -> dict[int, str]:
    """Table or index of each page, by SQLite's own account."""
    with closing(sqlite3.connect(path)) as db:
        return dict(db.execute("SELECT pageno, name FROM dbstat").fetchall())


def spoil(path: Path, *pages: int) -> None:
    with path.open("r+b") as file:
        for page in pages:
            file.seek((page - 1) * PAGE)
            file.write(random.Random(page).randbytes(PAGE))


def saved_of(path: Path) -> dict[tuple[str, int], float]:
    rescue(path, path.with_name("saved.sqlite"))
    return readings(path.with_name("saved.sqlite"))


def test_an_undamaged_log_is_saved_whole(sound: Path, tmp_path: Path):
    path = copy(sound, tmp_path / "a")
    before = readings(path)
    assert len(before) == 3 * 3 * 5000 + 20
    account = rescue(path, path.with_name("saved.sqlite"))
    assert readings(path.with_name("saved.sqlite")) == before
    assert (account.lost, account.broken, account.tables["flag"]) == (0, 0, 1)
    assert "no piece is missing" in account.sentence()


def test_one_spoiled_page_costs_what_stood_in_it(sound: Path, tmp_path: Path):
    plain = without_journal(sound, tmp_path / "a")
    before = readings(plain)
    owners = owners_of(plain)
    kept: dict[str, list[float]] = defaultdict(list)
    for page, owner in owners.items():
        path = tmp_path / f"page {page}" / "boat.sqlite"
        path.parent.mkdir()
        shutil.copy(plain, path)
        spoil(path, page)
        after = saved_of(path)
        assert after.items() <= before.items(), f"page {page}: a reading that never was"
        kept[owner].append(len(after) / len(before))
    assert len(kept["chunk_value"]) > 15
    # The times of all stretches stand in one page of so small a log.
    assert sum(share < 0.9 for share in kept.pop("chunk")) == 1
    # A column is a third of the readings of one of three boots; its packed bytes fill some pages.
    assert min(kept.pop("chunk_value")) >= 0.65
    assert min(kept.pop("tick")) > 0.999  # twenty readings of the tail
    assert {share for shares in kept.values() for share in shares} == {1.0}


def test_dates_and_channels_outlive_their_pages(sound: Path, tmp_path: Path):
    path = copy(sound, tmp_path / "a")
    before = readings(path)
    spoil(path, 1, 2, 3, 4, 5)
    after = saved_of(path)
    assert after.items() <= before.items()
    assert len(after) >= 0.6 * len(before)


def test_a_file_cut_off_gives_what_is_left(sound: Path, tmp_path: Path):
    path = copy(sound, tmp_path / "a")
    before = readings(path)
    os.truncate(path, os.path.getsize(path) * 2 // 3)
    after = saved_of(path)
    assert after.items() <= before.items()
    assert len(after) >= 5000  # a column of one boot at least


def test_what_is_no_log_is_never_moved(tmp_path: Path):
    photo = tmp_path / "photo.jpg"
    photo.write_bytes(random.Random(1).randbytes(300_000))
    assert not is_log(photo)
    assert aside.set_aside(photo) is None
    assert photo.exists()
    with pytest.raises(StoreError, match="no log of this program"):
        rescue(photo, tmp_path / "saved.sqlite")


def test_joined_once_only_and_numbers_translated(sound: Path, tmp_path: Path):
    path = copy(sound, tmp_path / "a")
    before = readings(path)
    new = tmp_path / "new.sqlite"
    with Store.open(new, write=True) as store, store.writer("boot 3") as writer:
        writer.add(UtcFix(0, UTC_US + 3 * 10**11, "gnss", 0.1))
        writer.add(Row(GROUPS[1], 0, (55.5,)))  # group 1 here, 2 there
    now = readings(new)
    rescue(path, tmp_path / "saved.sqlite")
    assert join(tmp_path / "saved.sqlite", new, "old") > 0
    assert join(tmp_path / "saved.sqlite", new, "old") == 0
    assert readings(new) == before | now
    with Store.open(new) as store:
        assert [flag.title for flag in store.flags()] == [PLAIN.title]
        assert store.learned("capacity")[0].value == {"ah": 180}


def free_port() -> int:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.bind(("127.0.0.1", 0))
        return int(sock.getsockname()[1])


BOAT = """
name = "Test boat"
[hull]
waterline_m = 7.0
beam_waterline_m = 2.2
draught_m = 1.2
displacement_kg = 3000.0
[pack]
chemistry = "lfp"
cells_in_series = 16
rated_capacity_ah = 100.0
[motor]
rated_power_w = 5000.0
[[source]]
name = "water"
kind = "nmea0183"
options = {{ udp = {port} }}
"""


@pytest.mark.parametrize("owner", ["sqlite_schema", "boot", "group_channel", "chunk_value"])
def test_recording_goes_on_and_the_old_readings_come_back(sound: Path, tmp_path: Path, owner: str):
    path = without_journal(sound, tmp_path / "a")
    before = readings(path)
    spoil(path, [page for page, name in owners_of(path).items() if name == owner][-1])
    port = free_port()
    boat = tmp_path / "boat.toml"
    boat.write_text(BOAT.format(port=port))
    program = [sys.executable, "-m", "keelwatt", "record", "--boat", str(boat), "--log", str(path)]
    with subprocess.Popen(program, stderr=subprocess.PIPE, text=True) as recorder:
        try:
            until = time.monotonic() + 60
            while not came(path, port):
                assert recorder.poll() is None, recorder.stderr and recorder.stderr.read()
                assert time.monotonic() < until
            while not back(path):
                assert time.monotonic() < until
                time.sleep(0.2)
        finally:
            recorder.terminate()
    after = readings(path)
    began_us = max(t_us for _, t_us in before) + 1
    old = {place: value for place, value in after.items() if place[1] < began_us}
    assert old.items() <= before.items()  # and what came since lies after it
    assert len(old) >= (0.65 if owner == "chunk_value" else 1.0) * len(before)


def came(path: Path, port: int) -> bool:
    """Sends a water temperature; whether one is in the log."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.sendto(b"$IIMTW,18.5,C*1F\r\n", ("127.0.0.1", port))
    time.sleep(0.2)
    try:
        with Store.open(path) as store:
            return len(store.read("water_temp_c", *EVER)[0]) > 0
    except StoreError:
        return False


def back(path: Path) -> bool:
    """Whether the salvage is told to be over."""
    with Store.open(path) as store:
        told = [flag for flag in store.flags() if flag.kind == "log_damaged"]
    return bool(told) and told[0].cleared_us is not None


def test_damage_done_while_it_records_is_noticed_too(sound: Path, tmp_path: Path):
    plain = without_journal(sound, tmp_path / "a")
    check = PageCheck(plain, every_s=0.05)
    check.start()
    time.sleep(0.5)
    assert check.damage is None  # nothing was found at the first looks
    spoil(plain, min(page for page, owner in owners_of(plain).items() if owner == "chunk_value"))
    for _ in range(200):
        if check.damage:
            break
        time.sleep(0.05)
    check.stop()
    assert "is damaged" in str(check.damage)


def test_a_salvage_that_cannot_begin_says_why(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    assert salvage(tmp_path / "nothing.sqlite", tmp_path / "log.sqlite") == 2
    assert "nothing.sqlite" in capsys.readouterr().err


def test_the_command_saves_into_a_new_log(
    sound: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    path = copy(sound, tmp_path / "a")
    before = readings(path)
    saved = tmp_path / "saved.sqlite"
    assert keelwatt(["salvage", str(path), "--out", str(saved)]) == 0
    assert "no piece is missing" in capsys.readouterr().out
    assert readings(saved) == before
    assert keelwatt(["salvage", str(path), "--out", str(saved)]) == 2
    assert "is there already" in capsys.readouterr().err


def test_a_reader_of_a_damaged_log_says_what_to_do(
    sound: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    boat = tmp_path / "boat.toml"
    boat.write_text(BOAT.format(port=1))
    for owner in ("flag", "channel", "boot"):
        path = without_journal(sound, tmp_path / owner)
        spoil(path, next(page for page, name in owners_of(path).items() if name == owner))
        # Where the flags themselves can be read they are told, else nothing is.
        assert keelwatt(["flags", "--log", str(path), "--boat", str(boat)]) in (0, 2)
        said = capsys.readouterr().err
        assert "damaged" in said
        assert "keelwatt salvage" in said
        assert "Traceback" not in said


@pytest.mark.parametrize("owner", ["flag", "channel", "boot", "chunk", ""])
def test_a_question_to_a_damaged_log_is_answered_from_what_is_left(
    sound: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], owner: str
):
    boat = tmp_path / "boat.toml"
    boat.write_text(BOAT.format(port=1))
    path = without_journal(sound, tmp_path / "log")
    pages = {page for page, name in owners_of(path).items() if name == owner}
    for page in pages or {1}:  # "" is the file's first page
        spoil(path, page)
    before = path.read_bytes()
    kept = _recorded(path) if owner == "flag" else []
    for words in (["boots"], ["flags"], ["check", "--json"]):
        assert keelwatt([*words, "--log", str(path), "--boat", str(boat)]) == 0, words
        told = capsys.readouterr()
        assert told.out
        assert "Traceback" not in told.err
        if "answered from what can be read of it" in told.err:
            assert re.search(r"\(\d+ of \d+ pages damaged\)", told.err)  # and so what is not
            assert "keelwatt salvage" in told.err
    # Nothing is mended under somebody's hands. Damage among the flags shows only once something
    # that a look has found is to be kept beside them: then what was recorded stays as it was.
    assert path.read_bytes() == before or (kept and _recorded(path) == kept)


def _recorded(path: Path) -> list[tuple[object, ...]]:
    """The log's chunks of readings, as they stand in the file."""
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as db:
        return list(db.execute("SELECT * FROM chunk ORDER BY rowid"))


def test_what_is_no_log_is_not_answered_from(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    path = tmp_path / "letter.sqlite"
    path.write_text("Dear crew, see you at noon.\n" * 900)
    assert keelwatt(["trips", "--log", str(path)]) == 2
    assert "is no log of this program" in capsys.readouterr().err


def test_a_stretch_that_does_not_hold_what_it_says_is_not_saved(sound: Path, tmp_path: Path):
    path = without_journal(sound, tmp_path / "a")
    with closing(sqlite3.connect(path)) as db:
        (number,) = db.execute("SELECT number FROM chunk ORDER BY number LIMIT 1").fetchone()
        db.execute("UPDATE chunk SET count = count - 1 WHERE number = ?", [number])
        db.commit()
    with closing(sqlite3.connect(path)) as db:
        (there,) = db.execute("SELECT count(*) FROM chunk").fetchone()
    account = rescue(path, path.with_name("saved.sqlite"))
    assert account.tables["chunk"] == there - 1
    assert account.lost >= 1
