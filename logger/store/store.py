"""The door to a log: opening and reading; the small tables are in `tables`."""

import sqlite3
import threading
from collections.abc import Callable
from pathlib import Path

from logger.reading import Group
from logger.store import boots
from logger.store.backup import back_up, copy_into
from logger.store.connect import connect, free_bytes, used_bytes
from logger.store.groups import load_groups
from logger.store.packing.codec import Floats, Ints
from logger.store.readings import Readings
from logger.store.records import Boot, ChannelSpan, Summary
from logger.store.tables import SmallTables
from logger.store.writer import TIME_STEP_US, Writer


class Store(SmallTables):
    """One log. May be used from several threads; each process opens its own.

    Times are on the log's timeline: UTC where the boot is dated, else after the previous boot.
    [µs] They are kept to 1 ms unless the writer was told otherwise.
    """

    def __init__(self, path: Path, db: sqlite3.Connection, write: bool) -> None:
        """Use `open`."""
        self.path = path
        self.writable = write
        self._db = db
        self._readings = Readings(db)
        self._lock = threading.RLock()

    @classmethod
    def open(cls, path: str | Path, *, write: bool = False) -> "Store":
        """Opens a log; with `write`, makes it where there is none.

        Raises:
            StoreError: There is no log, it is of a newer version, or it is no log at all.
        """
        return cls(Path(path), connect(Path(path), write=write), write)

    def close(self) -> None:
        """Lets the file go. May be called twice."""
        self._db.close()

    def __enter__(self) -> "Store":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def writer(
        self,
        boot_uid: str,
        *,
        flush_s: float = 1.0,
        seal_s: float = 600.0,
        time_step_us: int = TIME_STEP_US,
        now_us: Callable[[], int] | None = None,
    ) -> Writer:
        """The log's only writer, with a connection of its own; see `Writer`.

        Raises:
            StoreError: The store was not opened for writing, or another writer is at work.
        """
        with self._writing():
            return Writer(
                self.path, boot_uid, flush_s, seal_s, time_step_us=time_step_us, now_us=now_us
            )

    # -- readings -------------------------------------------------------------------------------

    def boots(self) -> list[Boot]:
        """All boots, in the order in which the log met them."""
        with self._reading():
            return boots.boots(self._db)

    def span(self) -> tuple[int, int] | None:
        """First and last reading, None in an empty log. [µs]"""
        with self._reading():
            return boots.span(self._db)

    def next_filled_us(self, start_us: int) -> int | None:
        """Time of the first reading at or after one, so that a silence of months is passed over at
        once; None: there is none. [µs]"""
        with self._reading():
            return boots.next_filled_us(self._db, start_us)

    def age_s(self) -> float | None:
        """How old the newest reading is; 0 in an empty log.

        In a log of this very boot its own clock tells: a board without a clock chip wakes with any
        date. Otherwise the calendar; None where the log has no date.
        """
        with self._reading():
            return boots.age_s(self._db)

    def channels(self) -> dict[str, ChannelSpan]:
        """What there is, by channel name; first and last of a channel are to the chunk."""
        with self._reading():
            return boots.channels(self._db)

    def read(
        self, name: str, start_us: int, end_us: int, boot: int | None = None
    ) -> tuple[Ints, Floats]:
        """One channel's readings in [start, end), tail and chunks as one, sorted by time.

        Args:
            name: A channel; one that the log does not hold has no readings.
            start_us, end_us: On the timeline. [µs]
            boot: Only those of the boot of that number; None: of all.
        Returns:
            Times, shape (n,) [µs], and values, shape (n,), in the channel's unit; missing values
            are left out. Thinned stretches give the means of their points.
        """
        with self._reading():
            return self._readings.read(name, start_us, end_us, boot)

    def groups(self) -> list[tuple[Group, int]]:
        """Channels that arrive together, and the resolution of their times. [µs]"""
        with self._reading():
            names = dict(self._db.execute("SELECT number, name FROM channel").fetchall())
            return [
                (
                    Group(g.key, tuple(names[n] for n in g.channel_numbers), g.quanta),
                    g.time_step_us,
                )
                for g in load_groups(self._db).values()
            ]

    def last(self, name: str) -> tuple[int, float] | None:
        """Newest reading's time [µs] and value, None where there is none."""
        with self._reading():
            return self._readings.last(name)

    def summary(self, name: str, start_us: int, end_us: int) -> Summary:
        """Count, lowest, highest and mean in [start, end), without reading whole chunks."""
        with self._reading():
            return self._readings.summary(name, start_us, end_us)

    def extremes(
        self, name: str, start_us: int, end_us: int
    ) -> tuple[Ints, Floats, Floats, Floats]:
        """As `read`, with the range that each point stands for.

        Returns:
            Times [µs], lowest, value (mean) and highest, shape (n,) each. All three values are
            the same except where old readings were thinned.
        """
        with self._reading():
            return self._readings.extremes(name, start_us, end_us)

    def used_bytes(self) -> int:
        """Bytes that the log's content takes; free room inside the file is not counted."""
        with self._lock:
            return used_bytes(self._db)

    def free_bytes(self) -> int:
        """Bytes of the log's file that are free for the next readings."""
        with self._lock:
            return free_bytes(self._db)

    def back_up(self, to: str | Path) -> None:
        """Writes a whole copy to a new file, also while a recorder is at work.

        Raises:
            StoreError: The file is there already, or cannot be written.
        """
        with self._lock:
            back_up(self._db, self.path, Path(to))

    def copy_into(self, empty: Path) -> None:
        """The same into an empty file. Raises StoreError."""
        with self._lock:
            copy_into(self._db, empty)

    def forget_date(self, number: int) -> None:
        """Takes a boot's date back; its readings stay, after the boot before it."""
        with self._writing() as db:
            boots.forget_date(db, number)

    def rename_boot(self, uid: str, new: str) -> None:
        """Gives a boot another name."""
        with self._writing() as db:
            boots.rename(db, uid, new)

    def drop_boot(self, uid: str) -> None:
        """Removes a boot and its readings, as of a recording that was not played to its end."""
        with self._writing() as db:
            boots.drop(db, uid)

    # -- from another log -----------------------------------------------------------------------

    def add_boot(self, boot: Boot) -> None:
        """Takes in a boot and its date as another log knew it; its readings come by `writer`.

        Raises:
            StoreError: The log knows a boot of that name already.
        """
        with self._writing() as db:
            boots.add(db, self.path, boot)
