"""Keeping room on the card: oldest raw copies go first, then old readings are thinned.

Only where the disk runs short or the log passes the boat file's `log_limit_mb`. Flags, trips and
learned results are never touched, nor readings younger than `full_rate_days`.
"""

import logging
import shutil
import time
from pathlib import Path

from logger.sources.raw_copy import raw_files
from logger.store import Store
from logger.store.writer import Writer
from logger.units import DAY_US

SPARE_FRAC = 0.05  # of the disk is left free, assumed
SPARE_BYTES = 200_000_000  # or this, where it is less, assumed
EVERY_S = 30.0  # assumed
CHUNKS_AT_ONCE = 2  # thinned at a time, so that live readings are not held up, assumed
log = logging.getLogger("keelwatt")


class Housekeeping:
    """Does a little at a time, between readings.

    Args:
        store: The log.
        raw_folder: Where raw copies lie; need not be there.
        full_rate_days: Younger readings are never thinned.
        log_limit_mb: The log's size at most; None: what the disk has.
    """

    def __init__(
        self,
        store: Store,
        raw_folder: Path,
        full_rate_days: float = 90.0,
        log_limit_mb: float | None = None,
    ) -> None:
        self._store, self._raw = store, raw_folder
        self._full_rate_us = int(full_rate_days * DAY_US)
        self._limit = int(log_limit_mb * 1e6) if log_limit_mb else 0
        self._next_s = 0.0
        self._told = ""

    def turn(self, writer: Writer) -> None:
        """Looks, every half minute, whether room must be made, and makes some."""
        now = time.monotonic()
        if now < self._next_s:
            return
        self._next_s = now + EVERY_S
        short = self.short_by()
        if short > 0 and self._drop_raw(short):
            return
        short -= self._store.free_bytes()  # thinning gives no room to the disk, but to the log
        above = self._limit if self._limit and self._store.used_bytes() > self._limit else 0
        if short <= 0 and not above:
            return
        span = self._store.span()
        if span is None:
            return
        before_us = span[1] - self._full_rate_us
        done = writer.thin(before_us, above_bytes=above, at_most=CHUNKS_AT_ONCE)
        if done:
            self._next_s = now + 1.0  # there may be more to do
            self._tell("old readings are thinned to make room")
        else:
            self._tell("room is short, but nothing in the log is old enough to be thinned")

    def short_by(self) -> int:
        """Bytes missing from what should be free on the log's disk; 0 or less: enough."""
        usage = shutil.disk_usage(self._store.path.parent)
        return min(int(SPARE_FRAC * usage.total), SPARE_BYTES) - usage.free

    def _drop_raw(self, wanted: int) -> bool:
        """Whether raw files were removed."""
        gone = drop_oldest_raw(self._raw, wanted)
        if gone:
            self._tell("the oldest raw copies are removed to make room")
        return gone

    def _tell(self, text: str) -> None:
        if text != self._told:
            log.warning("%s", text)
            self._told = text


def drop_oldest_raw(folder: Path, wanted: int) -> bool:
    """Removes the oldest raw files, each source's newest excepted, until `wanted` bytes are free.

    Returns:
        Whether one was removed.
    """
    files = raw_files(folder)
    newest = {path.name.rpartition("-")[0]: path for path in files}
    gone = 0
    for path in files:
        if path in newest.values():
            continue
        gone += path.stat().st_size
        path.unlink(missing_ok=True)
        if gone >= wanted:
            break
    return gone > 0
