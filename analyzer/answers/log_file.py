"""A log as a file with its boat: opened once or for each question; its times and places."""

import time
from collections.abc import Hashable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Self, TypeVar

from analyzer.errors import AnalyzerError
from logger.units import UNDATED_S

if TYPE_CHECKING:
    from analyzer.answers.ahead.passage import PlanAnswer
    from analyzer.answers.gain.rows import GainAnswer
    from analyzer.answers.hull import HullAnswer
    from analyzer.estimation.results import BootRow, CablesAnswer, CellsAnswer, CheckAnswer
    from analyzer.series.log import OpenLog
    from analyzer.series.series import Series
    from logger.boat import Boat
    from logger.store import Store

Dated = TypeVar(
    "Dated", "CablesAnswer", "CellsAnswer", "CheckAnswer", "GainAnswer", "HullAnswer", "PlanAnswer"
)


def as_of(store: "Store", answer: Dated) -> Dated:
    """The answer with the moment it speaks of, the newest reading's; as it is without readings."""
    span = store.span()
    if span is None:
        return answer
    newest_s = (span[1] + 1) / 1e6
    return replace(answer, asked_utc_s=newest_s, data_age_s=store.age_s())


class LogFile(AbstractContextManager["LogFile"]):
    """A log on disk and its boat: `Log` without the questions.

    In a `with`, or by `open_log`, it is opened once; else anew for each question, so that a server
    can ask while the recorder writes, from any thread.

    Args:
        path: The log's file.
        boat_file: None: the copy that the log keeps.
        write: Held open, it is to keep results too.
    Raises:
        LoggerError, AnalyzerError: From every question: the log or the boat file cannot be read.
    """

    def __init__(self, path: Path, boat_file: Path | None = None, *, write: bool = False) -> None:
        self.path = path
        self.boat_file = boat_file
        self._write = write
        self._held: OpenLog | None = None

    def __enter__(self) -> Self:
        from analyzer.series.log import OpenLog

        if self._held is None:
            self._held = OpenLog.open(self.path, self.boat_file, write=self._write)
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Lets the log go, where it was held open."""
        if self._held is not None:
            self._held.close()
        self._held = None

    @contextmanager
    def opened(self, write: bool = False) -> "Iterator[OpenLog]":
        """The store and the boat, for as long as a question takes."""
        from analyzer.series.log import OpenLog

        if self._held is not None and self._held.store.writable >= write:
            yield self._held
            return
        with OpenLog.open(self.path, self.boat_file, write=write) as log:
            yield log

    @property
    def store(self) -> "Store":
        """The readings; only while the log is held open."""
        return self._open().store

    @property
    def boat(self) -> "Boat":
        """The boat; only while the log is held open."""
        return self._open().boat

    def series(self, names: Sequence[str], start_us: int, end_us: int) -> "Series":
        """Channels on one 1 s grid; times on the timeline. [µs]"""
        with self.opened() as log:
            return log.load(tuple(names), start_us, end_us)

    def _open(self) -> "OpenLog":
        if self._held is None:
            raise AnalyzerError(f"{self.path} is not held open: open it in a `with`")
        return self._held

    def is_there(self) -> bool:
        """Whether anything has been recorded into it yet."""
        return self.path.is_file()

    def channels(self) -> tuple[str, ...]:
        """Names of the channels that the log holds."""
        with self.opened() as log:
            return tuple(log.store.channels())

    def span(self) -> tuple[float, float] | None:
        """When the log's first and newest readings were; None where there is none."""
        with self.opened() as log:
            held = log.store.span()
        return (held[0] / 1e6, held[1] / 1e6) if held else None

    def age_s(self) -> float | None:
        """How long ago the newest reading came; None where it is of an earlier start, or none."""
        with self.opened() as log:
            return log.store.age_s() if log.store.span() else None

    def now_utc_s(self) -> float:
        """What time it is by the log's clock where it is of this boot, else by the system's."""
        with self.opened() as log:
            span, age_s = log.store.span(), log.store.age_s()
        if span is None or age_s is None or span[1] / 1e6 < UNDATED_S:
            return time.time()
        return span[1] / 1e6 + age_s

    def place(self) -> tuple[float, float, float] | None:
        """Latitude, longitude [deg] and the time they were measured; else home's, without time.

        Returns:
            None where neither is known; a time of 0 where it is home's place.
        """
        with self.opened() as log:
            latitude, longitude = (
                log.store.last(name) for name in ("latitude_deg", "longitude_deg")
            )
            home = log.boat.home
        if latitude and longitude:
            return latitude[1], longitude[1], latitude[0] / 1e6
        return (home.latitude_deg, home.longitude_deg, 0.0) if home else None

    def home(self) -> tuple[float, float, str] | None:
        """The boat file's home: latitude, longitude [deg] and name; None where it has none."""
        with self.opened() as log:
            home = log.boat.home
        return (home.latitude_deg, home.longitude_deg, home.name) if home else None

    def boat_name(self) -> str:
        """As the boat file has it."""
        with self.opened() as log:
            return log.boat.name

    def boat_text(self) -> tuple[str, str]:
        """The boat file's text and where it is; the log's own copy where there is no file."""
        from analyzer.answers.transfer import files

        return files.boat_text(self.boat_file, self.path)

    def save_boat(self, text: str) -> None:
        """Puts a boat file in the place of the old, if nothing is wrong with it; whole or not.

        Raises:
            BoatFileError: What is wrong, a sentence a line; the old one stays.
        """
        from analyzer.answers.transfer import files

        files.save_boat(self.boat_file, self.path, text)

    def boots(self) -> "tuple[BootRow, ...]":
        """How each run of the board's computer was dated."""
        from analyzer.check.boots import boots

        with self.opened() as log:
            return boots(log)

    def forget_date(self, number: int) -> None:
        """Takes a boot's date back. Raises StoreError where there is no such boot."""
        from analyzer.check.boots import forget_date

        with self.opened(write=True) as log:
            forget_date(log, number)

    def state(self) -> Hashable:
        """Something that differs whenever the log or the boat file has changed."""
        # SQLite makes an empty file beside the log whenever it is looked at: only one that holds
        # something says that something was written.
        beside = _stamp(self.path.with_name(self.path.name + "-wal"))
        return _stamp(self.path), beside if beside and beside[1] else None, _stamp(self.boat_file)


def _stamp(path: Path | None) -> tuple[int, int] | None:
    try:
        found = path.stat() if path else None
    except OSError:
        return None
    return (found.st_mtime_ns, found.st_size) if found else None
