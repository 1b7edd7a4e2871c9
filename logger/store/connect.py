"""Opening the SQLite file: journal, safety and waiting are set here and nowhere else."""

import sqlite3
import time
from pathlib import Path

from logger.errors import DamagedLogError, StoreError
from logger.store.schema import migrate, pending
from logger.store.transaction import WHAT_TO_DO, is_damage

BUSY_S = 10.0  # assumed
PAGE_BYTES = 4096  # a card's own block (assumed): one torn while written takes no other along
# then the journal goes into the log; it stays at that size, already on disk, assumed
JOURNAL_PAGES = 250


def connect(path: Path, *, write: bool) -> sqlite3.Connection:
    """A connection in autocommit mode, WAL, every commit synced.

    Raises:
        StoreError: The file is not there, is no log, or is of a newer version.
    """
    if not write and not path.is_file():
        raise StoreError(
            f"there is no log at {path}; record, replay or the demo makes one, or name another"
        )
    try:
        return _open(path, write)
    except sqlite3.Error as error:
        if is_damage(error):
            raise DamagedLogError(
                f"{path} cannot be used as a log: {error}; if it was one: {WHAT_TO_DO}"
            ) from error
        raise StoreError(f"{path} cannot be used as a log: {error}") from error


def used_bytes(db: sqlite3.Connection) -> int:
    """Bytes of the pages in use. Free pages stay in the file and take the next readings."""
    pages, free, size = (
        int(db.execute(f"PRAGMA {name}").fetchone()[0])
        for name in ("page_count", "freelist_count", "page_size")
    )
    return (pages - free) * size


def free_bytes(db: sqlite3.Connection) -> int:
    """Bytes of the file that are free for the next readings."""
    (free,) = db.execute("PRAGMA freelist_count").fetchone()
    (size,) = db.execute("PRAGMA page_size").fetchone()
    return int(free) * int(size)


def _open(path: Path, write: bool) -> sqlite3.Connection:
    if write:
        path.parent.mkdir(parents=True, exist_ok=True)
        db = _raw(f"file:{_quoted(path)}")
        try:
            _prepare(db, path)
        except BaseException:
            db.close()
            raise
        return db
    db = _raw_read_only(path)
    try:
        waiting = pending(db, path)
    except BaseException:
        db.close()
        raise
    if waiting:  # an older log: bring it up to date first
        db.close()
        _open(path, write=True).close()
        return _raw_read_only(path)
    return db


def _raw(uri: str) -> sqlite3.Connection:
    db = sqlite3.connect(
        uri, uri=True, isolation_level=None, timeout=BUSY_S, check_same_thread=False
    )
    db.execute("PRAGMA cache_size = -4000")
    return db


def _raw_read_only(path: Path) -> sqlite3.Connection:
    db = _raw(f"file:{_quoted(path)}?mode=ro")
    try:
        db.execute("SELECT 1 FROM sqlite_master").fetchone()
    except sqlite3.OperationalError:
        db.close()
        if path.with_name(path.name + "-wal").exists():
            raise
        # On a read-only medium there is no place for the shared-memory file, and no writer either.
        return _raw(f"file:{_quoted(path)}?mode=ro&immutable=1")
    return db


def _prepare(db: sqlite3.Connection, path: Path) -> None:
    if db.execute("PRAGMA page_count").fetchone()[0] == 0:
        db.execute(f"PRAGMA page_size = {PAGE_BYTES}")
    pending(db, path)  # refuses a foreign or newer file before anything is changed in it
    _use_journal(db)
    db.execute("PRAGMA synchronous = FULL")
    db.execute("PRAGMA cache_size = -1000")  # a writer looks at the newest pages only
    db.execute(f"PRAGMA wal_autocheckpoint = {JOURNAL_PAGES}")
    migrate(db, path)


def _use_journal(db: sqlite3.Connection) -> None:
    """Turns to the write-ahead journal; SQLite's own waiting does not cover this step."""
    until = time.monotonic() + BUSY_S
    while True:
        try:
            db.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            busy = (error.sqlite_errorcode & 0xFF) == sqlite3.SQLITE_BUSY
            if not busy or time.monotonic() > until:
                raise
            time.sleep(0.01)


def _quoted(path: Path) -> str:
    text = str(path.absolute())
    for plain, code in (("%", "%25"), ("?", "%3f"), ("#", "%23")):
        text = text.replace(plain, code)
    return text


def may_succeed_later(error: sqlite3.OperationalError) -> bool:
    """Whether the same write may succeed later, by SQLite's error code.

    True where the disk has no room, fails now and then, or another program holds the log.
    """
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    return code in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_BUSY, sqlite3.SQLITE_IOERR)
