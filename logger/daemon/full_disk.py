"""What is said of a time in which the log could not be written."""

import time

from logger.store import FlagRecord


def full_flag(since_us: int, what: str) -> FlagRecord:
    """The flag of a time in which the log could not be written; it is over when it is told.

    Args:
        what: Became of the readings.
    """
    return FlagRecord(
        number=None,
        key="recorder/disk",
        level="warning",
        subject="log",
        kind="disk_full",
        title="The log could not be written for a while",
        evidence=f"The disk was full or the log was held; {what}.",
        cause="The card is full, worn out, or something else holds the log.",
        caution="What happened in that time is not in the log.",
        first_action="Make room on the card: remove old raw files, or let old readings be thinned.",
        raised_us=since_us,
        cleared_us=time.time_ns() // 1000,
    )
