"""Making room on the card."""

import os
from pathlib import Path

import numpy as np
import pytest

from logger.daemon import housekeeping
from logger.daemon.housekeeping import DAY_US, Housekeeping
from logger.reading import (
    Block,
    Group,
    Quantum,
    UtcFix,
)
from logger.store import Store
from tests.support.flag_records import PLAIN

GROUP = Group("x", ("pack_voltage_v",), (Quantum(0.01),))
EVER = (-(2**62), 2**62)


def raw_files(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.glob("*.log"))


@pytest.fixture
def store(tmp_path: Path):
    with Store.open(tmp_path / "log.sqlite", write=True) as store:
        yield store


@pytest.fixture
def raw(tmp_path: Path) -> Path:
    folder = tmp_path / "raw"
    folder.mkdir()
    for age, name in enumerate(["gps-1.log", "can0-2.log", "can0-3.log", "gps-4.log"]):
        (folder / name).write_text("x" * 1000)
        os.utime(folder / name, (9000 - age, 9000 - age))  # the clock ran backwards: no matter
    return folder


def short_by(keeper: Housekeeping, amounts: list[int]) -> None:
    keeper.short_by = lambda: amounts.pop(0) if amounts else 0  # type: ignore[method-assign]


def fill(store: Store, days: int) -> None:
    """A reading a second, an hour of each day."""
    with store.writer("boot") as writer:
        writer.add(UtcFix(0, 1_700_000_000_000_000, "file", 1.0))
        for day in range(days):
            t_us = day * DAY_US + np.arange(3600) * 1_000_000
            values = 51 + np.sin(np.arange(3600) / 50)[:, None]
            writer.add(Block(GROUP, t_us, values))
            writer.seal()


def test_nothing_is_done_while_there_is_room(store: Store, raw: Path):
    fill(store, 3)
    keeper = Housekeeping(store, raw, 1.0)
    short_by(keeper, [0])
    with store.writer("next") as writer:
        keeper.turn(writer)
    assert len(raw_files(raw)) == 4
    assert len(store.read("pack_voltage_v", *EVER)[0]) == 3 * 3600


def test_oldest_raw_copies_go_first_and_the_newest_of_each_source_stays(store: Store, raw: Path):
    fill(store, 3)
    keeper = Housekeeping(store, raw, 1.0)
    short_by(keeper, [500])
    with store.writer("next") as writer:
        keeper.turn(writer)
        assert raw_files(raw) == ["can0-2.log", "can0-3.log", "gps-4.log"]
        keeper._next_s = 0.0
        short_by(keeper, [5000])
        keeper.turn(writer)
    assert raw_files(raw) == ["can0-3.log", "gps-4.log"]
    assert len(store.read("pack_voltage_v", *EVER)[0]) == 3 * 3600


def test_then_old_readings_are_thinned_and_young_ones_and_flags_stay(store: Store, tmp_path: Path):
    fill(store, 6)
    store.add_flag(PLAIN)
    keeper = Housekeeping(store, tmp_path / "none", 2.0)
    with store.writer("next") as writer:
        for _ in range(10):
            keeper._next_s = 0.0
            short_by(keeper, [5000])
            keeper.turn(writer)
    t_us, _ = store.read("pack_voltage_v", *EVER)
    day = (t_us - 1_700_000_000_000_000) // DAY_US
    counts = [int(np.count_nonzero(day == k)) for k in range(6)]
    assert counts[0] == 360  # 10 s points
    assert counts[4:] == [3600, 3600]
    assert len(store.flags()) == 1


def test_no_more_is_thinned_than_makes_the_room(store: Store, tmp_path: Path):
    """The file of the log does not shrink: what is free inside it counts as room."""
    noise = np.random.default_rng(1).integers(4000, 6000, (12, 20_000)) / 100
    with store.writer("boot") as writer:
        for day in range(12):
            t_us = day * DAY_US + np.arange(20_000) * 1_000_000
            writer.add(Block(GROUP, t_us, noise[day][:, None]))
            writer.seal()
    keeper = Housekeeping(store, tmp_path / "none", 2.0)
    wanted = store.free_bytes() + 40_000
    with store.writer("next") as writer:
        for _ in range(10):
            keeper._next_s = 0.0
            short_by(keeper, [wanted])
            keeper.turn(writer)
        assert store.free_bytes() >= wanted
    day = store.read("pack_voltage_v", *EVER)[0] // DAY_US
    counts = [int(np.count_nonzero(day == k)) for k in range(12)]
    assert counts[0] == 2000
    assert counts[6:] == [20_000] * 6  # old enough but for two, and there is room now


def test_a_log_beyond_its_limit_is_thinned(store: Store, tmp_path: Path):
    fill(store, 4)
    keeper = Housekeeping(store, tmp_path / "none", 1.0, log_limit_mb=0.001)
    short_by(keeper, [0])
    with store.writer("next") as writer:
        keeper.turn(writer)
    assert len(store.read("pack_voltage_v", *EVER)[0]) < 4 * 3600


def test_it_looks_only_now_and_then(store: Store, raw: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(housekeeping, "EVERY_S", 1000.0)
    keeper = Housekeeping(store, raw, 1.0)
    short_by(keeper, [0, 5000])
    with store.writer("next") as writer:
        keeper.turn(writer)
        keeper.turn(writer)
    assert len(raw_files(raw)) == 4
