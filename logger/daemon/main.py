"""`keelwatt record`: one recorder after another on one log, whatever happens to the log.

A damaged log is set aside and a new one begun; on a full disk the oldest raw copies give way, and
else it waits.
"""

import logging
import signal
import sqlite3
import sys
import time
from pathlib import Path

from logger.daemon import config, journal
from logger.daemon.boat_watch import BoatWatch
from logger.daemon.config import RecorderConfig
from logger.daemon.full_disk import full_flag
from logger.daemon.housekeeping import drop_oldest_raw
from logger.daemon.process_memory import keep_small
from logger.daemon.recorder import Recorder
from logger.daemon.systemd import Service
from logger.errors import DamagedLogError, LoggerError, StoreError
from logger.salvage import aside
from logger.store import Store
from logger.store.connect import may_succeed_later
from logger.store.transaction import is_damage

WAIT_S = 5.0  # between tries on a full disk, assumed
ROOM_BYTES = 2_000_000  # enough to open a log and record for an hour, assumed
log = logging.getLogger("keelwatt")


def run(boat_path: Path | str, log_path: Path | str) -> int:
    """Runs the daemon; the command line's way in. A changed boat file is used at once.

    Returns:
        0 after a stop, 2 where the boat file or the log cannot be used.
    """
    keep_small()
    journal.set_up()
    try:
        boat: tuple[str, RecorderConfig] | None = _read(Path(boat_path))
        path = Path(log_path)
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.is_file():
            aside.begin_salvage(path)  # what an earlier run has not finished
        _record_on(boat, Path(boat_path), path)
    except LoggerError as error:
        print(f"keelwatt record: {error}", file=sys.stderr)
        return 2
    return 0


def _record_on(boat: tuple[str, RecorderConfig] | None, boat_path: Path, path: Path) -> None:
    """Until it is told to end. Raises LoggerError where it is not the log's state that is wrong."""
    told: list[int] = []  # signals
    full_since_us: int | None = None
    while boat and not told:
        try:
            with Store.open(path, write=True) as store:
                if full_since_us is not None:
                    store.add_flag(full_flag(full_since_us, "nothing was recorded in that time"))
                    full_since_us = None
                boat = _record(*boat, boat_path, store, told)
        except (StoreError, sqlite3.DatabaseError) as error:
            if _has_no_room(error):
                full_since_us = full_since_us or time.time_ns() // 1000
                _make_room(path, error)
            else:
                _begin_anew(path, error)


def _has_no_room(error: Exception) -> bool:
    cause = error.__cause__ or error
    return isinstance(cause, sqlite3.OperationalError) and may_succeed_later(cause)


def _make_room(path: Path, error: Exception) -> None:
    """Lets the oldest raw copies go; where there are none, waits a little."""
    if drop_oldest_raw(path.parent / "raw", ROOM_BYTES):
        log.warning("the disk is full: the oldest raw copies are removed, so that recording begins")
        return
    log.error("the disk is full or the log is held; recording waits: %s", error)
    service = Service()
    service.status("the disk is full; recording waits")
    service.alive()
    time.sleep(WAIT_S)


def _begin_anew(path: Path, error: Exception) -> None:
    """Sets a damaged log aside and begins a new one, which says so.

    Raises:
        Exception: The error itself, where it is no damage, or the file no log of ours.
        StoreError: The new log cannot be made.
    """
    cause = error.__cause__ or error
    damaged = isinstance(error, DamagedLogError) or is_damage(error)
    old = aside.set_aside(path) if damaged else None
    if old is None:
        raise error
    log.error("the log is damaged (%s); it is kept as %s, a new one begins", cause, old.name)
    with Store.open(path, write=True) as store:
        store.add_flag(aside.flag_of(old, str(cause)))
    aside.begin_salvage(path)


def _read(path: Path) -> tuple[str, RecorderConfig]:
    """A boat file's text, and what it says. Raises BoatFileError."""
    try:
        text = path.read_text("utf-8-sig")
    except (OSError, UnicodeDecodeError):
        text = ""  # what is the matter is said below
    return text, config.load(path)


def _record(
    text: str, boat: RecorderConfig, path: Path, store: Store, told: list[int]
) -> tuple[str, RecorderConfig] | None:
    """One recorder, as long as the boat file stays as it is; who goes on, as `Recorder.run`."""
    store.save_boat(text, time.time_ns() // 1000)
    recorder = Recorder(boat, store)

    def stop(number: int, _: object) -> None:
        told.append(number)
        recorder.stop()

    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, stop)
    watch = BoatWatch(path, text, recorder.give_way, recorder.refuse)
    recorder.watch_over(watch.pulse)
    try:
        return recorder.run()
    finally:
        watch.stop()
