"""Looks through a log's pages from time to time, beside the recording: damage in old pages is found
by nothing else, as the recorder reads only the newest."""

import contextlib
import os
import sqlite3
import threading
from contextlib import closing
from pathlib import Path

from logger.errors import DamagedLogError
from logger.salvage import LOWEST_PRIORITY
from logger.store.transaction import is_damage

EVERY_S = 3600.0  # between looks: a log of 400 MB takes a card some 20 s each time; assumed


class PageCheck:
    """A thread that is never waited for.

    Attributes:
        damage: What it found; None: nothing, or not yet.
    """

    def __init__(self, log: Path, every_s: float = EVERY_S) -> None:
        self.damage: DamagedLogError | None = None
        self._log, self._every_s = log, every_s
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, name="page check", daemon=True)

    def start(self) -> None:
        """Begins to look."""
        self._thread.start()

    def stop(self) -> None:
        """Looks no more; does not wait for a look that has begun."""
        self._over.set()

    def _run(self) -> None:
        with contextlib.suppress(OSError):  # not everywhere may a thread change its priority
            os.setpriority(os.PRIO_PROCESS, threading.get_native_id(), LOWEST_PRIORITY)
        while self.damage is None:
            self._look()
            if self._over.wait(self._every_s):
                return

    def _look(self) -> None:
        try:
            with closing(
                sqlite3.connect(f"{self._log.absolute().as_uri()}?mode=ro", uri=True)
            ) as db:
                (found,) = db.execute("PRAGMA quick_check(1)").fetchone()
        except sqlite3.Error as error:
            found = str(error) if is_damage(error) else "ok"
        if found != "ok":
            self.damage = DamagedLogError(f"{self._log} is damaged: {found}")
