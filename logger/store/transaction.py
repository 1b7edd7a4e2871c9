"""All or nothing, on a connection in autocommit mode."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def transaction(db: sqlite3.Connection) -> Iterator[None]:
    """Takes the write lock at once; rolls back on any exception."""
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
    """Several reads that see one state of the log."""
    db.execute("BEGIN")
    try:
        yield
    finally:
        if db.in_transaction:
            db.execute("ROLLBACK")
