"""Power cuts and kills at every stage of a log's life: it is made, brought up to date, joined to
day chunks, thinned, saved from a damaged one, joined with that, and made by an import.

KEELWATT_FULL=1 makes 200 cuts and 200 kills of each stage.
"""

import multiprocessing
import os
import random
import shutil
import signal
import sqlite3
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from analyzer.exchange import csv_table, forms, rows
from logger.errors import StoreError
from logger.reading import Block, Group, Quantum, Row, UtcFix
from logger.salvage.join import join
from logger.salvage.rescue import rescue
from logger.store import Store
from logger.store import connect as connect_module
from logger.store.schema import MIGRATIONS, migrate
from tests.support.flag_records import PLAIN

apsw = pytest.importorskip("apsw")
from tests.support.power import Cut  # noqa: E402

# SQLite's own tidying up after the cut meets a dead disk, where nobody can catch it.
pytestmark = pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")

TIMES = 200 if os.environ.get("KEELWATT_FULL") else 24
S = 1_000_000
ALL = -(2**62), 2**62
UTC_US = 1_782_887_400 * S
DAY_S = 86_400
GROUP = Group("test/1", ("pack_voltage_v", "pack_current_a"), (Quantum(0.01), Quantum(0.1)))
ROWS = 600
fork = multiprocessing.get_context("fork")


def record(path: Path, uid: str, first_s: int, seal: bool = True) -> None:
    """A boot of three days, sealed in pieces; the last rows wait in the tail where not sealed."""
    with Store.open(path, write=True) as store:
        writer = store.writer(uid, flush_s=1e9, seal_s=1e9)
        writer.add(UtcFix(0, UTC_US + first_s * S, "gnss", 0.1))
        for day in range(3):
            for piece in range(4):
                at = np.arange(ROWS) + piece * ROWS + day * DAY_S
                table = np.column_stack([50 + at % 100 / 100, at % 777 / 10])
                writer.add(Block(GROUP, at * S, table))
                writer.seal()
        if not seal:
            writer.add(Row(GROUP, 3 * DAY_S * S, [50.0, 1.0]))
            writer.flush()
            writer._db.close()
            writer._lock.release()
            return
        writer.close()


def readings(path: Path) -> dict[tuple[str, int], float]:
    with Store.open(path) as store:
        return {
            (name, int(t)): float(v)
            for name in GROUP.channels
            for t, v in zip(*store.read(name, *ALL), strict=True)
        }


def sound(path: Path) -> None:
    with sqlite3.connect(path) as db:
        assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    db.close()


@dataclass
class Making:
    """A new log is made, and its first second kept."""

    def prepare(self, folder: Path) -> None: ...

    def act(self, folder: Path) -> None:
        with Store.open(folder / "a.sqlite", write=True) as store:
            store.save_boat("name = 'x'", 1)
            with store.writer("boot 1") as writer:
                writer.add(Row(GROUP, 0, [50.0, 1.0]))

    def check(self, folder: Path) -> None:
        path = folder / "a.sqlite"
        if path.exists():
            readings(path)  # a reader is not refused
        self.act(folder)
        assert readings(path)[("pack_current_a", min(t for _, t in readings(path)))] == 1.0
        sound(path)


@dataclass
class Updating:
    """A log of the first version is brought up to date."""

    def prepare(self, folder: Path) -> None:
        record(folder / "new.sqlite", "boot 1", 0)
        old = sqlite3.connect(folder / "a.sqlite", isolation_level=None)
        old.execute("PRAGMA journal_mode = WAL")
        migrate(old, folder / "a.sqlite", MIGRATIONS[:1])
        old.execute("ATTACH ? AS new", [str(folder / "new.sqlite")])
        tables = ("channel", "channel_group", "group_channel", "chunk", "chunk_value")
        for table in tables:
            old.execute(f"INSERT INTO main.{table} SELECT * FROM new.{table}")
        kept = "number, uid, utc_offset_us, utc_source, utc_uncertainty_s, first_us, last_us"
        old.execute(f"INSERT INTO boot ({kept}) SELECT {kept} FROM new.boot")
        old.close()
        (folder / "new.sqlite").unlink()
        (folder / "new.sqlite.lock").unlink()

    def act(self, folder: Path) -> None:
        Store.open(folder / "a.sqlite", write=True).close()

    def check(self, folder: Path) -> None:
        assert len(readings(folder / "a.sqlite")) == 2 * 12 * ROWS
        self.act(folder)
        assert len(readings(folder / "a.sqlite")) == 2 * 12 * ROWS
        sound(folder / "a.sqlite")


@dataclass
class Merging:
    """Pieces become one chunk a day."""

    def prepare(self, folder: Path) -> None:
        record(folder / "a.sqlite", "boot 1", 0, seal=False)
        self.before = readings(folder / "a.sqlite")

    def act(self, folder: Path) -> None:
        with Store.open(folder / "a.sqlite", write=True) as store, store.writer("boot 2") as writer:
            writer.merge()

    def check(self, folder: Path) -> None:
        assert readings(folder / "a.sqlite") == self.before
        self.act(folder)
        assert readings(folder / "a.sqlite") == self.before
        sound(folder / "a.sqlite")


@dataclass
class Thinning:
    """Old days become lowest, mean and highest of a minute; their sums stay."""

    def prepare(self, folder: Path) -> None:
        record(folder / "a.sqlite", "boot 1", 0)
        self.before = self.sums(folder)

    def act(self, folder: Path) -> None:
        with Store.open(folder / "a.sqlite", write=True) as store, store.writer("boot 2") as writer:
            writer.thin(UTC_US + 4 * DAY_S * S, step_s=60.0)

    def sums(self, folder: Path) -> list[float]:
        with Store.open(folder / "a.sqlite") as store:
            found = [store.summary(name, *ALL) for name in GROUP.channels]
        return [x for s in found for x in (s.count, s.low, s.high, s.mean)]

    def check(self, folder: Path) -> None:
        assert self.sums(folder) == pytest.approx(self.before, rel=1e-12)
        self.act(folder)
        assert self.sums(folder) == pytest.approx(self.before, rel=1e-12)
        assert len(readings(folder / "a.sqlite")) < 2 * 12 * ROWS / 50
        sound(folder / "a.sqlite")


@dataclass
class Saving:
    """What can be read of a damaged log is written to a new one."""

    def prepare(self, folder: Path) -> None:
        record(folder / "a.sqlite", "boot 1", 0)
        self.before = readings(folder / "a.sqlite")

    def act(self, folder: Path) -> None:
        rescue(folder / "a.sqlite", folder / "saved.sqlite")

    def check(self, folder: Path) -> None:
        if not (folder / "saved.sqlite").exists():
            self.act(folder)
        assert readings(folder / "saved.sqlite") == self.before
        assert not list(folder.glob(".*"))
        sound(folder / "saved.sqlite")


@dataclass
class Joining:
    """What was saved is brought into the log that is written now."""

    def prepare(self, folder: Path) -> None:
        record(folder / "saved.sqlite", "boot 1", 0)
        with Store.open(folder / "saved.sqlite", write=True) as store:
            store.add_flag(PLAIN)
        record(folder / "a.sqlite", "boot 2", 10 * DAY_S)
        self.before = readings(folder / "a.sqlite") | readings(folder / "saved.sqlite")

    def act(self, folder: Path) -> None:
        join(folder / "saved.sqlite", folder / "a.sqlite", "old")

    def check(self, folder: Path) -> None:
        assert readings(folder / "a.sqlite").items() <= self.before.items()
        self.act(folder)
        assert readings(folder / "a.sqlite") == self.before
        with Store.open(folder / "a.sqlite") as store:
            assert [flag.title for flag in store.flags()] == [PLAIN.title]
        sound(folder / "a.sqlite")


@dataclass
class Importing:
    """A log is made of a table."""

    def prepare(self, folder: Path) -> None:
        path = folder.parent / f"{folder.name} source.sqlite"
        record(path, "boot 1", 0)
        self.before = readings(path)
        with Store.open(path) as store, (folder / "a.csv").open("wb") as out:
            csv_table.write(store, rows.choose(store, None, (), None), out)

    def act(self, folder: Path) -> None:
        forms.read(folder / "a.csv", folder / "a.sqlite")

    def check(self, folder: Path) -> None:
        if not (folder / "a.sqlite").exists():
            self.act(folder)
        assert readings(folder / "a.sqlite") == self.before
        with pytest.raises(StoreError, match="there already"):
            self.act(folder)
        sound(folder / "a.sqlite")


STAGES = (Making, Updating, Merging, Thinning, Saving, Joining, Importing)


@pytest.fixture(params=STAGES, ids=lambda stage: stage.__name__.lower())
def stage(request, tmp_path):
    """A stage, and a folder in which all is ready for it."""
    found, folder = request.param(), tmp_path / "ready"
    folder.mkdir()
    found.prepare(folder)
    return found, folder


def moment(seed: int, steps: int) -> int:
    """Each of the first steps, at which the least is there yet, and any."""
    return random.Random(seed).randint(1, steps) if seed % 2 else min(1 + seed // 2, steps)


def fresh(ready: Path, name: str) -> Path:
    return Path(shutil.copytree(ready, ready.with_name(name)))


def test_a_power_cut_at_any_step_loses_nothing_that_was_there(stage, tmp_path, monkeypatch):
    what, ready = stage
    whole = fresh(ready, "whole")
    steps = Cut(monkeypatch, whole, 1e9, 0, lambda: what.act(whole)).disk.steps
    assert steps > 5
    for seed in range(TIMES):
        folder = fresh(ready, f"run {seed}")
        after = moment(seed, steps)
        cut = Cut(monkeypatch, folder, after, seed, lambda folder=folder: what.act(folder))
        what.check(cut.image(tmp_path / f"card {seed}"))
        shutil.rmtree(folder)
        shutil.rmtree(tmp_path / f"card {seed}")


class Killing(sqlite3.Connection):
    """Kills its process at a statement."""

    left = 10**9

    def execute(self, *given):
        Killing.count()
        return super().execute(*given)

    def executemany(self, *given):
        Killing.count()
        return super().executemany(*given)

    @staticmethod
    def count() -> None:
        Killing.left -= 1
        if Killing.left <= 0:
            os.kill(os.getpid(), signal.SIGKILL)


def raw(uri: str, locking: str = "NORMAL") -> sqlite3.Connection:
    return sqlite3.connect(
        uri, uri=True, isolation_level=None, check_same_thread=False, factory=Killing
    )


def run(what, folder: Path, after: int, told) -> None:
    connect_module._raw = raw
    Killing.left = after
    what.act(folder)
    told.put(after - Killing.left)


def test_a_kill_at_any_statement_loses_nothing_that_was_there(stage):
    what, ready = stage
    told = fork.SimpleQueue()
    whole = fork.Process(target=run, args=(what, fresh(ready, "whole"), 10**9, told))
    whole.start()
    whole.join()
    steps, killed = told.get(), 0
    for seed in range(TIMES):
        folder = fresh(ready, f"run {seed}")
        after = moment(seed, steps)
        process = fork.Process(target=run, args=(what, folder, after, told))
        process.start()
        process.join()
        killed += process.exitcode == -signal.SIGKILL
        what.check(folder)
        shutil.rmtree(folder)
    assert killed == TIMES
