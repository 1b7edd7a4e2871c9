"""Sources to the log, until it is told to stop; `main.py` keeps one running."""

import logging
import queue
import sqlite3
import threading
import time
from collections.abc import Callable

from logger.boot_clock import boot_uid, mono_us, ntp_fix
from logger.daemon import source_kinds
from logger.daemon.config import RecorderConfig, SourceConfig
from logger.daemon.feed import QUEUE_BATCHES, Feed
from logger.daemon.full_disk import full_flag
from logger.daemon.health import USUAL_BITRATE, Health
from logger.daemon.housekeeping import Housekeeping
from logger.daemon.process_memory import settle, trim
from logger.daemon.systemd import Service
from logger.decode.counters import Counters
from logger.errors import BoatFileError, StoreError
from logger.reading import (
    Block,
    Item,
    Source,
    UtcFix,
)
from logger.salvage.page_check import PageCheck
from logger.sources.raw_copy import RawFile
from logger.standstill import Pulse, Pulses
from logger.store import Store
from logger.store.connect import may_succeed_later
from logger.store.writer import Writer

# How often health is written, at least and where something changed, and the system's clock asked;
# how long sources have to stop. Assumed.
HEALTH_S, CHANGE_S = 60.0, 5.0
NTP_S = 600.0
STOP_S = 1.5
log = logging.getLogger("keelwatt")


class Recorder:
    """Runs a boat's sources into a log.

    Args:
        boat: The boat file.
        store: Opened for writing.
        service: Who is told how it goes.
        uid: The boot's name.
    Raises:
        BoatFileError: A source is of a kind that is not known.
    """

    def __init__(
        self,
        boat: RecorderConfig,
        store: Store,
        service: Service | None = None,
        uid: str | None = None,
    ) -> None:
        self._boat, self._store = boat, store
        self._service = service or Service()
        self._uid = uid or boot_uid()
        self._stop = threading.Event()
        self._batches: queue.Queue[list[Item]] = queue.Queue(QUEUE_BATCHES)
        self._raw: list[RawFile] = []
        self.feeds = [
            self._feed(spec) for spec in boat.source if spec.kind not in source_kinds.RECORDED
        ]
        if not self.feeds:
            raise BoatFileError("boat.toml: wants at least one [[source]] to record")
        self._health = Health(store.path, _bitrates(boat))
        self._room = Housekeeping(
            store, store.path.parent / "raw", boat.full_rate_days, boat.log_limit_mb
        )
        self._pages = PageCheck(store.path)
        self._pulses = Pulses("record", [feed.pulse for feed in self.feeds])
        self._lag_s, self._remark = 0.0, ""
        self._full_since_us: int | None = None
        self._lost = 0
        self._boat_trouble = ""
        self._told_s, self._told_up = 0.0, [False for _ in self.feeds]
        self._successor: tuple[str, RecorderConfig] | None = None

    def watch_over(self, pulse: Pulse) -> None:
        """Another thread's standing still is said as well."""
        self._pulses.add(pulse)

    def stop(self) -> None:
        """Asks the loop to end; may be called from a signal handler or another thread."""
        self._stop.set()

    def give_way(self, text: str, boat: RecorderConfig) -> None:
        """Asks the loop to end, since another recorder goes on with a changed boat file."""
        self._successor = text, boat
        self._stop.set()

    def refuse(self, why: str) -> None:
        """Says in the status that a changed boat file is wrong and not used; "": right again."""
        self._boat_trouble = why
        self._say_sources()

    def run(self) -> tuple[str, RecorderConfig] | None:
        """Records until `stop`, until every source has ended, or until it gives way.

        Returns:
            The boat file, as text and read, that another recorder shall go on with; None: it is
            the end.
        Raises:
            BoatFileError: A source's options are wrong.
            StoreError: The log cannot be used.
        """
        with self._store.writer(self._uid, flush_s=self._boat.flush_s, now_us=mono_us) as writer:
            for feed in self.feeds:
                feed.start()
            self._service.ready()
            self._pages.start()
            settle()
            try:
                self._loop(writer)
            finally:
                self._pages.stop()
                if not self._successor:
                    self._service.stopping()
                self._end(writer)
        return self._successor

    # -- inside ---------------------------------------------------------------------------------

    def _feed(self, spec: SourceConfig) -> Feed:
        source_kinds.check_kind(spec)
        counters = Counters(spec.name)
        raw = source_kinds.raw_for(
            spec, self._boat.folder, self._store.path.parent / "raw", counters
        )
        if raw:
            self._raw.append(raw)

        def opener() -> Source:
            return source_kinds.open_source(spec, self._boat.folder, counters, raw)

        return Feed(spec.name, opener, counters, self._batches)

    def _loop(self, writer: Writer) -> None:
        next_health = next_ntp = 0.0
        while not self._stop.is_set():
            self._take(writer, min(max(writer.due_in_s(), 0.0), 0.2))
            self._watch_disk(writer)
            self._raise_failures()
            now = time.monotonic()
            if now >= next_ntp:
                next_ntp = now + NTP_S
                fix = ntp_fix()
                if fix:
                    self._add(writer, [fix])
            if now >= next_health:
                next_health = now + HEALTH_S
                self._tell_health(writer)
            elif now >= self._told_s + CHANGE_S and self._told_up != [f.up for f in self.feeds]:
                self._tell_sources(writer)  # nobody waits a minute to see that a plug is in again
            self._write_aside(lambda: self._room.turn(writer))
            if self._pulses.due():
                self._write_aside(lambda: self._pulses.tell(self._store))
            if not self._pulses.hopeless:  # else systemd begins the recorder anew
                self._service.alive()
            if not any(feed.alive for feed in self.feeds) and self._batches.empty():
                return

    def _take(self, writer: Writer, timeout_s: float) -> None:
        try:
            items = self._batches.get(timeout=timeout_s)
        except queue.Empty:
            writer.flush_if_due()
            return
        self._add(writer, items)
        while not self._stop.is_set():
            try:
                self._add(writer, self._batches.get_nowait())
            except queue.Empty:
                return

    def _add(self, writer: Writer, items: list[Item]) -> None:
        for item in items:
            if isinstance(item, UtcFix):
                self._date_raw(item)
            try:
                writer.add(item)
            except sqlite3.OperationalError as error:
                # A group met for the first time while the disk is full cannot be entered.
                if not may_succeed_later(error):
                    raise
                self._lost += 1
            if isinstance(item, UtcFix) and writer.remark != self._remark:
                self._remark = writer.remark
                log.warning("%s", self._remark or "the date is right now")
        if items:
            last = items[-1]
            t_us = int(last.t_us[-1]) if isinstance(last, Block) else last.t_us
            self._lag_s = max(0.0, (mono_us() - t_us) / 1e6)

    def _watch_disk(self, writer: Writer) -> None:
        """A full disk does not end the daemon: it is said, and recording goes on by itself."""
        if writer.full and self._full_since_us is None:
            self._full_since_us = time.time_ns() // 1000
            log.error("the disk is full or the log is held; recording waits")
            self._service.status("the disk is full; recording waits")
        elif not writer.full and self._full_since_us is not None:
            since_us, self._full_since_us = self._full_since_us, None
            lost = writer.dropped + self._lost
            log.warning("the log can be written again; %d readings were not kept", lost)
            self._write_aside(
                lambda: self._store.add_flag(full_flag(since_us, f"{lost} readings were not kept"))
            )

    def _write_aside(self, act: Callable[[], object]) -> None:
        """Writes that recording does not hang on."""
        try:
            act()
        except (sqlite3.OperationalError, StoreError, OSError) as error:
            log.warning("not written beside the readings: %s", error)

    def _date_raw(self, fix: UtcFix) -> None:
        for raw in self._raw:
            raw.utc_offset_us = fix.utc_us - fix.t_us

    def _raise_failures(self) -> None:
        if self._pages.damage:
            raise self._pages.damage
        for feed in self.feeds:
            if feed.failure:
                raise feed.failure

    def _tell_health(self, writer: Writer) -> None:
        dropped = writer.dropped + self._lost
        waiting = self._batches.qsize()
        self._tell_sources(writer)  # first: words wait for a commit, which only rows bring about
        rows = self._health.rows(self.feeds, mono_us(), waiting, self._lag_s, dropped)
        self._add(writer, list(rows))
        trim()

    def _tell_sources(self, writer: Writer) -> None:
        self._told_s, self._told_up = time.monotonic(), [feed.up for feed in self.feeds]
        if not writer.full:
            self._say_sources()
        writer.tell("recorder", self._health.words(self.feeds), time.time_ns() // 1000)

    def _say_sources(self) -> None:
        up = sum(feed.up for feed in self.feeds)
        but = f"; the changed boat file is not used: {self._boat_trouble}"
        self._service.status(
            f"recording {up} of {len(self.feeds)} sources{but if self._boat_trouble else ''}"
        )

    def _end(self, writer: Writer) -> None:
        until = time.monotonic() + STOP_S
        for feed in self.feeds:
            feed.stop()
        for feed in self.feeds:
            feed.join(max(0.0, until - time.monotonic()))
        self._stop.set()
        while not self._batches.empty():
            self._add(writer, self._batches.get_nowait())
        self._tell_health(writer)


def _bitrates(boat: RecorderConfig) -> dict[str, float]:
    """Bits a second of each CAN source; the usual rate where the boat file is silent."""
    found = {}
    for spec in boat.source:
        if spec.kind == "can":
            rate = spec.options.get("bitrate", USUAL_BITRATE)
            usable = isinstance(rate, int | float) and rate > 0
            found[spec.name] = float(rate) if usable else USUAL_BITRATE  # type: ignore[arg-type]
    return found
