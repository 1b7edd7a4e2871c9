"""The log: one SQLite file that the logger writes and the analyzer reads.

Readings of channels that arrive together (a group) are kept against the boot and its monotonic
clock, at 1 ms unless the writer is told otherwise. Fresh ones go to the hot tail, one row per
group and flush; every ten minutes the tail becomes chunks, in one transaction: a shared time
column and a value column per channel, as integers at the channel's resolution, compressed. What
is stored is what the sensor resolved: decimal text comes back as the same decimal, floats without
a resolution bit for bit, and a value too large for its resolution as it is. Chunks of finished
days and boots are joined to one a day. UTC is a property of the boot (`logger.clock`): readers
see times on one timeline.

`store` is the door, `writer` the only way in for readings, `readings` the way out; `schema` has
the tables.
"""

from logger.sources.source import EXACT, Block, Group, Quantum, Row, UtcFix
from logger.store.records import (
    Boot,
    ChannelSpan,
    FlagRecord,
    HealthRecord,
    Learned,
    Summary,
    Table,
    TripRecord,
)
from logger.store.store import Store
from logger.store.writer import Writer

__all__ = [
    "EXACT",
    "Block",
    "Boot",
    "ChannelSpan",
    "FlagRecord",
    "Group",
    "HealthRecord",
    "Learned",
    "Quantum",
    "Row",
    "Store",
    "Summary",
    "Table",
    "TripRecord",
    "UtcFix",
    "Writer",
]
