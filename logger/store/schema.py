"""The log's tables, as a list of migrations, and the one function that applies them.

A migration is never changed once it has been released: the next change is a new function at
the list's end. Each is committed together with its own record, so that a failing one leaves no
trace.

boot           one run of the computer; UTC is a property of it
channel        name and unit, once
channel_group  channels that arrive together; `time_step_us` is the resolution of their times
group_channel  which channels, in which order, at which resolution
tick           the hot tail: what one flush brought
chunk          a sealed stretch of one group with its shared time column
chunk_value    one channel of one chunk, with count, lowest, highest and sum of its readings
chunk_extreme  lowest and highest within each point of a thinned chunk
"""

import sqlite3
from collections.abc import Callable, Sequence
from pathlib import Path

from logger.errors import StoreError

APPLICATION_ID = 0x6B77_6C67  # marks the file as this program's log, by definition

Migration = Callable[[sqlite3.Connection], None]


def m001_first(db: sqlite3.Connection) -> None:
    """The first schema."""
    for statement in _FIRST.split(";"):
        if statement.strip():
            db.execute(statement)


_FIRST = """
CREATE TABLE boot (
    number INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,
    utc_offset_us INTEGER,
    utc_source TEXT,
    utc_uncertainty_s REAL,
    first_us INTEGER,
    last_us INTEGER,
    remark TEXT NOT NULL DEFAULT ''
);
CREATE TABLE channel (
    number INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE,
    unit TEXT NOT NULL
);
CREATE TABLE channel_group (
    number INTEGER PRIMARY KEY,
    key TEXT NOT NULL,
    time_step_us INTEGER NOT NULL
);
CREATE TABLE group_channel (
    group_number INTEGER NOT NULL REFERENCES channel_group,
    position INTEGER NOT NULL,
    channel_number INTEGER NOT NULL REFERENCES channel,
    step REAL NOT NULL,
    "offset" REAL NOT NULL
);
CREATE UNIQUE INDEX group_channel_place ON group_channel (group_number, position);
CREATE TABLE tick (
    number INTEGER PRIMARY KEY,
    boot_number INTEGER NOT NULL,
    group_number INTEGER NOT NULL,
    first_us INTEGER NOT NULL,
    last_us INTEGER NOT NULL,
    data BLOB NOT NULL
);
CREATE TABLE chunk (
    number INTEGER PRIMARY KEY,
    boot_number INTEGER NOT NULL REFERENCES boot,
    group_number INTEGER NOT NULL REFERENCES channel_group,
    first_us INTEGER NOT NULL,
    last_us INTEGER NOT NULL,
    count INTEGER NOT NULL,
    thinned_s REAL,
    codec TEXT NOT NULL,
    time BLOB NOT NULL
);
CREATE INDEX chunk_place ON chunk (group_number, boot_number, first_us, last_us);
CREATE TABLE chunk_value (
    number INTEGER PRIMARY KEY,
    chunk_number INTEGER NOT NULL REFERENCES chunk,
    channel_number INTEGER NOT NULL REFERENCES channel,
    count INTEGER NOT NULL,
    low REAL,
    high REAL,
    sum REAL,
    data BLOB NOT NULL
);
CREATE UNIQUE INDEX chunk_value_place ON chunk_value (channel_number, chunk_number);
CREATE TABLE chunk_extreme (
    number INTEGER PRIMARY KEY,
    chunk_number INTEGER NOT NULL REFERENCES chunk,
    channel_number INTEGER NOT NULL REFERENCES channel,
    low BLOB NOT NULL,
    high BLOB NOT NULL
);
CREATE UNIQUE INDEX chunk_extreme_place ON chunk_extreme (channel_number, chunk_number);
CREATE TABLE trip (
    number INTEGER PRIMARY KEY,
    start_us INTEGER NOT NULL,
    end_us INTEGER NOT NULL,
    summary TEXT NOT NULL
);
CREATE TABLE flag (
    number INTEGER PRIMARY KEY,
    key TEXT NOT NULL,
    level TEXT NOT NULL,
    subject TEXT NOT NULL,
    kind TEXT NOT NULL,
    title TEXT NOT NULL,
    evidence TEXT NOT NULL,
    cause TEXT NOT NULL,
    caution TEXT NOT NULL,
    first_action TEXT NOT NULL,
    raised_us INTEGER NOT NULL,
    seen_us INTEGER,
    cleared_us INTEGER,
    channels TEXT NOT NULL
);
CREATE INDEX flag_raised ON flag (raised_us);
CREATE TABLE learned (
    number INTEGER PRIMARY KEY,
    key TEXT NOT NULL,
    from_us INTEGER NOT NULL,
    to_us INTEGER NOT NULL,
    value TEXT NOT NULL
);
CREATE UNIQUE INDEX learned_place ON learned (key, from_us);
CREATE TABLE health (
    key TEXT PRIMARY KEY,
    utc_us INTEGER,
    value TEXT NOT NULL
);
CREATE TABLE boatfile (
    number INTEGER PRIMARY KEY,
    utc_us INTEGER NOT NULL,
    toml_text TEXT NOT NULL
)
"""


def m002_recorded(db: sqlite3.Connection) -> None:
    """Whether a boot's readings come from a recording: its date may then be any."""
    db.execute("ALTER TABLE boot ADD COLUMN recorded INTEGER NOT NULL DEFAULT 0")
    db.execute("UPDATE boot SET recorded = 1 WHERE utc_source = 'file'")


def m003_one_tick_a_flush(db: sqlite3.Connection) -> None:
    """One row of the tail for all groups of a flush: a commit touches fewer pages."""
    old = db.execute("SELECT number, boot_number, group_number, first_us, last_us, data FROM tick")
    rows = old.fetchall()
    db.execute("DROP TABLE tick")
    db.execute(
        "CREATE TABLE tick (number INTEGER PRIMARY KEY, boot_number INTEGER NOT NULL,"
        " first_us INTEGER NOT NULL, last_us INTEGER NOT NULL, data BLOB NOT NULL)"
    )
    for number, boot, group, first_us, last_us, data in rows:
        packed = _seven_bits(int.from_bytes(data[:4], "little")) + data[4:]
        section = _seven_bits(group) + _seven_bits(len(packed)) + packed
        row = [number, boot, first_us, last_us, section]
        db.execute("INSERT INTO tick VALUES (?, ?, ?, ?, ?)", row)


def _seven_bits(value: int) -> bytes:
    head = b""
    while value >= 0x80:
        head += bytes([value & 0x7F | 0x80])
        value >>= 7
    return head + bytes([value])


MIGRATIONS: tuple[Migration, ...] = (m001_first, m002_recorded, m003_one_tick_a_flush)


def applied(db: sqlite3.Connection) -> list[str]:
    """Names of the migrations that the file has seen; [] for a new file."""
    known = db.execute(
        "SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = 'migration'"
    ).fetchone()
    if not known:
        return []
    return [name for (name,) in db.execute("SELECT name FROM migration ORDER BY number")]


def pending(
    db: sqlite3.Connection, path: Path, steps: Sequence[Migration] = MIGRATIONS
) -> list[Migration]:
    """The steps that the file still needs.

    Raises:
        StoreError: The file is no log of ours, or was written by a newer version.
    """
    holds = db.execute("SELECT 1 FROM sqlite_master").fetchone()
    done = applied(db)  # looked at second: another process may be making the log just now
    if holds and not done:
        raise StoreError(f"{path} is an SQLite file but no log of this program; name another file")
    ours = [step.__name__ for step in steps]
    newer = [name for name in done if name not in ours]
    if newer:
        raise StoreError(
            f"{path} was written by a newer version of keelwatt (it has {newer[-1]}, this version "
            f"knows up to {ours[-1]}); update the program to read it"
        )
    return [step for step in steps if step.__name__ not in done]


def migrate(db: sqlite3.Connection, path: Path, steps: Sequence[Migration] = MIGRATIONS) -> None:
    """Brings the file to this version; `db` must have isolation_level None.

    Raises:
        StoreError: See `pending`; or a step failed, which leaves the file as it was before it.
    """
    for step in pending(db, path, steps):
        db.execute("BEGIN IMMEDIATE")
        try:
            if step.__name__ not in applied(db):  # another process may have been faster
                _apply(db, step)
        except BaseException as error:
            db.execute("ROLLBACK")
            if isinstance(error, sqlite3.Error):
                raise StoreError(f"{path}: migration {step.__name__} failed: {error}") from error
            raise
        db.execute("COMMIT")


def _apply(db: sqlite3.Connection, step: Migration) -> None:
    db.execute(
        "CREATE TABLE IF NOT EXISTS migration (number INTEGER PRIMARY KEY, name TEXT NOT NULL)"
    )
    db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    step(db)
    db.execute("INSERT INTO migration (name) VALUES (?)", [step.__name__])
