"""One thread per source: reads it, opens it again when it is lost, and hands over its items."""

import logging
import queue
import threading
from collections.abc import Callable

from logger.decode.counters import Counters
from logger.errors import BoatFileError, SourceError
from logger.reading import Item, Source
from logger.standstill import Pulse

READ_S = 0.25  # assumed
FIRST_WAIT_S = 0.5  # assumed
LONGEST_WAIT_S = 30.0  # assumed
STILL_S = 120.0  # no way of opening or reading a source takes as long, assumed
QUEUE_BATCHES = 1000  # assumed

log = logging.getLogger("keelwatt")
Batches = "queue.Queue[list[Item]]"


class Feed:
    """Keeps one source alive.

    Args:
        name: The source's name.
        opener: Opens it. BoatFileError ends the daemon, SourceError is tried again.
        counters: Takes reconnects, dropped and internal.
        batches: Where items go; when it is full the items are dropped and counted.
    """

    def __init__(
        self,
        name: str,
        opener: Callable[[], Source],
        counters: Counters,
        batches: "queue.Queue[list[Item]]",
    ) -> None:
        self.name, self.counters = name, counters
        self._extra = {"source": name}
        self._opener, self._batches = opener, batches
        self.pulse = Pulse(f"source {name}", STILL_S)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name=f"source {name}", daemon=True)
        self.failure: BoatFileError | None = None
        self.up = False
        self.trouble = "not opened yet"

    def start(self) -> None:
        """Begins to read."""
        self._thread.start()

    def stop(self) -> None:
        """Asks the thread to end."""
        self._stop.set()

    def join(self, timeout_s: float) -> None:
        """Waits for the thread's end."""
        self._thread.join(timeout_s)

    @property
    def alive(self) -> bool:
        """False once a recording has ended or the options were wrong."""
        return self._thread.is_alive()

    def _run(self) -> None:
        try:
            self._keep_reading()
        finally:
            self.pulse.rest()

    def _keep_reading(self) -> None:
        wait_s = FIRST_WAIT_S
        while not self._stop.is_set():
            self.pulse.beat()
            try:
                source = self._opener()
            except BoatFileError as error:
                self.failure = error
                return
            except SourceError as error:
                self._down(str(error))
            else:
                self._rises()
                ended = self._read(source)
                if ended:
                    return
                wait_s = FIRST_WAIT_S
            if self._stop.wait(wait_s):
                return
            wait_s = min(wait_s * 2, LONGEST_WAIT_S)

    def _read(self, source: Source) -> bool:
        """Reads until the source is lost (False) or has ended or must stop (True)."""
        try:
            while not self._stop.is_set():
                self.pulse.beat()
                items = source.read(READ_S)
                if items is None:
                    return True
                if items:
                    self._hand_over(items)
            return True
        except SourceError as error:
            self._down(str(error))
        except Exception:
            # A mistake in a decoder must not end the recording of the other sources.
            text = "source %s: a mistake of the program; it is opened again"
            log.exception(text, self.name, extra=self._extra)
            self.counters.add("internal")
            self._down("a mistake of the program, see the journal")
        finally:
            source.close()
            self.up = self.up and self._stop.is_set()  # what it was when it was asked to end
        return False

    def _hand_over(self, items: list[Item]) -> None:
        try:
            self._batches.put_nowait(items)
        except queue.Full:
            self.counters.add("dropped", len(items))

    def _rises(self) -> None:
        if self.trouble and self.trouble != "not opened yet":
            log.info("source %s is back", self.name, extra=self._extra)
        self.up, self.trouble = True, ""

    def _down(self, why: str) -> None:
        self.counters.add("reconnects")
        if why != self.trouble:
            log.warning("source %s: %s", self.name, why, extra=self._extra)
        self.up, self.trouble = False, why
