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

A log is read channel by channel; times are microseconds since 1970, values are in the unit that
the channel's name ends in.

>>> from logger.store import Store
>>> with Store.open("demo.sqlite") as store:
...     first_us, last_us = store.span()
...     t_us, volts = store.read("pack_voltage_v", first_us, last_us + 1)
...     lowest = store.summary("cell_07_voltage_v", first_us, last_us + 1).low
...     unit = store.channels()["pack_voltage_v"].unit
>>> len(t_us) == len(volts) > 10_000, unit
(True, 'V')

One is written boot by boot, against the boot's own clock; a fix says what UTC that was.

>>> import numpy as np
>>> from logger.store import EXACT, Block, Group, UtcFix
>>> pack = Group("mine", ("pack_voltage_v", "pack_current_a"), (EXACT, EXACT))
>>> with Store.open("mine.sqlite", write=True) as store, store.writer("monday") as writer:
...     writer.add(UtcFix(0, 1_782_887_400_000_000, "file", 1.0))
...     writer.add(Block(pack, np.arange(3) * 1_000_000, np.array([[52.1, 3], [52, 9], [51.8, 9]])))
>>> with Store.open("mine.sqlite") as store:
...     store.last("pack_voltage_v")
(1782887402000000, 51.8)
"""

from logger.reading import (
    EXACT,
    Block,
    Group,
    Quantum,
    Row,
    UtcFix,
)
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
