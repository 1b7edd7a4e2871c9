"""What goes with the next commit besides readings: the boot's date, counters, words of health."""

import sqlite3
from dataclasses import astuple, dataclass, field
from typing import Any

from logger import clock
from logger.store import spare, tables


@dataclass(slots=True)
class News:
    """What is not yet on the card.

    dating: The boot's, where it is new.
    words: Key of the health table -> value and UTC. [µs]
    dropped: Rows that could not be kept.
    """

    dating: clock.Dating | None = None
    words: dict[str, tuple[dict[str, Any], int | None]] = field(default_factory=dict)
    dropped: int = 0

    def __bool__(self) -> bool:
        """Whether there is something that wants a commit."""
        return self.dating is not None or bool(self.words)

    def insert(self, db: sqlite3.Connection, boot_number: int, refused: dict[str, int]) -> None:
        """In the caller's transaction. `refused`: channel -> values beyond its limits."""
        for key, (value, utc_us) in self.words.items():
            tables.put_health(db, key, value, utc_us)
        if self.dating:
            db.execute(
                "UPDATE boot SET utc_offset_us = ?, utc_source = ?, utc_uncertainty_s = ?,"
                " remark = ?, recorded = ? WHERE number = ?",
                [*astuple(self.dating), boot_number],
            )
            spare.keep(db)
        if refused:
            tables.add_counts(db, "refused", refused)
        if self.dropped:
            tables.add_counts(db, "dropped", {"rows": self.dropped})
