"""The one writer of a log: rows to the tail each second, the tail to chunks every ten minutes."""

import time
from collections.abc import Sequence
from dataclasses import astuple
from pathlib import Path

import numpy as np

from logger import clock
from logger.errors import StoreError
from logger.sources.source import Block, Group, Item, Row, UtcFix
from logger.store import chunks, merge, small
from logger.store.codec import Floats, Ints
from logger.store.connect import connect
from logger.store.groups import StoredGroup, load_groups, store_group
from logger.store.limits import Limits
from logger.store.lock import WriterLock
from logger.store.transaction import transaction

DIRECT_ROWS = 4096  # a flush that brings this much of one group is sealed at once
ROOM_VALUES = 1_000_000  # seal when this many values wait in memory (8 MB)
TIME_STEP_US = 1000


Part = tuple[Ints, Floats]
Tick = tuple[int, int, int, int, bytes]


def _joined(parts: list[Part]) -> Part:
    if len(parts) == 1:
        return parts[0]
    return np.concatenate([t for t, _ in parts]), np.concatenate([v for _, v in parts])


def _encode(group: StoredGroup, parts: list[Part]) -> chunks.Sealed:
    return chunks.encode(group, *_joined(parts))


class _Pending:
    """What has come of one group and is not yet in a chunk."""

    def __init__(self, stored: StoredGroup, names: tuple[str, ...]) -> None:
        self.stored = stored
        self.limits = Limits(names, stored.quanta)
        self.row_t: list[int] = []
        self.row_values: list[Sequence[float | None]] = []
        self.fresh: list[Part] = []  # not yet in the tail
        self.safe: list[Part] = []  # in the tail

    def gather(self, refused: dict[str, int]) -> None:
        """Rows to arrays, times to the group's step, values inside their limits."""
        if self.row_t:
            t_us = np.array(self.row_t, dtype=np.int64)
            self.take(t_us, np.array(self.row_values, dtype=np.float64), refused)
            self.row_t, self.row_values = [], []

    def take(self, t_us: Ints, values: Floats, refused: dict[str, int]) -> None:
        step = self.stored.time_step_us
        t_us = (t_us + step // 2) // step * step
        self.fresh.append((t_us, self.limits.apply(values, refused)))

    @property
    def fresh_rows(self) -> int:
        return sum(len(t) for t, _ in self.fresh)

    def rest(self) -> None:
        """What was fresh is now in the tail; many small arrays become one."""
        self.safe += self.fresh
        self.fresh = []
        if len(self.safe) > 64:
            self.safe = [_joined(self.safe)]

    def clear(self) -> None:
        self.fresh, self.safe = [], []


class Writer:
    """Writes one boot's readings; made by `Store.writer`. Times as in `logger.sources.source`.

    A row is on the card at most `flush_s` after it came, provided that `add` or `flush_if_due`
    is called that often. Blocks that are longer than a flush go straight to chunks: they come
    from recordings, flat out, and are on the card after `seal` or `close`.
    """

    def __init__(
        self,
        path: Path,
        boot_uid: str,
        *,
        flush_s: float = 1.0,
        seal_s: float = 600.0,
        time_step_us: int = TIME_STEP_US,
        not_before_us: int = clock.RELEASE_UTC_US,
    ) -> None:
        """Takes the log's lock and seals what an earlier writer left in the tail.

        Args:
            boot_uid: The system's name of this boot, or one for the recording.
            flush_s, seal_s: Monotonic arrival time between commits, and between seals. [s]
            time_step_us: Resolution at which times are kept, 1 ms unless told. [µs]
            not_before_us: A UTC surely past, against which a GNSS week rollover is recognised.
        Raises:
            StoreError: Another writer is at work, or the log cannot be used.
        """
        self.flush_s, self.seal_s = flush_s, seal_s
        self.refused: dict[str, int] = {}
        self._time_step_us, self._not_before_us = time_step_us, not_before_us
        self._lock = WriterLock(path)
        try:
            self._db = connect(path, write=True)
        except BaseException:
            self._lock.release()
            raise
        self._pending: dict[int, _Pending] = {}  # by id of the group, which _groups keeps alive
        self._groups: list[Group] = []
        self._all: list[_Pending] = []
        self._waiting = 0  # values in memory
        self._new_fix: clock.Dating | None = None
        self._closed = False
        try:
            self._boot_number, self._dating = self._enter(boot_uid)
            self.adopt()
        except BaseException:
            self._db.close()
            self._lock.release()
            raise
        self._flushed_s = self._sealed_s = time.monotonic()

    def add(self, item: Item) -> None:
        """Takes one row, block or fix; commits and seals when it is time to."""
        if type(item) is Row:
            pending = self._pending.get(id(item.group)) or self._meet(item.group)
            pending.row_t.append(item.t_us)
            pending.row_values.append(item.values)
            self._waiting += len(item.values)
        elif isinstance(item, Block):
            self._add_block(item)
        elif isinstance(item, UtcFix):
            self._add_fix(item)
        if self._waiting >= ROOM_VALUES:
            self.seal()
        else:
            self.flush_if_due()

    def flush_if_due(self) -> None:
        """Commits or seals where `flush_s` or `seal_s` have passed; cheap when they have not."""
        now_s = time.monotonic()
        if now_s - self._sealed_s >= self.seal_s:
            self.seal()
        elif now_s - self._flushed_s >= self.flush_s:
            self.flush()

    def flush(self) -> None:
        """Commits what has come to the tail, and long stretches to chunks."""
        self._flushed_s = time.monotonic()
        ticks, long = [], []
        for pending in self._all:
            pending.gather(self.refused)
            if pending.fresh_rows >= DIRECT_ROWS:
                long.append(pending)
            elif pending.fresh:
                ticks.append(self._tick(pending))
        if long:
            self._seal(long, ticks)
        elif ticks or self._new_fix:
            with transaction(self._db):
                self._insert_ticks(ticks)
        for pending in self._all:
            pending.rest()

    def seal(self) -> None:
        """Turns all that has come into chunks and empties the tail, in one transaction."""
        self._sealed_s = self._flushed_s = time.monotonic()
        for pending in self._all:
            pending.gather(self.refused)
        self._seal([p for p in self._all if p.fresh or p.safe], [])

    def merge(self) -> None:
        """Joins the sealed chunks of each group to one a day."""
        self.seal()
        merge.to_days(self._db)

    def close(self) -> None:
        """Seals and lets the log go. May be called twice."""
        if self._closed:
            return
        self._closed = True
        try:
            self.seal()
        finally:
            self._db.close()
            self._lock.release()

    def __enter__(self) -> "Writer":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def adopt(self) -> None:
        """Seals what is in the tail from a writer that was cut off."""
        groups = load_groups(self._db)
        left = self._db.execute(
            "SELECT DISTINCT boot_number, group_number FROM tick ORDER BY 1, 2"
        ).fetchall()
        for boot, number in left:
            group = groups[number]
            rows = self._db.execute(
                "SELECT first_us, data FROM tick WHERE boot_number = ? AND group_number = ?"
                " ORDER BY number",
                [boot, number],
            )
            parts = [group.packer.unpack(data, first_us) for first_us, data in rows]
            sealed = _encode(group, parts)
            with transaction(self._db):
                self._insert_chunk(boot, sealed)

    # -- inside ---------------------------------------------------------------------------------

    def _enter(self, uid: str) -> tuple[int, clock.Dating]:
        with transaction(self._db):
            self._db.execute("INSERT OR IGNORE INTO boot (uid) VALUES (?)", [uid])
            row = self._db.execute(
                "SELECT number, utc_offset_us, utc_source, utc_uncertainty_s, remark"
                " FROM boot WHERE uid = ?",
                [uid],
            ).fetchone()
        return int(row[0]), clock.Dating(*row[1:])

    def _meet(self, group: Group) -> _Pending:
        if len(group.channels) != len(group.quanta):
            raise StoreError(
                f"group {group.key} has {len(group.channels)} channels but "
                f"{len(group.quanta)} quanta"
            )
        with transaction(self._db):
            stored = store_group(self._db, group, self._time_step_us)
        known = next((p for p in self._all if p.stored.number == stored.number), None)
        if known is None:
            known = _Pending(stored, group.channels)
            self._all.append(known)
        self._pending[id(group)] = known
        self._groups.append(group)
        return known

    def _add_block(self, block: Block) -> None:
        if not len(block.t_us):
            return
        pending = self._pending.get(id(block.group)) or self._meet(block.group)
        pending.gather(self.refused)
        values = np.asarray(block.values, dtype=np.float64)
        pending.take(np.asarray(block.t_us, dtype=np.int64), values, self.refused)
        self._waiting += values.size

    def _add_fix(self, fix: UtcFix) -> None:
        dating = self._dating.improved(fix, self._not_before_us)
        if dating is not None:
            self._dating = self._new_fix = dating

    def _tick(self, pending: _Pending) -> Tick:
        t_us, values = _joined(pending.fresh)
        first_us, last_us = int(t_us.min()), int(t_us.max())
        data = pending.stored.packer.pack(t_us, values, first_us)
        return self._boot_number, pending.stored.number, first_us, last_us, data

    def _insert_ticks(self, ticks: list[Tick]) -> None:
        self._db.executemany(
            "INSERT INTO tick (boot_number, group_number, first_us, last_us, data)"
            " VALUES (?, ?, ?, ?, ?)",
            ticks,
        )
        if self._new_fix:
            self._db.execute(
                "UPDATE boot SET utc_offset_us = ?, utc_source = ?, utc_uncertainty_s = ?,"
                " remark = ? WHERE number = ?",
                [*astuple(self._new_fix), self._boot_number],
            )
            self._new_fix = None

    def _seal(self, pending: list[_Pending], ticks: list[Tick]) -> None:
        sealed = [_encode(p.stored, p.safe + p.fresh) for p in pending]
        if not (sealed or ticks or self._new_fix):
            return
        with transaction(self._db):
            self._insert_ticks(ticks)
            for one in sealed:
                self._insert_chunk(self._boot_number, one)
            if self.refused:
                small.add_counts(self._db, "refused", self.refused)
        for p in pending:
            p.clear()
        self.refused = {}
        self._waiting = sum(v.size for p in self._all for _, v in p.safe + p.fresh)

    def _insert_chunk(self, boot: int, sealed: chunks.Sealed) -> None:
        chunks.insert(self._db, boot, sealed)
        self._db.execute(
            "DELETE FROM tick WHERE boot_number = ? AND group_number = ?",
            [boot, sealed.group.number],
        )
        self._db.execute(
            "UPDATE boot SET first_us = min(coalesce(first_us, ?1), ?1),"
            " last_us = max(coalesce(last_us, ?2), ?2) WHERE number = ?3",
            [sealed.first_us, sealed.last_us, boot],
        )
