"""The one writer of a log: rows to the tail each second, the tail to chunks every ten minutes."""

import sqlite3
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from logger import clock
from logger.errors import StoreError
from logger.reading import (
    Block,
    Group,
    Item,
    Row,
    UtcFix,
)
from logger.store import boots
from logger.store.commit_extras import News
from logger.store.connect import (
    connect,
    mark_whole,
    mark_written,
    may_succeed_later,
    used_bytes,
)
from logger.store.due import Due
from logger.store.groups import load_groups, store_group
from logger.store.lock import WriterLock
from logger.store.packing import chunks, merge, thin
from logger.store.packing.pending import (
    Part,
    Pending,
    Tick,
    joined,
    tick,
)
from logger.store.packing.tick_codec import unbundle
from logger.store.transaction import transaction

DIRECT_ROWS = 4096  # a flush that brings this much of one group is sealed at once, assumed
ROOM_VALUES = 200_000  # seal when this many values wait in memory (1.6 MB), assumed
TIME_STEP_US = 1000  # 1 ms, finer than any boat's clock tells: assumed


class Writer:
    """Writes one boot's readings; made by `Store.writer`. Times as in `logger.reading`.

    A row is on the card at most `flush_s` after it came, provided that `add` or `flush_if_due`
    is called when `due_in_s` says. Long stretches go straight to chunks: they come from
    recordings, flat out, and are on the card after `flush`, `seal` or `close`.

    While the disk is full, `add` keeps what fits into memory and counts the rest in `dropped`;
    it tries again by itself. How many were not kept is in the store's health, key "dropped".

    Attributes:
        full: Whether the last commit failed: the disk had no room or failed, or the log was held.
        dropped: Rows that were not kept while `full`.
        refused: Channel -> values outside their plausible limits, since the last seal.
    """

    def __init__(
        self,
        path: Path,
        boot_uid: str,
        flush_s: float,
        seal_s: float,
        *,
        time_step_us: int,
        now_us: Callable[[], int] | None,
    ) -> None:
        """Takes the log's lock and seals what an earlier writer left in the tail.

        Args:
            boot_uid: The system's name of this boot, or one for the recording.
            flush_s, seal_s: Monotonic arrival time between commits, and between seals. [s]
            time_step_us: Resolution at which times are kept. [µs]
            now_us: The clock of the readings' times, where they come live: they are then
                committed by their own age, however long they were on their way here. None:
                counted from the last commit.
        Raises:
            StoreError: Another writer is at work, or the log cannot be used.
        """
        self.seal_s = seal_s
        self.full, self.dropped = False, 0
        self.refused: dict[str, int] = {}
        self._path = path
        self._time_step_us = time_step_us
        self._pending: dict[int, Pending] = {}  # by id of the group, which _groups keeps alive
        self._groups: list[Group] = []
        self._all: list[Pending] = []
        self._waiting = 0  # values in memory
        self._due = Due(flush_s, now_us)
        self._news = News()
        self._runs: list[merge.Run] = []  # what of finished days and boots is to be joined
        self._closed = False
        self._lock = WriterLock(path)
        try:
            self._db = connect(path, write=True)
            try:
                mark_written(self._db)
                now = now_us() if now_us else None
                self._boot_number, known = boots.enter(self._db, boot_uid, now)
                # Not the log's own last date: one receiver far ahead would poison all after it.
                self._dater = clock.Dater(known, live=now_us is not None)
                self._adopt()
                self._runs = merge.runs(self._db, self._boot_number)
            except BaseException:
                self._db.close()
                raise
        except BaseException:
            self._lock.release()
            raise
        self._sealed_s = time.monotonic()

    def add(self, item: Item) -> None:
        """Takes one row, block or fix; commits and seals when it is time to.

        Raises:
            ValueError: A row or block does not have as many values as its group has channels.
        """
        if type(item) is Row:
            pending = self._pending.get(id(item.group)) or self._meet(item.group)
            width = len(item.values)
            if width != pending.width:
                raise _wrong_width(item.group, width)
            if self._has_room(1):
                pending.row_t.append(item.t_us)
                self._due.came(item.t_us)
                pending.row_values.append(item.values)
                self._waiting += width
        elif isinstance(item, Block):
            self._add_block(item)
        elif isinstance(item, UtcFix):
            dating = self._dater.offer(item)
            if dating:
                self._news.dating = dating
                self._due.came(item.t_us)
        self.flush_if_due()

    def flush_if_due(self) -> None:
        """Commits or seals where it is time to; cheap when it is not."""
        due_in_s = self.due_in_s()
        if self.full and due_in_s > 0:
            return
        try:
            since_s = time.monotonic() - self._sealed_s
            if since_s >= self.seal_s or self._waiting >= ROOM_VALUES:
                self.seal()
                self._runs = merge.runs(self._db, self._boot_number)
            elif due_in_s <= 0:
                self.flush()
                if self._runs:  # one at a time: each holds up the readings for a moment only
                    merge.join(self._db, self._runs.pop())
        except sqlite3.OperationalError as error:
            if not may_succeed_later(error):
                raise

    def tell(self, key: str, value: dict[str, Any], utc_us: int | None = None) -> None:
        """A part's newest word about itself, as `Store.put_health`; kept at the next commit, as
        one of its own would cost the card more than all the readings of a second."""
        self._news.words[key] = value, utc_us

    @property
    def remark(self) -> str:
        """What had to be said about the boot's date; "" if nothing."""
        return self._dater.dating.remark

    def due_in_s(self) -> float:
        """How long `flush_if_due` has time; 0 or less: none. [s]"""
        return self._due.in_s(self.full)

    def flush(self) -> None:
        """Commits what has come: to the tail, or, long stretches, to chunks.

        Raises:
            sqlite3.OperationalError: The disk is full or failing; nothing is lost or doubled by
                calling again.
        """
        for pending in self._all:
            pending.gather(self.refused)
        fresh = [p for p in self._all if p.fresh_rows]
        if any(p.fresh_rows >= DIRECT_ROWS for p in fresh):
            self._commit(self._all, None)
            return
        self._commit([], tick(fresh) if fresh else None)
        for pending in self._all:
            pending.rest()

    def seal(self) -> None:
        """Turns all that has come into chunks and empties the tail, in one transaction.

        Raises:
            sqlite3.OperationalError: As `flush`.
        """
        self._sealed_s = time.monotonic()
        for pending in self._all:
            pending.gather(self.refused)
        self._commit(self._all, None)

    def merge(self) -> None:
        """Seals, and joins the sealed chunks of each group to one a day.

        Finished days and boots are joined without being asked, one group at each flush.
        """
        self.seal()
        self._runs = []  # those found before go with what is joined now
        for run in merge.runs(self._db):
            merge.join(self._db, run)

    def thin(
        self,
        before_us: int,
        *,
        step_s: float = thin.STEP_S,
        above_bytes: int = 0,
        at_most: int | None = None,
    ) -> int:
        """Rewrites full-rate readings as lowest, mean and highest of each `step_s`, oldest first.

        Args:
            before_us: Only chunks that end before this time of the timeline. [µs]
            step_s: Length of a point. [s]
            above_bytes: Stop once the log's pages in use are no more than this.
            at_most: Stop after so many chunks, so as not to hold up live readings; chunks of
                unfinished days are then not joined first.
        Returns:
            How many chunks were rewritten. Flags, trips and learned results are never touched.
        """
        if at_most is None:
            self.merge()
        done = 0
        for number in thin.candidates(self._db, before_us)[:at_most]:
            if above_bytes and used_bytes(self._db) <= above_bytes:
                break
            thin.thin(self._db, number, step_s)
            done += 1
        return done

    def close(self) -> None:
        """Seals and lets the log go. May be called twice.

        Raises:
            StoreError: The last readings could not be kept.
        """
        if self._closed:
            return
        self._closed = True
        try:
            self.seal()
            mark_whole(self._db)
        except sqlite3.OperationalError as error:
            rows = sum(p.fresh_rows for p in self._all)
            raise StoreError(
                f"{self._path}: the last {rows} rows were not kept: {error}"
            ) from error
        finally:
            self._db.close()
            self._lock.release()

    def __enter__(self) -> "Writer":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    # -- inside ---------------------------------------------------------------------------------

    def _adopt(self) -> None:
        """Seals what is in the tail from a writer that was cut off."""
        groups = load_groups(self._db)
        left: dict[tuple[int, int], list[Part]] = {}
        for boot, first_us, data in self._db.execute(
            "SELECT boot_number, first_us, data FROM tick ORDER BY number"
        ):
            for number, section in unbundle(data):
                part = groups[number].packer.unpack(section, first_us)
                left.setdefault((boot, number), []).append(part)
        if not left:
            return
        with transaction(self._db):
            for (boot, number), parts in left.items():
                for sealed in chunks.encode_all(groups[number], *joined(parts)):
                    _insert_chunk(self._db, boot, sealed)
            self._db.execute("DELETE FROM tick")

    def _meet(self, group: Group) -> Pending:
        if len(group.channels) != len(group.quanta):
            raise _wrong_width(group, len(group.quanta))
        with transaction(self._db):
            stored = store_group(self._db, group, self._time_step_us)
        known = next((p for p in self._all if p.stored.number == stored.number), None)
        if known is None:
            known = Pending(stored, group.channels)
            self._all.append(known)
        self._pending[id(group)] = known
        self._groups.append(group)
        return known

    def _add_block(self, block: Block) -> None:
        if not len(block.t_us):
            return
        pending = self._pending.get(id(block.group)) or self._meet(block.group)
        values = np.asarray(block.values, dtype=np.float64)
        if values.shape != (len(block.t_us), pending.width):
            raise _wrong_width(block.group, values.shape[-1])
        if self._has_room(len(values)):
            pending.gather(self.refused)
            pending.take(np.asarray(block.t_us, dtype=np.int64), values, self.refused)
            self._due.came(int(block.t_us[0]))
            self._waiting += values.size

    def _has_room(self, rows: int) -> bool:
        """Whether memory still takes them; only a full disk can make it say no."""
        if self.full and self._waiting >= ROOM_VALUES:
            self.dropped += rows
            self._news.dropped += rows
            return False
        return True

    def _commit(self, pending: list[Pending], tick: Tick | None) -> None:
        """A row of the tail, or all that is pending as chunks and an empty tail; all or nothing."""
        with self._due.committing():
            self._write(pending, tick)

    def _write(self, pending: list[Pending], tick: Tick | None) -> None:
        sealed = [chunk for p in pending for chunk in p.sealed()]
        if not (sealed or tick or self._news):
            return
        try:
            with transaction(self._db):
                if tick:
                    self._db.execute(
                        "INSERT INTO tick (boot_number, first_us, last_us, data)"
                        " VALUES (?, ?, ?, ?)",
                        [self._boot_number, *tick],
                    )
                if sealed:
                    self._db.execute("DELETE FROM tick")
                for one in sealed:
                    _insert_chunk(self._db, self._boot_number, one)
                self._news.insert(self._db, self._boot_number, self.refused if sealed else {})
        except sqlite3.OperationalError as error:
            self.full = may_succeed_later(error)
            raise
        self.full = False
        self._news = News()
        self._due.done()
        if sealed:
            self.refused = {}
        for p in pending:
            p.clear()
        self._waiting = sum(p.size for p in self._all)


def _insert_chunk(db: sqlite3.Connection, boot_number: int, sealed: chunks.Sealed) -> None:
    chunks.insert(db, boot_number, sealed)
    boots.reach(db, boot_number, sealed.first_us, sealed.last_us)


def _wrong_width(group: Group, got: int) -> ValueError:
    return ValueError(f"group {group.key} has {len(group.channels)} channels, got {got} values")
