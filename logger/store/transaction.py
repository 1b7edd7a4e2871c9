"""All or nothing, on a connection in autocommit mode."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from logger.errors import DamagedLogError

WHAT_TO_DO = (
    "the recorder sets it aside and begins a new one by itself; "
    "`keelwatt salvage DAMAGED --out NEW` saves what can be read"
)


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


def is_damage(error: BaseException) -> bool:
    """Whether SQLite says that the file's pages are not what they should be."""
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    return isinstance(error, sqlite3.DatabaseError) and code in (
        sqlite3.SQLITE_CORRUPT,
        sqlite3.SQLITE_NOTADB,
    )
