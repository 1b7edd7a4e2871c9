"""Keeps the live watch alive: a locked log, a full disk or a mistake of ours ends it for a moment.

Whatever went wrong, it is begun anew, later each time, and the log says how long nothing watched.
"""

import logging
import os
import threading
import time
from collections.abc import Callable
from contextlib import suppress

from analyzer.flags.follow import EVERY_S, Live
from logger.standstill import Pulse
from logger.store import FlagRecord, Store

STILL_S = 600.0  # the first tick looks through hours of log on a slow board; assumed
LONGEST_WAIT_S = 60.0  # between two tries; assumed
log = logging.getLogger("keelwatt")


class WatchKeeper:
    """Ticks a watch once a second in a thread of its own.

    Args:
        make: Opens the watch; it is called at once, so that what is wrong then is raised.
        every_s: Between ticks, and the first wait after a failure. [s]
        pulse: Beaten before each tick.
    """

    def __init__(
        self, make: Callable[[], Live], every_s: float = EVERY_S, pulse: Pulse | None = None
    ) -> None:
        self._make, self._every_s = make, every_s
        self._live: Live | None = make()
        self._file = _file_of(self._live)
        self._failed_us: int | None = None
        self._why = ""
        self._pulse = pulse or Pulse("the live watch", STILL_S)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="watch", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Ends it."""
        self._stop.set()
        self._thread.join(5.0)

    def _run(self) -> None:
        wait_s = self._every_s
        while not self._stop.wait(wait_s):
            self._pulse.beat()
            try:
                self._turn()
                wait_s = self._every_s
            except Exception as error:  # flags and ways out must come back whatever it was
                self._fails(error)
                wait_s = min(2 * wait_s, LONGEST_WAIT_S)
        self._pulse.rest()
        self._let_go()

    def _turn(self) -> None:
        if self._live is not None and _file_of(self._live) != self._file:
            self._let_go()  # the log was set aside; the one that is written now has its name
        if self._live is None:
            self._live = self._make()
            self._file = _file_of(self._live)
        self._live.tick()
        if self._failed_us is not None:
            _tell_pause(self._live.store, self._failed_us, self._why)
            self._failed_us = None

    def _fails(self, error: Exception) -> None:
        log.warning("the live watch failed and is begun anew: %s", error)
        if self._failed_us is None:
            self._failed_us, self._why = time.time_ns() // 1000, str(error)
        self._let_go()

    def _let_go(self) -> None:
        live, self._live = self._live, None
        if live is not None:
            with suppress(Exception):  # it has failed already
                live.close()


def _file_of(live: Live) -> int:
    """The file behind the log's name; 0 where there is none just now."""
    try:
        return os.stat(live.store.path).st_ino
    except OSError:
        return 0


def _tell_pause(store: Store, since_us: int, why: str) -> None:
    store.add_flag(
        FlagRecord(
            number=None,
            key="watch/paused",
            level="warning",
            subject="the watch",
            kind="watch_paused",
            title="Nothing watched the log for a while",
            evidence=f"The live watch could not work: {why}.",
            cause="The disk was full, or another program held the log.",
            caution="A fault that came and went in that time is told late.",
            first_action="Look at the flags again; make room on the card if it is full.",
            raised_us=since_us,
            cleared_us=time.time_ns() // 1000,
        )
    )
