"""Says in the log which part of a program that serves answers stands still."""

import threading
from contextlib import suppress
from pathlib import Path

from logger.errors import LoggerError
from logger.standstill import LOOK_S, Pulse, Pulses
from logger.store import Store

__all__ = ["Guard", "Pulse"]


class Guard:
    """Looks at pulses from a thread of its own, which does nothing else.

    Args:
        log: Takes the flags; need not be there yet.
    """

    def __init__(self, log: Path, look_s: float = LOOK_S) -> None:
        self._log, self._look_s = log, look_s
        self._pulses = Pulses("serve", look_s=look_s)
        self._stop = threading.Event()

    def pulse(self, name: str, limit_s: float) -> Pulse:
        """A pulse to be beaten; it is looked at from now on. [s]"""
        return self._pulses.add(Pulse(name, limit_s))

    def start(self) -> None:
        """Begins to look."""
        self._stop.clear()
        threading.Thread(target=self._run, name="guard", daemon=True).start()

    def stop(self) -> None:
        """Ends it."""
        self._stop.set()

    def _run(self) -> None:
        while not self._stop.wait(self._look_s):
            if self._log.is_file() and self._pulses.due():
                with suppress(LoggerError), Store.open(self._log, write=True) as store:
                    self._pulses.tell(store)
