"""When the next commit must begin, so that no reading is older than it may be before it is safe."""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

# Least time for a commit, measured on a card (0.05 more wrote 39.9 instead of 36.9 MB/h); how fast
# a slower one is forgotten, assumed.
COMMIT_S, FORGET = 0.1, 0.9
NEVER_US = 2**62  # beyond any time, by definition
TRY_AGAIN_S = 5.0  # after the disk was full or another program held the log, assumed


class Due:
    """Follows readings and commits.

    Args:
        flush_s: Between arrival and commit. [s]
        now_us: The clock of the readings' times, where they come live; None: counted from the
            last commit.
    """

    def __init__(self, flush_s: float, now_us: Callable[[], int] | None) -> None:
        self.flush_s, self._now_us = flush_s, now_us
        self._oldest_us = NEVER_US  # of what is not yet on the card
        self._commit_s = COMMIT_S  # a commit begins so long before it is due
        self._committed_s = time.monotonic()

    def came(self, t_us: int) -> None:
        """Something of that time waits."""
        if t_us < self._oldest_us:
            self._oldest_us = t_us

    def in_s(self, failed: bool) -> float:
        """How long a commit has time; 0 or less: none. [s]"""
        since_s = time.monotonic() - self._committed_s
        if failed:
            return TRY_AGAIN_S - since_s
        if self._now_us is None:
            return self.flush_s - since_s
        if self._oldest_us == NEVER_US:
            return self.flush_s
        age_s = (self._now_us() - self._oldest_us) / 1e6
        # Where readings wait behind a slow card, a commit for each would only make them later.
        return max(self.flush_s - self._commit_s - age_s, self.flush_s / 2 - since_s)

    @contextmanager
    def committing(self) -> Iterator[None]:
        """Times a commit from its begin to its end: a slow card is not asked again at once."""
        begun_s = time.monotonic()
        try:
            yield
        finally:
            self._committed_s = time.monotonic()
            took_s = self._committed_s - begun_s
            self._commit_s = max(COMMIT_S, took_s, FORGET * self._commit_s)

    def done(self) -> None:
        """All that waited is on the card."""
        self._oldest_us = NEVER_US
