"""All or nothing, on a connection in autocommit mode."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from logger.errors import DamagedLogError, StoreError

WHAT_TO_DO = (
    "the recorder sets it aside and begins a new one by itself; "
    "`keelwatt salvage DAMAGED --out NEW` saves what can be read"
)
_READ_ONLY = (
    "cannot be written here (a read-only medium, or another user's): copy it, with what lies "
    "beside it under its name, to a folder of your own"
)
_HELD = "is held by another program; try again when that has ended"
# What is the matter and what to do, by SQLite's own code.
WHY = {
    sqlite3.SQLITE_READONLY: _READ_ONLY,
    sqlite3.SQLITE_CANTOPEN: _READ_ONLY,
    sqlite3.SQLITE_BUSY: _HELD,
    sqlite3.SQLITE_LOCKED: _HELD,
    sqlite3.SQLITE_FULL: "has no room: the disk is full; make room",
    sqlite3.SQLITE_IOERR: "cannot be read or written: the disk fails; copy what it holds",
}


@contextmanager
def transaction(db: sqlite3.Connection) -> Iterator[None]:
    """Takes the write lock at once; rolls back on any exception. Raises DamagedLogError."""
    with damage_said():
        db.execute("BEGIN IMMEDIATE")
        try:
            yield
            db.execute("COMMIT")
        except BaseException:
            if db.in_transaction:
                db.execute("ROLLBACK")
            raise


@contextmanager
def snapshot(db: sqlite3.Connection) -> Iterator[None]:
    """Several reads that see one state of the log. Raises DamagedLogError."""
    with damage_said():
        db.execute("BEGIN")
        try:
            yield
        finally:
            if db.in_transaction:
                db.execute("ROLLBACK")


@contextmanager
def damage_said() -> Iterator[None]:
    """SQLite's word of damaged pages as our own error. Raises DamagedLogError."""
    try:
        yield
    except sqlite3.DatabaseError as error:
        if not is_damage(error):
            raise
        what = f"pages of the log are damaged ({error})"
        raise DamagedLogError(f"{what}: {WHAT_TO_DO}") from error


@contextmanager
def failure_said(path: Path) -> Iterator[None]:
    """SQLite's word that a log cannot be used just now as our own error. Raises StoreError."""
    try:
        yield
    except sqlite3.OperationalError as error:
        raise StoreError(f"{path} {_why(error)}") from error


def _why(error: sqlite3.OperationalError) -> str:
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    return WHY.get(code, f"cannot be used as a log: {error}")


def is_damage(error: BaseException) -> bool:
    """Whether SQLite says that the file's pages are not what they should be."""
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    return isinstance(error, sqlite3.DatabaseError) and code in (
        sqlite3.SQLITE_CORRUPT,
        sqlite3.SQLITE_NOTADB,
    )
