"""A copy of a log that is whole, and files that get their name only when they are.

Until then a file is hidden beside its place and locked. What a killed run, or one that lost power,
has left in a folder is known by its name and by nobody's lock on it, and goes when the next file
is written there.
"""

import fcntl
import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from logger.errors import StoreError
from logger.store.connect import mark_whole, plain

ENDING = ".keelwatt-part"
BESIDE = ("-wal", "-shm", "-journal", ".lock")  # what SQLite and a writer keep beside a log


def back_up(db: sqlite3.Connection, log_path: Path, to: Path) -> None:
    """Writes one state of the log to a new file, without its free pages; see `Store.back_up`."""
    if to.exists():
        raise StoreError(f"{to} is there already; name a new file for the copy of {log_path}")
    try:
        with whole_file(to) as part:
            copy_into(db, part)
    except OSError as error:
        raise StoreError(f"{log_path} could not be copied to {to}: {error}") from error


def copy_into(db: sqlite3.Connection, to: Path) -> None:
    """Writes one state of the log into an empty file; says in it that no journal belongs to it.

    Raises:
        StoreError: It cannot be written, or is damaged.
    """
    try:
        db.execute("VACUUM INTO ?", [str(to.absolute())])
        with closing(plain(to)) as copy:
            (answer,) = copy.execute("PRAGMA integrity_check(1)").fetchone()
            mark_whole(copy)
    except sqlite3.Error as error:
        raise StoreError(f"the log could not be copied: {error}") from error
    if answer != "ok":
        raise StoreError(f"the log could not be copied: the copy is damaged: {answer}")


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """Where to write what shall be `path`, once the caller is done without an error.

    Raises:
        StoreError: Somebody writes it just now.
        OSError: It cannot be written.
    """
    with scratch_file(path) as part:
        yield part
        sync(part)
        part.replace(path)
        sync(path.parent)


@contextmanager
def scratch_file(beside: Path) -> Iterator[Path]:
    """An empty file beside another, hidden and locked; it is removed at the end.

    Raises:
        StoreError: Somebody writes it just now.
        OSError: It cannot be made.
    """
    sweep(beside.parent)
    part = beside.with_name(f".{beside.name}.{os.getpid()}{ENDING}")
    try:
        handle = os.open(part, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
    except OSError as error:
        # by the name that was asked for: nobody knows the hidden one
        raise OSError(error.errno, error.strerror, str(beside)) from None
    try:
        if not _locked(handle):
            raise StoreError(f"{beside} is being written just now; wait until that is done")
        try:
            os.ftruncate(handle, 0)
            yield part
        finally:
            _remove(part)
    finally:
        os.close(handle)


def sweep(folder: Path) -> None:
    """Removes what is left of files that nobody writes any more."""
    for part in folder.glob(f".*{ENDING}"):
        if part.name.endswith(f".{os.getpid()}{ENDING}"):
            continue  # closing it would drop SQLite's locks of this process
        try:
            handle = os.open(part, os.O_RDWR | os.O_CLOEXEC)
        except OSError:  # another's, or gone meanwhile
            continue
        try:
            if _locked(handle):
                _remove(part)
        finally:
            os.close(handle)


def sync(path: Path) -> None:
    """Makes what was written to a file, or a new name in a folder, outlast a loss of power."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _locked(handle: int) -> bool:
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _remove(part: Path) -> None:
    for ending in ("", *BESIDE):
        part.with_name(part.name + ending).unlink(missing_ok=True)
