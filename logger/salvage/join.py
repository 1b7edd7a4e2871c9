"""What was saved of a damaged log, brought into the log that is written now."""

import json
import sqlite3
from contextlib import closing
from pathlib import Path

from logger.errors import StoreError
from logger.reading import Group
from logger.store import spare
from logger.store.connect import connect
from logger.store.groups import load_groups, store_group
from logger.store.records import HealthRecord
from logger.store.store import Store
from logger.store.transaction import transaction

CHUNKS_AT_ONCE = (
    20  # in one transaction, for which the recorder waits: about a second of a slow card; assumed
)
PREFIX = "salvage "  # of the health table's keys that say how far a damaged log is joined
COLUMNS = {
    "chunk_value": "channel_number, count, low, high, sum, data",
    "chunk_extreme": "channel_number, low, high",
}


def join(saved: Path, into: Path, name: str) -> int:
    """Adds boots, readings, flags and learned results; a recorder may be at work meanwhile.

    What was joined is remembered: a second go, or one that was cut off, adds nothing twice.

    Args:
        saved: As `rescue` made it; its tail is sealed first. into: The log written now.
        name: Of the damaged log.
    Returns:
        How many chunks were added.
    Raises:
        StoreError: One of the logs cannot be used.
    """
    _seal_tail(saved)
    with closing(connect(into, write=True)) as db, closing(connect(saved, write=False)) as old:
        try:
            return _Joint(old, db, PREFIX + name).run()
        except sqlite3.Error as error:
            raise StoreError(f"{saved} could not be joined to {into}: {error}") from error


def joined(health: dict[str, HealthRecord]) -> set[str]:
    """Names of the damaged logs that are joined whole."""
    return {
        key.removeprefix(PREFIX)
        for key, record in health.items()
        if key.startswith(PREFIX) and record.value.get("whole")
    }


def finish(store: Store, name: str, sentence: str, now_us: int) -> None:
    """Says in the log that a damaged one is joined, and what of it could be saved."""
    store.put_health(PREFIX + name, {"whole": True}, now_us)
    for flag in store.flags():
        if flag.key == f"log/damaged/{name}" and flag.cleared_us is None and flag.number:
            store.update_flag(
                flag.number, evidence=f"{flag.evidence} {sentence}", cleared_us=now_us
            )


def _seal_tail(saved: Path) -> None:
    with Store.open(saved, write=True) as store:
        boots = store.boots()
        if boots:  # a writer of a boot that is there seals what an earlier one left
            store.writer(boots[-1].uid).close()


class _Joint:
    """One joining; numbers of the saved log are translated to those of the other."""

    def __init__(self, old: sqlite3.Connection, db: sqlite3.Connection, key: str) -> None:
        self.old, self.db, self.key = old, db, key

    def run(self) -> int:
        with transaction(self.db):
            boots = self._boots()
            groups = self._groups()
            spare.keep(self.db)
            done = self._done()
            if done is None:
                self._small_tables()
                self._remember(0)
        numbers = [n for (n,) in self._all("SELECT number FROM chunk WHERE number > ?", done or 0)]
        for start in range(0, len(numbers), CHUNKS_AT_ONCE):
            part = numbers[start : start + CHUNKS_AT_ONCE]
            with transaction(self.db):
                for number in part:
                    self._chunk(number, boots, groups)
                self._remember(part[-1])
        return len(numbers)

    def _done(self) -> int | None:
        """The last chunk that an earlier go has joined; None where there was none."""
        row = self.db.execute("SELECT value FROM health WHERE key = ?", [self.key]).fetchone()
        return int(json.loads(row[0])["chunk"]) if row else None

    def _all(self, query: str, *values: object) -> list[tuple[int, ...]]:
        return self.old.execute(f"{query} ORDER BY number", values).fetchall()

    def _remember(self, chunk: int) -> None:
        self.db.execute(
            "INSERT INTO health (key, value) VALUES (?, ?)"
            " ON CONFLICT (key) DO UPDATE SET value = excluded.value",
            [self.key, json.dumps({"chunk": chunk})],
        )

    def _boots(self) -> dict[int, int]:
        """Number here by number there; made where it is new, dated where only the old log knows.

        A log keeps its boots in the order in which it met them, and the saved ones were first.
        """
        dating = "utc_offset_us, utc_source, utc_uncertainty_s, remark, recorded"
        old = self.old.execute(f"SELECT number, uid, {dating} FROM boot ORDER BY number").fetchall()
        (lowest,) = self.db.execute("SELECT coalesce(min(number), 1) FROM boot").fetchone()
        here = {}
        for number, (there, uid, *told) in enumerate(old, lowest - len(old)):
            self.db.execute(
                f"INSERT OR IGNORE INTO boot (number, uid, {dating}) VALUES (?, ?, ?, ?, ?, ?, ?)",
                [number, uid, *told],
            )
            self.db.execute(
                f"UPDATE boot SET ({dating}) = (?, ?, ?, ?, ?)"
                " WHERE uid = ? AND utc_offset_us IS NULL",
                [*told, uid],
            )
            row = self.db.execute("SELECT number FROM boot WHERE uid = ?", [uid]).fetchone()
            here[there] = int(row[0])
        return here

    def _groups(self) -> dict[int, tuple[int, dict[int, int]]]:
        """Number here, and number here of each channel, by the saved log's group."""
        names = dict(self.old.execute("SELECT number, name FROM channel").fetchall())
        found = {}
        for number, old in load_groups(self.old).items():
            channels = tuple(names[n] for n in old.channel_numbers)
            new = store_group(self.db, Group(old.key, channels, old.quanta), old.time_step_us)
            pairs = zip(old.channel_numbers, new.channel_numbers, strict=True)
            found[number] = new.number, dict(pairs)
        return found

    def _chunk(
        self, number: int, boots: dict[int, int], groups: dict[int, tuple[int, dict[int, int]]]
    ) -> None:
        rest = "first_us, last_us, count, thinned_s, codec, time"
        boot, group, *told = self.old.execute(
            f"SELECT boot_number, group_number, {rest} FROM chunk WHERE number = ?", [number]
        ).fetchone()
        new, channels = groups[group]
        here = self.db.execute(
            f"INSERT INTO chunk (boot_number, group_number, {rest})"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            [boots[boot], new, *told],
        ).lastrowid
        for table, columns in COLUMNS.items():
            marks = ", ".join("?" * len(columns.split(", ")))
            self.db.executemany(
                f"INSERT INTO {table} (chunk_number, {columns}) VALUES ({here}, {marks})",
                [
                    (channels[channel], *values)
                    for channel, *values in self.old.execute(
                        f"SELECT {columns} FROM {table} WHERE chunk_number = ?", [number]
                    )
                ],
            )
        self.db.execute(
            "UPDATE boot SET first_us = min(coalesce(first_us, ?1), ?1),"
            " last_us = max(coalesce(last_us, ?2), ?2) WHERE number = ?3",
            [told[0], told[1], boots[boot]],
        )

    def _small_tables(self) -> None:
        """Flags are added; learned results, boat files and trips only where there is none yet."""
        for table in ("flag", "learned", "trip", "boatfile"):
            names = [str(row[1]) for row in self.db.execute(f"PRAGMA table_info({table})")][1:]
            columns = ", ".join(names)
            marks = ", ".join("?" * len(names))
            if (
                table in ("trip", "boatfile")
                and self.db.execute(f"SELECT 1 FROM {table}").fetchone()
            ):
                continue
            self.db.executemany(
                f"INSERT OR IGNORE INTO {table} ({columns}) VALUES ({marks})",
                self.old.execute(f"SELECT {columns} FROM {table} ORDER BY number").fetchall(),
            )
