"""The log: one SQLite file that the logger writes and the analyzer reads."""

from logger.store.records import (
    Boot,
    ChannelSpan,
    FlagRecord,
    HealthRecord,
    Learned,
    Summary,
    TripRecord,
)
from logger.store.store import Store
from logger.store.writer import Writer

__all__ = [
    "Boot",
    "ChannelSpan",
    "FlagRecord",
    "HealthRecord",
    "Learned",
    "Store",
    "Summary",
    "TripRecord",
    "Writer",
]
