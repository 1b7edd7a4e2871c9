"""Looks through a log's pages once, beside the recording: damage in old pages is found by nothing
else, as the recorder reads only the newest."""

import contextlib
import os
import sqlite3
import threading
from contextlib import closing
from pathlib import Path

from logger.errors import DamagedLogError
from logger.salvage import LOWEST_PRIORITY
from logger.store.transaction import is_damage


class PageCheck:
    """A thread that is never waited for.

    Attributes:
        damage: What it found; None: nothing, or not yet.
    """

    def __init__(self, log: Path) -> None:
        self.damage: DamagedLogError | None = None
        self._log = log
        self._thread = threading.Thread(target=self._run, name="page check", daemon=True)

    def start(self) -> None:
        """Begins to look."""
        self._thread.start()

    def _run(self) -> None:
        with contextlib.suppress(OSError):  # not everywhere may a thread change its priority
            os.setpriority(os.PRIO_PROCESS, threading.get_native_id(), LOWEST_PRIORITY)
        try:
            with closing(
                sqlite3.connect(f"{self._log.absolute().as_uri()}?mode=ro", uri=True)
            ) as db:
                (found,) = db.execute("PRAGMA quick_check(1)").fetchone()
        except sqlite3.Error as error:
            found = str(error) if is_damage(error) else "ok"
        if found != "ok":
            self.damage = DamagedLogError(f"{self._log} is damaged: {found}")
