"""The small tables: boat files, flags, learned results, trips, the logger's own health.

Plain statements, not SQLAlchemy: its import costs more time and memory than everything else
here together, and both the daemon and the short answers come through this file.
"""

import json
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, fields
from pathlib import Path
from typing import Any

from logger.errors import StoreError
from logger.store import spare
from logger.store.records import FlagRecord, HealthRecord, Learned, Table, TripRecord
from logger.store.transaction import damage_said, failure_said, snapshot, transaction

TABLES = ("boatfile", "flag", "health", "learned", "trip")
_FLAG_COLUMNS = tuple(f.name for f in fields(FlagRecord))


def _json(value: dict[str, Any]) -> str:
    return json.dumps(value, allow_nan=False, ensure_ascii=False, separators=(",", ":"))


def put_health(db: sqlite3.Connection, key: str, value: dict[str, Any], utc_us: int | None) -> None:
    """Keeps a part's newest word about itself."""
    db.execute(
        "INSERT INTO health (key, utc_us, value) VALUES (?, ?, ?)"
        " ON CONFLICT (key) DO UPDATE SET utc_us = excluded.utc_us, value = excluded.value",
        [key, utc_us, _json(value)],
    )


def add_counts(db: sqlite3.Connection, key: str, counts: dict[str, int]) -> None:
    """Adds to the counters kept under a health key, in the caller's transaction."""
    row = db.execute("SELECT value FROM health WHERE key = ?", [key]).fetchone()
    totals: dict[str, int] = json.loads(row[0]) if row else {}
    for name, count in counts.items():
        totals[name] = totals.get(name, 0) + count
    put_health(db, key, totals, None)


def _columns(db: sqlite3.Connection, name: str) -> dict[str, str]:
    return {row[1]: str(row[2]) for row in db.execute(f"PRAGMA table_info({name})")}


class SmallTables:
    """What `Store` has of them."""

    path: Path
    writable: bool
    _db: sqlite3.Connection
    _lock: threading.RLock

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        """The connection, for one thread at a time. Raises StoreError where it only reads, or
        cannot be written just now."""
        if not self.writable:
            raise StoreError(f"{self.path} was opened for reading only")
        with self._lock, failure_said(self.path):
            yield self._db

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        """The connection in one state of the log, for one thread at a time. Raises StoreError."""
        with self._lock, failure_said(self.path), snapshot(self._db):
            yield self._db

    def _rows(self, statement: str, values: list[Any]) -> list[tuple[Any, ...]]:
        with self._lock, failure_said(self.path), damage_said():
            return self._db.execute(statement, values).fetchall()

    # -- as they are, for another log -----------------------------------------------------------

    def tables(self) -> dict[str, Table]:
        """The small tables as they are, by name; see `put_tables`. The spare copy is no content."""
        found = {}
        with self._reading():
            for name in TABLES:
                rows = self._db.execute(f"SELECT * FROM {name}").fetchall()
                kept = [row for row in rows if row[0] != spare.KEY]
                found[name] = Table(_columns(self._db, name), kept)
        return found

    def put_tables(self, tables: dict[str, Table]) -> None:
        """Takes in small tables of another log, in the place of this log's own; all or none.

        Raises:
            StoreError: A table or a column is not known.
        """
        with self._writing() as db, transaction(db):
            for name, table in tables.items():
                known = _columns(db, name) if name in TABLES else {}
                strange = [c for c in table.columns if c not in known] if known else [name]
                if strange:
                    raise StoreError(f"a log has no {strange[0]!r} in its small tables")
                db.execute(f"DELETE FROM {name}")
                marks = ", ".join("?" * len(table.columns))
                columns = ", ".join(table.columns)
                db.executemany(f"INSERT INTO {name} ({columns}) VALUES ({marks})", table.rows)
            spare.keep(db)

    # -- boat file ------------------------------------------------------------------------------

    def save_boat(self, toml_text: str, utc_us: int) -> None:
        """Keeps a version of boat.toml, unless it is the newest already."""
        with self._writing() as db, transaction(db):
            if self.boat_text() != toml_text:
                db.execute(
                    "INSERT INTO boatfile (utc_us, toml_text) VALUES (?, ?)", [utc_us, toml_text]
                )

    def boat_text(self) -> str | None:
        """The newest boat.toml kept, None where there is none."""
        rows = self._rows("SELECT toml_text FROM boatfile ORDER BY number DESC LIMIT 1", [])
        return str(rows[0][0]) if rows else None

    # -- flags ----------------------------------------------------------------------------------

    def add_flag(self, flag: FlagRecord) -> int:
        """Stores a flag; its number."""
        values = asdict(flag) | {"channels": json.dumps(flag.channels)}
        marks = ", ".join("?" * len(_FLAG_COLUMNS))
        with self._writing() as db:
            cursor = db.execute(
                f"INSERT INTO flag ({', '.join(_FLAG_COLUMNS)}) VALUES ({marks})",
                [values[name] for name in _FLAG_COLUMNS],
            )
        assert cursor.lastrowid is not None
        return cursor.lastrowid

    def update_flag(self, number: int, **changes: Any) -> None:
        """Changes fields of a flag, by their names in `FlagRecord`.

        Raises:
            StoreError: There is no such flag or field.
        """
        unknown = set(changes) - set(_FLAG_COLUMNS[1:])
        if unknown:
            raise StoreError(f"a flag has no {', '.join(sorted(unknown))}")
        if "channels" in changes:
            changes = changes | {"channels": json.dumps(tuple(changes["channels"]))}
        places = ", ".join(f"{name} = ?" for name in changes)
        with self._writing() as db:
            if not changes:
                return
            done = db.execute(
                f"UPDATE flag SET {places} WHERE number = ?", [*changes.values(), number]
            )
        if done.rowcount != 1:
            raise StoreError(f"there is no flag {number}")

    def flags(self, start_us: int | None = None, end_us: int | None = None) -> list[FlagRecord]:
        """Flags whose life touches [start, end), by the time they were raised; None is open."""
        rows = self._rows(
            f"SELECT {', '.join(_FLAG_COLUMNS)} FROM flag"
            " WHERE (?1 IS NULL OR cleared_us IS NULL OR cleared_us >= ?1)"
            " AND (?2 IS NULL OR raised_us < ?2) ORDER BY raised_us, number",
            [start_us, end_us],
        )
        found = []
        for row in rows:
            told = dict(zip(_FLAG_COLUMNS, row, strict=True))
            told["channels"] = tuple(json.loads(told["channels"]))
            found.append(FlagRecord(**told))
        return found

    # -- learned results, trips, health ---------------------------------------------------------

    def put_learned(self, key: str, value: dict[str, Any], from_us: int, to_us: int) -> None:
        """Keeps a result (JSON, no NaN); one of the same key and from_us is replaced."""
        with self._writing() as db:
            db.execute(
                "INSERT INTO learned (key, from_us, to_us, value) VALUES (?, ?, ?, ?)"
                " ON CONFLICT (key, from_us) DO UPDATE"
                " SET to_us = excluded.to_us, value = excluded.value",
                [key, from_us, to_us, _json(value)],
            )

    def learned(self, key: str) -> list[Learned]:
        """Results of a key, by from_us."""
        rows = self._rows(
            "SELECT from_us, to_us, value FROM learned WHERE key = ? ORDER BY from_us", [key]
        )
        return [Learned(a, b, json.loads(text)) for a, b, text in rows]

    def learned_by(self, key: str, at_us: int) -> Learned | None:
        """The result of a key that ends latest, but not after a time; None where there is none."""
        rows = self._rows(
            "SELECT from_us, to_us, value FROM learned WHERE key = ? AND to_us <= ?"
            " ORDER BY to_us DESC LIMIT 1",
            [key, at_us],
        )
        return Learned(rows[0][0], rows[0][1], json.loads(rows[0][2])) if rows else None

    def put_trips(self, trips: list[TripRecord]) -> None:
        """Replaces all trips by these."""
        rows = [(t.number, t.start_us, t.end_us, _json(t.summary)) for t in trips]
        with self._writing() as db, transaction(db):
            db.execute("DELETE FROM trip")
            db.executemany("INSERT INTO trip VALUES (?, ?, ?, ?)", rows)

    def trips(self) -> list[TripRecord]:
        """All trips, by start."""
        rows = self._rows(
            "SELECT number, start_us, end_us, summary FROM trip ORDER BY start_us", []
        )
        return [TripRecord(n, a, b, json.loads(text)) for n, a, b, text in rows]

    def put_health(self, key: str, value: dict[str, Any], utc_us: int | None = None) -> None:
        """Keeps a part's newest word about itself (JSON)."""
        with self._writing() as db:
            put_health(db, key, value, utc_us)

    def health(self) -> dict[str, HealthRecord]:
        """Every part's newest word; key "refused": readings outside their limits, by channel."""
        rows = self._rows(
            "SELECT key, utc_us, value FROM health WHERE key != ? ORDER BY key", [spare.KEY]
        )
        return {key: HealthRecord(key, utc_us, json.loads(text)) for key, utc_us, text in rows}
