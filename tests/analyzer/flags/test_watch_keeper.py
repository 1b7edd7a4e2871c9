"""The live watch comes back by itself, whatever stopped it, and says how long nothing watched."""

import sqlite3
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from analyzer.flags.follow import Live
from analyzer.flags.watch_keeper import WatchKeeper
from logger.boat import Motor
from logger.reading import Group, Quantum, Row, UtcFix
from logger.store import Store
from logger.store.writer import Writer
from tests.support.motor_boat import motor_boat

NAMES = ("pack_current_a", "pack_voltage_v", "motor_temp_c", "pack_temp_c")
GROUP = Group("test/all", NAMES, tuple(Quantum() for _ in NAMES))
BOAT = motor_boat(motor=Motor(rated_power_w=6000, motor_max_temp_c=120))
HOT, WARM = 130.0, 50.0


def write(writer: Writer, first_s: int, last_s: int, motor_c: float) -> None:
    for second in range(first_s, last_s):
        writer.add(Row(GROUP, second * 1_000_000, [5.0, 52.0, motor_c, 20.0]))
    writer.flush()


def wait_for(test: Callable[[], bool]) -> None:
    until = time.monotonic() + 20
    while not test():
        assert time.monotonic() < until
        time.sleep(0.02)


def kinds(path: Path) -> list[str]:
    with Store.open(path) as store:
        return [flag.kind for flag in store.flags()]


@pytest.fixture
def log(tmp_path: Path) -> Path:
    path = tmp_path / "log.sqlite"
    with Store.open(path, write=True) as store, store.writer("boot") as writer:
        writer.add(UtcFix(0, 1_700_000_000_000_000, "gnss", 0.1))
        write(writer, 0, 60, WARM)
    return path


@pytest.mark.parametrize(
    "error",
    [sqlite3.OperationalError("database is locked"), ValueError("a mistake of the program")],
)
def test_a_watch_that_failed_is_begun_anew_and_finds_the_fault(
    log: Path, error: Exception, monkeypatch: pytest.MonkeyPatch
):
    failing = threading.Event()
    failing.set()
    tick = Live.tick

    def sometimes(live: Live):
        if failing.is_set():
            raise error
        return tick(live)

    monkeypatch.setattr(Live, "tick", sometimes)
    keeper = WatchKeeper(lambda: Live(log, BOAT), every_s=0.05)
    try:
        time.sleep(0.3)
        with Store.open(log, write=True) as store, store.writer("boot") as writer:
            write(writer, 60, 100, HOT)
        assert "motor_hot" not in kinds(log)
        failing.clear()
        wait_for(lambda: "watch_paused" in kinds(log))
        assert "motor_hot" in kinds(log)
    finally:
        keeper.stop()
    with Store.open(log) as store:
        paused = next(flag for flag in store.flags() if flag.kind == "watch_paused")
    assert str(error) in paused.evidence
    assert paused.cleared_us is not None
    assert paused.cleared_us > paused.raised_us


def test_a_log_that_takes_the_place_of_a_damaged_one_is_watched(log: Path):
    keeper = WatchKeeper(lambda: Live(log, BOAT), every_s=0.05)
    try:
        log.rename(log.with_name("log.damaged.sqlite"))
        with Store.open(log, write=True) as store, store.writer("boot") as writer:
            writer.add(UtcFix(0, 1_700_000_000_000_000, "gnss", 0.1))
            write(writer, 60, 100, HOT)
        wait_for(lambda: "motor_hot" in kinds(log))
    finally:
        keeper.stop()


def test_what_is_wrong_at_the_start_is_raised(tmp_path: Path):
    (tmp_path / "letter.sqlite").write_text("Dear skipper, " * 500)
    with pytest.raises(Exception, match="cannot be used as a log"):
        WatchKeeper(lambda: Live(tmp_path / "letter.sqlite", BOAT))
