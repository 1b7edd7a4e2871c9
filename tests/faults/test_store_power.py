"""Power cuts while a log is recorded, on both kinds of card of `tests.support.power`.

KEELWATT_FULL=1 makes 200 cuts of each kind.
"""

import os
import random
from pathlib import Path

import numpy as np
import pytest

from logger.reading import (
    Block,
    Group,
    Quantum,
    Row,
    UtcFix,
)
from logger.store import Store
from logger.store import connect as connect_module
from tests.support.flag_records import PLAIN

apsw = pytest.importorskip("apsw")
from tests.support.power import Connection, CutVfs, Disk, PowerCutError  # noqa: E402

# SQLite's own tidying up after the cut meets a dead disk, where nobody can catch it.
pytestmark = pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")

CUTS = 200 if os.environ.get("KEELWATT_FULL") else 25
S = 1_000_000
GROUPS = (
    Group("can/1", ("pack_voltage_v", "pack_current_a"), (Quantum(0.01), Quantum(0.1))),
    Group("gps/RMC", ("latitude_deg",), (Quantum(),)),
)


class Run:
    """One recording that ends by a power cut; remembers what the store said was safe."""

    def __init__(self, folder: Path, seed: int, monkeypatch, synchronous: str = "FULL") -> None:
        self.rng = random.Random(seed)
        self.disk = Disk(self.rng.randrange(60, 900), self.rng)
        self.path = folder / "boat.log"
        self.given: tuple[list[int], ...] = ([], [])  # numbers of the rows given, by group
        self.safe = (0, 0)  # how many of them the store has said to be safe
        self.next = self.flags = self.safe_flags = 0
        vfs = CutVfs(self.disk)
        monkeypatch.setattr(connect_module, "_raw", lambda uri: Connection(uri, synchronous))
        try:
            self._record()
        except (PowerCutError, apsw.Error):
            assert self.disk.dead, "the store failed by itself"
        finally:
            monkeypatch.undo()
            vfs.unregister()

    def _record(self) -> None:
        store = Store.open(self.path, write=True)
        writer = store.writer("boot-a", flush_s=1e9, seal_s=1e9)
        while True:
            for _ in range(self.rng.randrange(1, 30)):
                writer.add(self._item())
            act = self.rng.choices(["flush", "seal", "merge", "flag"], [20, 3, 1, 2])[0]
            if act == "flag":
                self.flags += 1
                store.add_flag(PLAIN)
                self.safe_flags = self.flags
            else:
                getattr(writer, act)()
                self.safe = (len(self.given[0]), len(self.given[1]))

    def _item(self):
        fate = self.rng.random()
        if fate < 0.02:
            t_us = self.next * S
            return UtcFix(t_us, 1_790_000_000 * S + t_us, "gnss", self.rng.random())
        count = 5000 if fate > 0.997 else 1
        group = self.rng.randrange(2)
        numbers = range(self.next, self.next + count)
        self.next += count
        self.given[group].extend(numbers)
        if count == 1:
            return Row(GROUPS[group], numbers[0] * S, values_at(group, numbers[0]))
        values = np.array([values_at(group, i) for i in numbers])
        return Block(GROUPS[group], np.array(numbers) * S, values)

    def image(self, folder: Path, rough: bool) -> Path:
        """The files as the card has them after the cut."""
        folder.mkdir()
        for path, held in self.disk.files.items():
            (folder / Path(path).name).write_bytes(held.after_cut(self.rng, rough))
        return folder / self.path.name


def values_at(group: int, i: int) -> list[float]:
    return [i % 90 + 1 / (i + 1)] if group else [i % 1000 / 100, i % 777 / 10]


def lost(store: Store, run: Run) -> list[int]:
    """Checks that what is there is right; how many safe rows of each group are not there."""
    missing = []
    for group, channels in enumerate(g.channels for g in GROUPS):
        for column, name in enumerate(channels):
            t_us, values = store.read(name, -(2**62), 2**62)
            offsets = [boot.timeline_offset_us for boot in store.boots() if boot.uid == "boot-a"]
            numbers = ((t_us - (offsets or [0])[0]) // S).tolist()
            assert numbers == run.given[group][: len(numbers)], "not each once and in order"
            assert values.tolist() == [values_at(group, i)[column] for i in numbers]
            missing.append(max(run.safe[group] - len(numbers), 0))
    return missing


def opened_after(path: Path, run: Run) -> list[int]:
    """Opens a log after a cut, as a start of the logger does; safe rows that were lost."""
    with Store.open(path, write=True) as store:
        assert store._db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        missing = lost(store, run)
        store.writer("boot-b").close()  # takes in what was left in the tail
        assert lost(store, run) == missing
        assert store._db.execute("SELECT count(*) FROM tick").fetchone() == (0,)
        assert len(store.flags()) <= run.flags
        assert store._db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        return [*missing, max(run.safe_flags - len(store.flags()), 0)]


def test_a_power_cut_loses_nothing_that_was_safe(tmp_path, monkeypatch):
    for seed in range(CUTS):
        folder = tmp_path / str(seed)
        folder.mkdir()
        run = Run(folder, seed, monkeypatch)
        assert opened_after(run.image(folder / "card", rough=False), run) == [0, 0, 0, 0], seed


def test_a_power_cut_on_a_rough_card_never_breaks_the_log(tmp_path, monkeypatch):
    # Safe rows may go here, with the blocks they lay in; what is left must still be whole.
    for seed in range(CUTS):
        folder = tmp_path / str(seed)
        folder.mkdir()
        run = Run(folder, 10_000 + seed, monkeypatch)
        opened_after(run.image(folder / "card", rough=True), run)


def test_the_cuts_are_hard_enough_to_break_a_store_that_does_not_sync(tmp_path, monkeypatch):
    broken = 0
    for seed in range(15):
        folder = tmp_path / str(seed)
        folder.mkdir()
        run = Run(folder, seed, monkeypatch, synchronous="OFF")
        try:
            broken += any(opened_after(run.image(folder / "card", rough=False), run))
        except Exception:
            broken += 1
    assert broken >= 5
