"""A damaged log makes room for a new one; what of it can be read is brought over later."""

import os
import subprocess
import sys
import time
from pathlib import Path

from logger.errors import DamagedLogError
from logger.salvage.join import joined
from logger.salvage.rescue import is_log
from logger.store import FlagRecord, Store
from logger.store.lock import WriterLock

MARK = ".damaged-"
ENDINGS = ("", "-wal", "-shm")


def set_aside(log: Path) -> Path | None:
    """Renames a damaged log and its journal to a name that says so and when.

    Returns:
        The new name; None where the file is no log of ours: it then stays as it is.
    Raises:
        StoreError: Another recorder is writing to it.
        OSError: It cannot be renamed.
    """
    if not is_log(log):
        return None
    lock = WriterLock(log)
    try:
        when = time.strftime("%Y%m%dT%H%M%SZ", time.gmtime())
        aside = log.with_name(f"{log.stem}{MARK}{when}{log.suffix}")
        while aside.exists():  # a board without a clock may wake at the same time again
            aside = aside.with_name(f"{aside.stem}x{aside.suffix}")
        for ending in ENDINGS:
            old = log.with_name(log.name + ending)
            if old.exists():
                os.rename(old, aside.with_name(aside.name + ending))
        return aside
    finally:
        lock.release()


def flag_of(aside: Path, why: str) -> FlagRecord:
    """What is said of a log that was set aside."""
    now_us = time.time_ns() // 1000
    return FlagRecord(
        number=None,
        key=f"log/damaged/{aside.name}",
        level="warning",
        subject="log",
        kind="log_damaged",
        title="The log was damaged; a new one was begun",
        evidence=f"The old one is kept as {aside.name} ({why}).",
        cause="A worn or failing card, or power lost while the card was writing.",
        caution="Answers know only the new log until what can be read of the old one is back.",
        first_action="Nothing at sea: what can be read is brought back by itself. "
        "In harbour copy the log and change the card.",
        raised_us=now_us,
    )


def begin_salvage(log: Path) -> None:
    """Starts what brings back each log set aside that is not back yet, at the lowest priority."""
    try:
        with Store.open(log) as store:
            done = joined(store.health())
    except DamagedLogError:
        return  # set aside first
    for aside in sorted(log.parent.glob(f"{log.stem}{MARK}*{log.suffix}")):
        if aside.name not in done:
            subprocess.Popen(
                [sys.executable, "-m", "logger.salvage", str(aside), str(log)],
                start_new_session=True,
                stdin=subprocess.DEVNULL,
            )
