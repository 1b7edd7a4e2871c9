"""Recorded files as one source, in time order; flat out, in real time or N times as fast.

Files are put on one clock by their UTC where they know it (candump's times, a date in NMEA
sentences, a UTC column); a file that only has a stop watch begins where the earliest file does.
The source's clock is 0 there.
"""

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Protocol

import numpy as np

from logger.boat import Boat
from logger.decode.counters import Counters
from logger.reading import (
    Block,
    Item,
    Row,
    Source,
    UtcFix,
)
from logger.sources.recordings.recording import Recording
from logger.units import DAY_US
from replay.opening import Opener

FILE_SURE_S = 60.0  # a recorder's clock is commonly within a minute; common practice, no source


class Progress(Protocol):
    """Called with how much is done, 0 to 1."""

    def __call__(self, done: float) -> None: ...


class Sink(Protocol):
    """What takes the items: a store's writer."""

    def add(self, item: Item) -> None: ...


class Player:
    """Several recordings merged in time order; a `Source` that gives blocks flat out.

    Args:
        recordings: At least one, opened.
        counters: The counters of each of the recordings' sources.
    """

    name = "recording"

    def __init__(self, recordings: Sequence[Recording], counters: Mapping[str, Counters]) -> None:
        self._open = list(recordings)
        self._all = tuple(recordings)
        self.counters = dict(counters)
        self._waiting: list[Item] = []
        self._ended: set[int] = set()
        self._shift: dict[int, int] | None = None
        self._base_us: int | None = None

    @property
    def fraction(self) -> float:
        """How much has been read, 0 to 1."""
        return sum(recording.fraction for recording in self._all) / len(self._all)

    def read(self, timeout_s: float = 0.0) -> list[Item] | None:
        """The next items, all of one stretch of time; None at the end. Raises RecordingError."""
        if self._shift is None:
            return self._begin()
        alive = [r for r in self._open if id(r) not in self._ended]
        if not alive:
            return self._rest()
        slowest = min(alive, key=self._reached)
        self._take(slowest)
        return self._ready()

    def close(self) -> None:
        """Lets the files go. May be called twice."""
        for recording in self._all:
            recording.close()

    def _begin(self) -> list[Item]:
        """Reads each file's first batch, as only then its clock is known."""
        first: list[tuple[Recording, list[Item]]] = []
        for recording in self._open:
            items = recording.batch()
            if items is None:
                self._ended.add(id(recording))
            else:
                first.append((recording, items))
        starts = [
            recording.origin_us + start
            for recording, items in first
            if recording.origin_us is not None and (start := _first_us(items)) is not None
        ]
        self._base_us = min(starts, default=None)
        base = self._base_us or 0
        self._shift = {
            id(r): (r.origin_us - base if r.origin_us is not None else 0) for r in self._open
        }
        for recording, items in first:
            self._add(recording, items)
        items = self._ready()
        if self._base_us is not None:
            items.insert(0, UtcFix(0, self._base_us, "file", FILE_SURE_S))
        return items

    def _reached(self, recording: Recording) -> int:
        assert self._shift is not None
        return recording.reached_us + self._shift[id(recording)]

    def _take(self, recording: Recording) -> None:
        items = recording.batch()
        if items is None:
            self._ended.add(id(recording))
        else:
            self._add(recording, items)

    def _add(self, recording: Recording, items: list[Item]) -> None:
        assert self._shift is not None
        shift = self._shift[id(recording)]
        for item in items:
            self._waiting.append(self._moved(item, shift))

    def _moved(self, item: Item, shift: int) -> Item:
        if isinstance(item, Block):
            return replace(item, t_us=item.t_us + shift) if shift else item
        if isinstance(item, Row):
            return replace(item, t_us=item.t_us + shift)
        return self._as_recorded(replace(item, t_us=item.t_us + shift))

    def _as_recorded(self, fix: UtcFix) -> UtcFix:
        """A receiver's date that agrees with the file's is the file's own, but surer.

        Only one that is a day or more off is left as it is, for the log to judge: its week
        number may have rolled over. An old recording's date must not look like that.
        """
        if self._base_us is None or abs(fix.utc_us - fix.t_us - self._base_us) < DAY_US:
            return replace(fix, source="file")
        return fix

    def _ready(self) -> list[Item]:
        """What no file can any more give something earlier than."""
        alive = [r for r in self._open if id(r) not in self._ended]
        if not alive:
            return self._rest() or []
        if len(self._all) == 1:
            items, self._waiting = self._waiting, []
            return items
        until_us = min(self._reached(recording) for recording in alive)
        now, later = split(self._waiting, until_us)
        self._waiting = later
        return now

    def _rest(self) -> list[Item] | None:
        items, self._waiting = self._waiting, []
        return items or None


def _first_us(items: Sequence[Item]) -> int | None:
    return min((_time(item) for item in items), default=None)


def _time(item: Item) -> int:
    return int(item.t_us[0]) if isinstance(item, Block) else item.t_us


def split(items: Sequence[Item], until_us: int) -> tuple[list[Item], list[Item]]:
    """Items up to and including a time, and those after; blocks are cut."""
    before: list[Item] = []
    after: list[Item] = []
    for item in items:
        if not isinstance(item, Block):
            (before if item.t_us <= until_us else after).append(item)
            continue
        cut = int(np.searchsorted(item.t_us, until_us, side="right"))
        if cut:
            before.append(Block(item.group, item.t_us[:cut], item.values[:cut]))
        if cut < len(item.t_us):
            after.append(Block(item.group, item.t_us[cut:], item.values[cut:]))
    return before, after


def open_recordings(
    paths: Sequence[Path],
    boat: Boat | None = None,
    *,
    maps: Sequence[Path] = (),
    dbcs: Sequence[Path] = (),
    folder: Path | None = None,
) -> Player:
    """Opens recorded files as one source.

    Args:
        paths: candump, ASC, BLF, TRC, NMEA 0183 lines or CSV, plain, .gz or .zst.
        boat: Its sources say how to decode and where signals go. Without it every signal is
            kept under a name made from its own.
        maps: Column maps for CSV files. A `<file>.toml` beside a CSV file serves too.
        dbcs: CAN databases, in addition to the boat's.
        folder: Files named in the boat's sources are relative to it, else to the boat file;
            the recordings' own folder is tried too.
    Raises:
        RecordingError: A file cannot be read as what it seems to be.
        BoatFileError: A source's options, a column map or a DBC file is wrong.
    """
    if folder is None and boat is not None:
        folder = boat.folder
    opener = Opener(boat, tuple(maps), tuple(dbcs), folder)
    return Player([opener.open(Path(path)) for path in paths], opener.counters)


class Paced:
    """A recorded source held back to real time, or N times as fast.

    Args:
        source: Gives items in stretches of time order.
        pace: 1 is real time.
        clock, sleep: For tests.
    """

    STEP_S = 0.1

    def __init__(
        self,
        source: Source,
        pace: float,
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self.name = source.name
        self._source, self._pace = source, pace
        self._clock, self._sleep = clock, sleep
        self._start: tuple[float, int] | None = None
        self._waiting: list[Item] = []
        self._ended = False

    def read(self, timeout_s: float) -> list[Item] | None:
        """What is due, at most `timeout_s` later; None at the end."""
        self._fill()
        if not self._waiting:
            return None if self._ended else []
        due = self._due(timeout_s)
        ready, self._waiting = split(self._waiting, due)
        return ready

    def close(self) -> None:
        """Lets the recording go."""
        self._source.close()

    def _fill(self) -> None:
        while not self._waiting and not self._ended:
            items = self._source.read(0.0)
            if items is None:
                self._ended = True
            else:
                self._waiting = items

    def _due(self, timeout_s: float) -> int:
        now = self._clock()
        next_us = min(_time(item) for item in self._waiting)
        if self._start is None:
            self._start = (now, next_us)
        begun_s, first_us = self._start
        wait_s = begun_s + (next_us - first_us) / 1e6 / self._pace - now
        if wait_s > 0:
            self._sleep(min(max(wait_s, self.STEP_S), timeout_s))
        gone_s = self._clock() - begun_s
        due_us = first_us + round(gone_s * self._pace * 1e6)
        return max(due_us, next_us) if wait_s <= 0 else due_us


def play(
    source: Source,
    writer: Sink,
    pace: float | None = None,
    progress: Progress | None = None,
) -> int:
    """Plays a source into a writer until its end.

    Args:
        source: From `open_recordings`.
        writer: Takes the items.
        pace: None flat out, 1 real time, N times as fast.
        progress: Called now and then with the share done, 0 to 1.
    Returns:
        Readings passed on.
    """
    paced: Source = Paced(source, pace) if pace else source
    values = 0
    while (items := paced.read(0.5)) is not None:
        for item in items:
            writer.add(item)
            values += _readings(item)
        if progress:
            progress(float(getattr(source, "fraction", 0.0)))
    if progress:
        progress(1.0)
    return values


def _readings(item: Item) -> int:
    if isinstance(item, Block):
        return int(np.count_nonzero(~np.isnan(item.values)))
    return sum(value is not None for value in item.values) if isinstance(item, Row) else 0
