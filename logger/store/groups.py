"""The channel and channel-group tables: names to numbers and back."""

import sqlite3
from dataclasses import dataclass
from functools import cached_property

from logger import channels
from logger.reading import Group, Quantum
from logger.store import spare
from logger.store.packing.tick_codec import Packer


@dataclass(frozen=True)
class StoredGroup:
    """A group as the log knows it; channel numbers and quanta in the rows' order."""

    number: int
    key: str
    time_step_us: int
    channel_numbers: tuple[int, ...]
    quanta: tuple[Quantum, ...]

    @cached_property
    def packer(self) -> Packer:
        """Packs and unpacks the group's rows in the tail."""
        return Packer(self.quanta, self.time_step_us)


def load_groups(db: sqlite3.Connection) -> dict[int, StoredGroup]:
    """All groups by number."""
    rows = db.execute(
        "SELECT g.number, g.key, g.time_step_us, c.channel_number, c.step, c.offset"
        " FROM channel_group g JOIN group_channel c ON c.group_number = g.number"
        " ORDER BY g.number, c.position"
    )
    found: dict[int, tuple[str, int, list[int], list[Quantum]]] = {}
    for number, key, time_step_us, channel, step, offset in rows:
        entry = found.setdefault(number, (key, time_step_us, [], []))
        entry[2].append(channel)
        entry[3].append(Quantum(step, offset))
    return {
        number: StoredGroup(number, key, step_us, tuple(chans), tuple(quanta))
        for number, (key, step_us, chans, quanta) in found.items()
    }


def channel_number(db: sqlite3.Connection, name: str) -> int | None:
    """A channel's number, None where the log has never seen it."""
    row = db.execute("SELECT number FROM channel WHERE name = ?", [name]).fetchone()
    return None if row is None else int(row[0])


def store_group(db: sqlite3.Connection, group: Group, time_step_us: int) -> StoredGroup:
    """The group as the log knows it; added where it is new or has changed. In a transaction."""
    numbers = tuple(_store_channel(db, name) for name in group.channels)
    for known in load_groups(db).values():
        if (known.key, known.channel_numbers, known.quanta, known.time_step_us) == (
            group.key,
            numbers,
            group.quanta,
            time_step_us,
        ):
            return known
    number = db.execute(
        "INSERT INTO channel_group (key, time_step_us) VALUES (?, ?)", [group.key, time_step_us]
    ).lastrowid
    assert number is not None
    db.executemany(
        "INSERT INTO group_channel VALUES (?, ?, ?, ?, ?)",
        [
            (number, k, c, q.step, q.offset)
            for k, (c, q) in enumerate(zip(numbers, group.quanta, strict=True))
        ],
    )
    spare.keep(db)
    return StoredGroup(number, group.key, time_step_us, numbers, group.quanta)


def _store_channel(db: sqlite3.Connection, name: str) -> int:
    known = channel_number(db, name)
    if known is not None:
        return known
    channel = channels.find(name)
    unit = channel.unit if channel else channels.unit_of(name)
    number = db.execute("INSERT INTO channel (name, unit) VALUES (?, ?)", [name, unit]).lastrowid
    assert number is not None
    return number
