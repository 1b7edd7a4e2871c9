"""A boat file that is changed while the recorder runs: on a phone, or by hand."""

import logging
import threading
from collections.abc import Callable
from pathlib import Path

from logger.daemon import config
from logger.errors import BoatFileError
from logger.standstill import Pulse

LOOK_S = 1.0  # assumed
STILL_S = 60.0  # a small file is read in less, assumed
log = logging.getLogger("keelwatt")


class BoatWatch:
    """Looks at a boat file from a thread of its own, until `stop`.

    A file is read once it has been still for `look_s`, so that a half-written one is not taken.

    Args:
        path: The boat file.
        text: What it held when the recorder began.
        take: Called once, with the first right file that says something else: its text, and it.
        refuse: Called with the first sentence on a wrong one, and with "" when it is as it was.
    """

    def __init__(
        self,
        path: Path,
        text: str,
        take: Callable[[str, config.RecorderConfig], None],
        refuse: Callable[[str], None],
        look_s: float = LOOK_S,
    ) -> None:
        self._path, self._text, self._take, self._refuse = path, text, take, refuse
        self._look_s = look_s
        self.pulse = Pulse("the look at the boat file", STILL_S)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="boat file", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Ends the watch."""
        self._stop.set()

    def _run(self) -> None:
        try:
            self._look()
        finally:
            self.pulse.rest()

    def _look(self) -> None:
        known: object = None  # the file's state that was last judged
        before = self._state()
        while not self._stop.wait(self._look_s):
            self.pulse.beat()
            state = self._state()
            still, before = state == before, state
            if state is None or state == known or not still:
                continue
            known = state
            if self._judged():
                return

    def _judged(self) -> bool:
        """Whether the file was taken."""
        try:
            text = self._path.read_text("utf-8-sig")
            if text == self._text:
                self._refuse("")
                return False
            duties = config.load(self._path)
        except (BoatFileError, OSError, UnicodeDecodeError) as error:
            why = str(error).split("\n")[0]
            log.warning("the changed boat file is not used: %s", why)
            self._refuse(why)
            return False
        if self._stop.is_set():
            return False
        log.info("the boat file was changed; recording begins anew with it")
        self._take(text, duties)
        return True

    def _state(self) -> object:
        try:
            found = self._path.stat()
        except OSError:
            return None
        return found.st_mtime_ns, found.st_size, found.st_ino
