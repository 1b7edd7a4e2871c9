"""Opening the SQLite file: journal, safety and waiting are set here and nowhere else."""

import os
import sqlite3
import time
from contextlib import closing, suppress
from pathlib import Path

from logger.errors import DamagedLogError, StoreError
from logger.store.lock import lock_path
from logger.store.schema import migrate, pending
from logger.store.transaction import WHAT_TO_DO, failure_said, is_damage

BUSY_S = 10.0  # assumed
PAGE_BYTES = 4096  # a card's own block (assumed): one torn while written takes no other along
# then the journal goes into the log; it stays at that size, already on disk, assumed
JOURNAL_PAGES = 250
WRITTEN = 1  # the file's user version while a writer is at work, by definition


def none_at(path: Path) -> str:
    """The sentence for a log that is not there."""
    what = f"{path} is no file, so no log" if path.exists() else f"there is no log at {path}"
    return (
        f"{what}: name one with --log, "
        "or make one with `keelwatt record`, `keelwatt replay` or `keelwatt demo`"
    )


def connect(path: Path, *, write: bool) -> sqlite3.Connection:
    """A connection in autocommit mode, WAL, every commit synced.

    Raises:
        StoreError: The file is not there, is no log, or is of a newer version.
    """
    if not write and not path.is_file():
        raise StoreError(none_at(path))
    try:
        with failure_said(path):
            return _open(path, write)
    except sqlite3.Error as error:
        if is_damage(error):
            raise DamagedLogError(
                f"{path} cannot be used as a log: {error}; if it was one: {WHAT_TO_DO}"
            ) from error
        raise StoreError(f"{path} cannot be used as a log: {error}") from error


def plain(path: Path) -> sqlite3.Connection:
    """A connection to an SQLite file as it is; nothing of it is prepared or looked at."""
    return _raw(f"file:{_quoted(path)}")


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
        moved = journal_bytes(path) > 0 and not lock_path(path).exists()
        db = _raw(f"file:{_quoted(path)}")
        try:
            _prepare(db, path)
            if moved and _is_marked(
                db
            ):  # a copy with its journal, which is taken in now: nothing is missing
                mark_whole(db)
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


def _raw(uri: str, locking: str = "NORMAL") -> sqlite3.Connection:
    db = sqlite3.connect(
        uri, uri=True, isolation_level=None, timeout=BUSY_S, check_same_thread=False
    )
    try:
        db.execute(f"PRAGMA locking_mode = {locking}")  # before anything is read
        db.execute("PRAGMA cache_size = -4000")
    except BaseException:
        db.close()
        raise
    return db


def _raw_read_only(path: Path) -> sqlite3.Connection:
    """A connection that reads, also where nothing can be written beside the log."""
    try:
        return _read_first(f"file:{_quoted(path)}?mode=ro")
    except sqlite3.OperationalError as error:
        code = error.sqlite_errorcode
        if code == sqlite3.SQLITE_READONLY_ROLLBACK:  # power went while it was made
            _open(path, write=True).close()
            return _read_first(f"file:{_quoted(path)}?mode=ro")
        cannot_make = code & 0xFF in (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY)
        if not cannot_make or os.access(path.parent, os.W_OK):
            raise
    # A read-only medium has no place for the shared-memory file, and no writer either: what it
    # would hold can be in this process. Never where something can be written: without locks, the
    # end of this connection would remove a living writer's journal.
    if journal_bytes(path):
        return _read_first(f"file:{_quoted(path)}?mode=ro&vfs=unix-none", "EXCLUSIVE")
    return _read_first(f"file:{_quoted(path)}?mode=ro&immutable=1")


def _read_first(uri: str, locking: str = "NORMAL") -> sqlite3.Connection:
    db = _raw(uri, locking)
    try:
        db.execute("SELECT 1 FROM sqlite_master").fetchone()
    except BaseException:
        db.close()
        raise
    return db


def journal_bytes(path: Path) -> int:
    """Bytes of the journal beside a log, 0 where there is none."""
    journal = path.with_name(path.name + "-wal")
    return journal.stat().st_size if journal.exists() else 0


def mark_written(db: sqlite3.Connection) -> None:
    """Says in the file itself that the journal beside it may hold more; see `missing_journal`."""
    db.execute(f"PRAGMA user_version = {WRITTEN}")
    with suppress(sqlite3.OperationalError):  # no room just now: some later commit brings it along
        db.execute("PRAGMA wal_checkpoint(PASSIVE)")


def mark_whole(db: sqlite3.Connection) -> None:
    """Takes that back, at a writer's end."""
    with suppress(sqlite3.OperationalError):
        db.execute("PRAGMA user_version = 0")


def missing_journal(path: Path) -> str:
    """A sentence where a log seems to have been copied without its journal; else "".

    A writer leaves its lock's file beside the log, so that only a copy has none.
    """
    if not path.is_file() or journal_bytes(path) or lock_path(path).exists():
        return ""
    try:
        # By SQLite alone: another way into the file, closed, drops all this process's locks.
        with closing(connect(path, write=False)) as db:
            marked = _is_marked(db)
    except StoreError:
        return ""
    if not marked:
        return ""
    return (
        f"{path} was copied while it was written, or after power was lost, and its journal "
        f"{path.name}-wal is not beside it: its newest readings are missing; copy both, or make "
        "a whole copy by `keelwatt export --format log`"
    )


def _is_marked(db: sqlite3.Connection) -> bool:
    return bool(db.execute("PRAGMA user_version").fetchone()[0] == WRITTEN)


def _prepare(db: sqlite3.Connection, path: Path) -> None:
    is_new = db.execute("PRAGMA page_count").fetchone()[0] == 0
    if is_new:
        db.execute(f"PRAGMA page_size = {PAGE_BYTES}")
    pending(db, path)  # refuses a foreign or newer file before anything is changed in it
    _use_journal(db)
    db.execute("PRAGMA synchronous = FULL")
    db.execute("PRAGMA cache_size = -1000")  # a writer looks at the newest pages only
    db.execute(f"PRAGMA wal_autocheckpoint = {JOURNAL_PAGES}")
    migrate(db, path)
    if is_new:  # the file alone is then a log, whatever becomes of its journal
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")


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
