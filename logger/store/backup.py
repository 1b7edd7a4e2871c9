"""A copy of a log that is whole, while it may be written to."""

import os
import sqlite3
from contextlib import closing
from pathlib import Path

from logger.errors import StoreError
from logger.store.connect import mark_whole


def back_up(db: sqlite3.Connection, log_path: Path, to: Path) -> None:
    """Writes one state of the log to a new file, without its free pages; see `Store.back_up`."""
    if to.exists():
        raise StoreError(f"{to} is there already; name a new file for the copy of {log_path}")
    part = to.with_name(to.name + ".part")
    try:
        part.unlink(missing_ok=True)
        db.execute("VACUUM INTO ?", [str(part.absolute())])
        _check(part)
        sync(part)
        part.rename(to)
        sync(to.parent)
    except (OSError, sqlite3.Error) as error:
        part.unlink(missing_ok=True)
        raise StoreError(f"{log_path} could not be copied to {to}: {error}") from error


def _check(path: Path) -> None:
    """Also says in the copy that no journal belongs to it."""
    with closing(sqlite3.connect(path)) as copy:
        (answer,) = copy.execute("PRAGMA integrity_check(1)").fetchone()
        mark_whole(copy)
    if answer != "ok":
        raise OSError(f"the copy is damaged: {answer}")


def sync(path: Path) -> None:
    """Makes what was written to a file, or a new name in a folder, outlast a loss of power."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
