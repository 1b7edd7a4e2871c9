"""What hardly changes between two reads of a log: boots, groups and channels, remembered."""

import sqlite3
from dataclasses import dataclass

from logger.store.boots import boots
from logger.store.groups import StoredGroup, load_groups
from logger.store.records import Boot


@dataclass(frozen=True, slots=True)
class State:
    """One state of the log.

    boots: In the order of the timeline, those with readings only.
    groups: By channel name.
    numbers: Channel name -> number.
    """

    boots: tuple[Boot, ...]
    groups: dict[str, tuple[StoredGroup, ...]]
    numbers: dict[str, int]


class Catalogue:
    """Loads the state when the log has changed; to be asked within a transaction."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db
        self._version: tuple[int, int] | None = None
        self._state = State((), {}, {})

    def state(self) -> State:
        """The state that the transaction sees."""
        (others,) = self._db.execute("PRAGMA data_version").fetchone()
        version = others, self._db.total_changes
        if version != self._version:
            self._state, self._version = _load(self._db), version
        return self._state


def _load(db: sqlite3.Connection) -> State:
    numbers = dict(db.execute("SELECT name, number FROM channel").fetchall())
    groups: dict[int, list[StoredGroup]] = {}
    for group in load_groups(db).values():
        for number in set(group.channel_numbers):
            groups.setdefault(number, []).append(group)
    with_readings = [b for b in boots(db) if b.first_us is not None]
    with_readings.sort(key=lambda b: (b.first_us or 0) + b.timeline_offset_us)
    by_name = {name: tuple(groups.get(number, ())) for name, number in numbers.items()}
    return State(tuple(with_readings), by_name, numbers)
