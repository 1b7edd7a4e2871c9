"""Logs that a question needs for as long as the program runs, and whether one is a part of a whole.

Apart from `files`, so that a short answer loads nothing that writes tables.
"""

import atexit
import shutil
import tempfile
from pathlib import Path

from logger.store import Store, connect


def missing_journal(log: Path) -> str:
    """A sentence where a log seems to have been copied without its journal; else ""."""
    return connect.missing_journal(log)


def empty_log() -> Path:
    """A log of which nothing is recorded, for as long as the program runs."""
    log = passing_folder() / "log.sqlite"
    Store.open(log, write=True).close()
    return log


def copy_for_now(log: Path) -> Path:
    """A copy of a log, for as long as the program runs. Raises StoreError."""
    to = passing_folder() / log.name
    with Store.open(log) as store:
        store.back_up(to)
    return to


def passing_folder() -> Path:
    """A folder that is there for as long as the program runs."""
    folder = Path(tempfile.mkdtemp(prefix="keelwatt-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder
