"""What can be read of a damaged log, as a new log."""

import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from logger.errors import StoreError
from logger.salvage.pages import HEADER, Pages
from logger.salvage.records import Row, Tree, Value
from logger.store import spare
from logger.store.backup import whole_file
from logger.store.connect import connect
from logger.store.groups import StoredGroup, load_groups
from logger.store.packing.chunks import load_column, load_times
from logger.store.packing.tick_codec import unbundle
from logger.store.schema import APPLICATION_ID

# What each column of a table may hold, oldest first: I whole, F real, T text, B bytes, N nothing.
# A leaf whose parent is lost is known by it; no two tables are alike.
SHAPES = {
    "boot": "N T IN TN FIN IN IN T I",
    "channel": "N T T",
    "channel_group": "N T I",
    "group_channel": "I I I FI FI",
    "tick": "N I I I B",
    "chunk": "N I I I I I FIN T B",
    "chunk_value": "N I I I FIN FIN FIN B",
    "chunk_extreme": "N I I B B",
    "trip": "N I I T",
    "flag": "N T T T T T T T T T I IN IN T",
    "learned": "N T I I T",
    "health": "T IN T",
    "boatfile": "N I T",
}
SCHEMA_SHAPE = "T T T I TN"  # of sqlite_master: type, name, table, root page, text
LETTERS = {int: "I", float: "F", str: "T", bytes: "B", type(None): "N"}
PROOF_PAGES = 2000  # looked at for a row of ours where the header is gone; assumed


@dataclass(frozen=True)
class Account:
    """What was found.

    Attributes:
        pages, broken: Of the file; those that could not be read.
        readings: Rows of readings kept. stretches: Chunks kept. lost: Chunks and rows not kept.
        tables: Rows of every table kept, by its name.
    """

    pages: int
    broken: int
    readings: int
    stretches: int
    lost: int
    tables: dict[str, int]

    def sentence(self) -> str:
        """In plain words."""
        lost = (
            f"{_count(self.lost, 'piece')} could not be read"
            if self.lost
            else "no piece is missing"
        )
        return (
            f"{self.readings} rows of readings saved in {_count(self.stretches, 'stretch', 'es')}, "
            f"with {_count(self.tables['trip'], 'trip')}, {_count(self.tables['flag'], 'flag')} "
            f"and {_count(self.tables['learned'], 'learned result')}; {lost} "
            f"({self.broken} of {_count(self.pages, 'page')} damaged)."
        )


def _count(number: int, one: str, more: str = "s") -> str:
    return f"{number} {one}{'' if number == 1 else more}"


def is_log(path: Path) -> bool:
    """Whether a file is, or has been, a log of this program, however damaged."""
    with Pages(path) as pages:
        head = pages.page(1)
        if head.startswith(HEADER):
            return head[68:72] == APPLICATION_ID.to_bytes(4, "big")
        strays = Tree(pages).strays(set(range(PROOF_PAGES, pages.count + 1)))
        return any(
            _table_of(rows) in ("boot", "chunk", "chunk_value", "tick") for _, rows in strays
        )


def rescue(damaged: Path, to: Path) -> Account:
    """Writes what can be read of a damaged log to a new one.

    Raises:
        StoreError: There is a file of the new name, or nothing of a log was found.
        OSError: The damaged file cannot be opened.
    """
    if to.exists():
        raise StoreError(f"{to} is there already; name a new file for what is saved of {damaged}")
    if not damaged.is_file():
        raise StoreError(f"there is no file {damaged}; name the damaged log to save")
    if not is_log(damaged):
        raise StoreError(f"{damaged} is no log of this program, or nothing of it can be read")
    try:
        with (
            whole_file(to) as part,
            Pages(damaged) as pages,
            closing(connect(part, write=True)) as db,
        ):
            db.execute("BEGIN")
            account = _fill(db, pages)
            db.execute("COMMIT")
            db.execute("PRAGMA journal_mode = DELETE")
    except sqlite3.Error as error:
        raise StoreError(f"{to} could not be written: {error}") from error
    return account


def _fill(db: sqlite3.Connection, pages: Pages) -> Account:
    tree = Tree(pages)
    for table, root in _roots(tree).items():
        for row in tree.rows(root):
            if _fits(SHAPES[table], row[1]):
                _insert(db, table, row)
            else:
                tree.lost += 1
    stray_ticks, stray_chunks = _take_strays(db, tree)
    spare.fill_in(db)
    lost = tree.lost + _drop_unreadable(db)
    _drop_stale(db, stray_ticks, stray_chunks)
    _complete_boots(db)
    tables = {name: db.execute(f"SELECT count(*) FROM {name}").fetchone()[0] for name in SHAPES}
    (readings,) = db.execute("SELECT coalesce(sum(count), 0) FROM chunk").fetchone()
    return Account(
        pages.count, len(tree.broken), readings + _in_tail(db), tables["chunk"], lost, tables
    )


def _roots(tree: Tree) -> dict[str, int]:
    """Root page of each table, from the file's own list or, where that is cut off, its leaves."""
    found = {}
    rows = list(tree.rows(1))
    if not rows:
        finder = Tree(tree.pages)
        rows = [row for _, leaf in finder.strays(set()) for row in leaf]
        tree.seen.clear()
    for _, values in rows:
        if _fits(SCHEMA_SHAPE, values) and values[0] == "table" and values[1] in SHAPES:
            found[str(values[1])] = int(values[3] or 0)
    return found


def _take_strays(db: sqlite3.Connection, tree: Tree) -> tuple[set[int], set[int]]:
    """Rows of leaves that no tree leads to; numbers of the ticks and chunks among them."""
    found: dict[str, set[int]] = {"tick": set(), "chunk": set()}
    for _, rows in tree.strays(tree.pages.free()):
        table = _table_of(rows)
        for row in rows if table else []:
            if _insert(db, table, row) and table in found:
                found[table].add(row[0])
    return found["tick"], found["chunk"]


def _table_of(rows: list[Row]) -> str:
    """The one table that all rows of a leaf fit; "" where there is none."""
    fitting = [name for name in SHAPES if rows and all(_fits(SHAPES[name], r[1]) for r in rows)]
    return fitting[0] if len(fitting) == 1 else ""


def _fits(shape: str, values: tuple[Value, ...]) -> bool:
    allowed = shape.split()
    # A column that a later version added is not stored in older rows.
    return len(allowed) - 1 <= len(values) <= len(allowed) and all(
        LETTERS[type(value)] in letters for value, letters in zip(values, allowed, strict=False)
    )


def _insert(db: sqlite3.Connection, table: str, row: Row) -> bool:
    number, values = row
    first = (number,) if SHAPES[table].startswith("N") else values[:1]
    columns = [str(told[1]) for told in db.execute(f"PRAGMA table_info({table})")]
    kept = (*first, *values[1:])
    names = ", ".join(f'"{name}"' for name in columns[: len(kept)])
    marks = ", ".join("?" * len(kept))
    done = db.execute(f"INSERT OR IGNORE INTO {table} ({names}) VALUES ({marks})", kept)
    return done.rowcount == 1


def _drop_unreadable(db: sqlite3.Connection) -> int:
    """Removes chunks and ticks that do not decode to what they say; how many."""
    groups = load_groups(db)
    lost = 0
    for number, group, count in db.execute("SELECT number, group_number, count FROM chunk"):
        if group in groups and _times_fit(db, number, groups[group], count):
            lost += _drop_columns(db, number, groups[group], count)
        else:
            lost += db.execute("DELETE FROM chunk WHERE number = ?", [number]).rowcount
    lost += _drop_orphans(db)
    for number, first_us, data in db.execute("SELECT number, first_us, data FROM tick").fetchall():
        if not _unpacks(groups, first_us, data):
            lost += db.execute("DELETE FROM tick WHERE number = ?", [number]).rowcount
    return lost


def _times_fit(db: sqlite3.Connection, number: int, group: StoredGroup, count: int) -> bool:
    try:
        times = load_times(db, number, group)
    except (ValueError, RuntimeError, TypeError, StoreError):  # what the codec makes of noise
        return False
    first_us, last_us = db.execute(
        "SELECT first_us, last_us FROM chunk WHERE number = ?", [number]
    ).fetchone()
    return len(times) == count > 0 and times[0] == first_us and times[-1] == last_us


def _drop_columns(db: sqlite3.Connection, number: int, group: StoredGroup, count: int) -> int:
    """Removes a chunk's columns whose lowest and highest are not what was kept beside them."""
    lost = 0
    for k, channel in enumerate(group.channel_numbers):
        place = [number, channel]
        where = "WHERE chunk_number = ? AND channel_number = ?"
        told = db.execute(f"SELECT count, low, high FROM chunk_value {where}", place).fetchone()
        if told is None:
            lost += 1
        elif not _column_fits(db, number, group, k, count, told):
            db.execute(f"DELETE FROM chunk_value {where}", place)
            lost += 1
    return lost


def _column_fits(
    db: sqlite3.Connection,
    number: int,
    group: StoredGroup,
    k: int,
    count: int,
    told: tuple[int, float | None, float | None],
) -> bool:
    try:
        values = load_column(db, number, group, k, count)
    except (ValueError, RuntimeError, TypeError, StoreError):
        return False
    there = values[~np.isnan(values)]
    if not len(there):
        return told[0] == 0
    return (len(there), float(there.min()), float(there.max())) == told


def _unpacks(groups: dict[int, StoredGroup], first_us: int, data: bytes) -> bool:
    try:
        return all(
            number in groups and len(groups[number].packer.unpack(section, first_us)[0])
            for number, section in unbundle(data)
        )
    except (ValueError, IndexError, KeyError, StoreError):
        return False


def _drop_stale(db: sqlite3.Connection, ticks: set[int], chunks: set[int]) -> None:
    """Strays may be what was deleted before the damage: ticks since sealed, chunks since joined."""
    for number in ticks:
        db.execute(
            "DELETE FROM tick WHERE number = ?1 AND last_us <= (SELECT max(c.last_us) FROM chunk c"
            " WHERE c.boot_number = tick.boot_number)",
            [number],
        )
    for number in chunks:
        db.execute(
            "DELETE FROM chunk WHERE number = ?1 AND EXISTS (SELECT 1 FROM chunk c"
            " WHERE c.number != ?1 AND c.group_number = chunk.group_number"
            " AND c.boot_number = chunk.boot_number AND c.count >= chunk.count"
            " AND c.first_us <= chunk.first_us AND c.last_us >= chunk.last_us)",
            [number],
        )
    _drop_orphans(db)


def _drop_orphans(db: sqlite3.Connection) -> int:
    """Removes columns whose chunk is not there; of how many chunks."""
    orphans = "WHERE chunk_number NOT IN (SELECT number FROM chunk)"
    query = f"SELECT count(DISTINCT chunk_number) FROM chunk_value {orphans}"
    (count,) = db.execute(query).fetchone()
    for table in ("chunk_value", "chunk_extreme"):
        db.execute(f"DELETE FROM {table} {orphans}")
    return int(count)


def _complete_boots(db: sqlite3.Connection) -> None:
    """A boot whose own row is lost gets one without a date; every boot its span."""
    db.execute(
        "INSERT OR IGNORE INTO boot (number, uid, remark)"
        " SELECT boot_number, 'salvaged-' || boot_number, 'its date was lost' FROM chunk"
        " UNION SELECT boot_number, 'salvaged-' || boot_number, 'its date was lost' FROM tick"
    )
    db.execute(
        "UPDATE boot SET"
        " first_us = (SELECT min(first_us) FROM chunk WHERE boot_number = boot.number),"
        " last_us = (SELECT max(last_us) FROM chunk WHERE boot_number = boot.number)"
    )


def _in_tail(db: sqlite3.Connection) -> int:
    groups = load_groups(db)
    return sum(
        len(groups[number].packer.unpack(section, first_us)[0])
        for first_us, data in db.execute("SELECT first_us, data FROM tick")
        for number, section in unbundle(data)
    )
