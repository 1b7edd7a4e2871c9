"""A log and all that can be asked of it: one method a question.

The command line, the pages, the HTTP API and Python all ask here, so that they cannot differ. A
question's own code, and the libraries that it needs, are imported when it is first asked.
"""

import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, Literal

from analyzer.answers.log_file import as_of
from analyzer.answers.memory import Memory
from analyzer.answers.season.ask import Seasons
from analyzer.errors import AnalyzerError, NoFlag
from analyzer.estimation.results import (
    CablesAnswer,
    CellsAnswer,
    CheckAnswer,
    FlagView,
    Plot,
    RangeAnswer,
    ReviewAnswer,
    TripRow,
    WayHome,
)
from logger.errors import LoggerError

if TYPE_CHECKING:
    import pandas as pd

    from analyzer.answers.ahead.passage import PlanAnswer, PlanWish
    from analyzer.answers.guard import Guard
    from analyzer.answers.health.trends import Course, PackHealth
    from analyzer.answers.hull import DoubleRun, HindcastAnswer, HullAnswer
    from analyzer.answers.trip_chart import Around, TripPlot, TripSeries
    from analyzer.series.decimate import Overview

Stream = tuple[float, float]  # m/s, degrees towards
Wind = tuple[float, float]  # m/s, degrees from
Progress = Callable[[float], None]  # share done
Form = Literal["csv", "parquet", "arrow", "bdf", "gpx", "log"]


class Log(Seasons):
    """A log and its boat, with a method for each question; see `LogFile` for how it is opened."""

    def __init__(self, path: Path, boat_file: Path | None = None, *, write: bool = False) -> None:
        super().__init__(path, boat_file, write=write)
        self._minutes: Overview | None = None
        self._trips = Memory(lambda: None, most=3)
        self._past = Memory(lambda: None, most=64)

    def range_left(
        self,
        speed_mps: float | None = None,
        stream: Stream | None = None,
        home: WayHome | None = None,
        wind: Wind | None = None,
    ) -> RangeAnswer:
        """How far, for how long, what ends it; see `analyzer.answers.range_left`."""
        from analyzer.answers.range_left import range_left

        with self.opened() as log:
            return range_left(log, speed_mps, stream, home, wind)

    def plan(self, wish: "PlanWish") -> "PlanAnswer":
        """Whether a passage works."""
        from analyzer.answers.ahead.passage import plan_passage

        with self.opened() as log:
            return as_of(log.store, plan_passage(log, wish))

    def trips(self) -> tuple[TripRow, ...]:
        """The trips that `refresh` has found, oldest first."""
        from analyzer.learned import kept_trips

        with self.opened() as log:
            return kept_trips.trips(log)

    def review(self, number: int | None = None) -> ReviewAnswer:
        """One trip explained; the newest where no number is given.

        Raises:
            NoTrip: There is no such trip.
        """
        from analyzer.answers import review

        with self.opened() as log:
            return review.review(log, number)

    def hindcast(
        self, number: int | None = None, each_s: float = 300.0, progress: Progress | None = None
    ) -> "HindcastAnswer":
        """What the range answer would have been during a trip, against what then happened."""
        from analyzer.answers.hull import hindcast_trip
        from analyzer.learned.kept_trips import find_trip

        with self.opened() as log:
            return hindcast_trip(log, find_trip(log, number), each_s, progress)

    def hull(self) -> "HullAnswer":
        """Power against speed, and what growth costs."""
        from analyzer.answers.hull import hull_state

        with self.opened() as log:
            return as_of(log.store, hull_state(log))

    def double_run(self) -> "DoubleRun":
        """The double run in the log's last three quarters of an hour; its calibration is kept."""
        from analyzer.answers.hull import double_run

        with self.opened(write=True) as log:
            return double_run(log)

    def cells(self) -> CellsAnswer:
        """Health of the cells."""
        from analyzer.answers.health import now

        with self.opened() as log:
            return as_of(log.store, now.cells(log))

    def cables(self) -> CablesAnswer:
        """Health of the cables."""
        from analyzer.answers.health import now

        with self.opened() as log:
            return as_of(log.store, now.cables(log))

    def pack(self) -> "PackHealth":
        """Capacity and resistance, now and before."""
        from analyzer.answers.health import trends

        with self.opened() as log:
            return trends.pack(log)

    def cable_courses(self) -> "dict[str, Course]":
        """How each cable's joint went from trip to trip."""
        from analyzer.answers.health import trends

        with self.opened() as log:
            return trends.cable_courses(log)

    def cell_course(self, cell: str) -> "Course":
        """How a cell's resistance went from trip to trip."""
        from analyzer.answers.health import trends

        with self.opened() as log:
            boat = log.boat.model_dump_json()
            return trends.cell_course(
                log,
                cell,
                lambda trip, ask: self._past.ask((trip.start_us, trip.end_us, boat), ask),
            )

    def flags(self) -> tuple[FlagView, ...]:
        """All flags, those that stand first."""
        from analyzer.answers import flags

        with self.opened() as log:
            return flags.flags(log)

    def ways_out(self) -> tuple[str, ...]:
        """What displays and programs on board are told while the pages are served."""
        from analyzer.answers import flags

        with self.opened() as log:
            return flags.ways_out(log)

    def flag_seen(self, number: int) -> None:
        """Somebody has seen a flag: its tone stops, and displays on board show it acknowledged.

        Raises:
            NoFlag: There is none of that number.
        """
        with self.opened(write=True) as log:
            if number not in {flag.number for flag in log.store.flags()}:
                raise NoFlag(f"the log holds no flag {number}")
            span = log.store.span()
            log.store.update_flag(number, seen_us=span[1] if span else 0)

    def check(self, there: tuple[str, ...] = ()) -> CheckAnswer:
        """What arrives, what is wrong, what can be answered; also before there is a log.

        Args:
            there: Ports and buses of this computer, as text.
        """
        from analyzer.answers.check import check
        from logger import boat

        if self.boat_file is not None and not self.path.is_file():
            return check(boat.load(self.boat_file), None, there)
        with self.opened() as log:
            return as_of(log.store, check(log.boat, log.store, there))

    def refresh(self, progress: Progress | None = None) -> None:
        """Finds trips and runs the watch over what is new in the log; nothing where nothing is."""
        from analyzer.learned.stamp import looked_through

        with self.opened(write=True) as log:
            if looked_through(log):
                return
            from analyzer.answers.refresh import refresh

            refresh(log, progress)

    def watch(self, guard: "Guard | None" = None) -> Callable[[], None]:
        """Starts the live watch on the log's tail, in a thread of its own; gives what stops it.

        Args:
            guard: Says where it stands still.
        """
        from analyzer.flags.follow import Live
        from analyzer.flags.watch_keeper import STILL_S, WatchKeeper

        def reach() -> tuple[float, float] | None:
            try:
                far = Log(self.path, self.boat_file).range_left().distance
            except (AnalyzerError, LoggerError):
                return None
            return (far.mid, far.low) if far.mid is not None and far.low is not None else None

        with self.opened() as log:
            boat = log.boat
        pulse = guard.pulse("the live watch", STILL_S) if guard else None
        return WatchKeeper(lambda: Live(self.path, boat, reach=reach), pulse=pulse).stop

    def new_s(self) -> float:
        """How much of the log's end has not been looked through. [s]"""
        from analyzer.learned.stamp import new_s

        with self.opened() as log:
            return new_s(log)

    def plot(
        self, number: int | None = None, channels: Sequence[str] = (), points: int = 2000
    ) -> Plot:
        """Channels of one trip, thinned so that peaks stay."""
        from analyzer.learned.kept_trips import find_trip
        from analyzer.series import decimate

        with self.opened() as log:
            trip = find_trip(log, number)
            return decimate.window(log.store, channels, trip.start_us, trip.end_us, points)

    def window(
        self, channels: Sequence[str], start_s: float, end_s: float, points: int = 2000
    ) -> Plot:
        """Channels of any stretch of the log, thinned so that peaks stay.

        Args:
            start_s, end_s: Seconds since 1970; cut to what the log holds.
        """
        from analyzer.series import decimate

        with self.opened() as log:
            held = log.store.span()
            if held is None:
                return Plot()
            start_us = min(max(round(start_s * 1e6), held[0]), held[1])
            end_us = max(min(round(end_s * 1e6), held[1] + 1), start_us + 1)
            return decimate.window(log.store, channels, start_us, end_us, points, self._overview())

    def remember_day(self, channels: Callable[[Sequence[str]], Sequence[str]]) -> bool:
        """Reads one more of the last month's days for the charts; whether there may be another.

        Args:
            channels: Chooses from those that the log holds.
        """
        from analyzer.series import decimate

        with self.opened() as log:
            names = channels(tuple(log.store.channels()))
            return decimate.remember_day(log.store, names, self._overview())

    def trip_plot(
        self,
        number: int,
        channels: Sequence[str],
        points: int = 2000,
        stretch: tuple[float, float] | None = None,
        deep: bool = True,
    ) -> "TripPlot":
        """A trip's channels and what is worked out from them, thinned for drawing.

        Args:
            stretch: Start and end, seconds since 1970; None: the whole trip.
            deep: Also cells, sag and settled temperatures; else the power alone.
        """
        from analyzer.answers import trip_chart
        from analyzer.learned.kept_trips import find_trip

        names = tuple(channels)
        with self.opened() as log:
            record = find_trip(log, number)
            key = (record.start_us, record.end_us, names, deep, log.boat.model_dump_json())

            def work() -> "TripSeries":
                return trip_chart.trip_series(log, number, names, deep)

            trip = self._trips.ask(key, work)
        return trip_chart.trip_plot(trip, points, *(stretch or (None, None)))

    def around(self, number: int) -> "Around | None":
        """How far the boat could still go in every direction from where a trip ended."""
        from analyzer.answers import trip_chart

        with self.opened() as log:
            return trip_chart.around(log, number)

    def _overview(self) -> "Overview":
        """Remembers the minutes of long stretches for as long as the pages are served."""
        from analyzer.series.decimate import Overview

        if self._minutes is None:
            self._minutes = Overview()
        return self._minutes

    def frame(
        self, *channels: str, trip: int | None = None, step_s: float | None = 1.0
    ) -> "pd.DataFrame":
        """Channels as a data frame; see `analyzer.exchange.data_frame`."""
        from analyzer.exchange.data_frame import frame

        with self.opened() as log:
            return frame(log.store, *channels, trip=trip, step_s=step_s)

    def export(
        self,
        form: Form,
        out: BinaryIO,
        trip: int | None = None,
        channels: Sequence[str] = (),
        step_s: float | None = None,
    ) -> None:
        """Writes a trip, or the whole log, for other programs; it wants no boat.

        Raises:
            NoTrip, NoChannel, NoTrack, NotInstalled: See `analyzer.exchange`; nothing was written.
        """
        from analyzer.exchange import forms, rows
        from logger.store import Store

        with Store.open(self.path) as store:
            name = rows.boat_name(store)
            stretch = rows.choose(store, trip, channels, step_s)
            forms.write(store, form, stretch, out, f"{name}, trip {trip}" if trip else name)

    def mirror(self, url: str, channels: Sequence[str] = (), step_s: float | None = None) -> int:
        """Carries what is new into a database: readings, trips and flags; see `exchange.mirror`.

        Args:
            url: SQLAlchemy's, such as "postgresql+psycopg://user@host/name".
            channels: Names; none: all. step_s: Seconds from reading to reading; None: as they came.
        Returns:
            How many readings.
        Raises:
            CannotWrite, NotInstalled, NoChannel: The database or a channel cannot be used.
        """
        from analyzer.answers.transfer import mirroring

        # without a boat there is nothing that could be worked out
        known = bool(self.boat_text()[0])
        trips, flags = (self.trips(), self.flags()) if known else ((), ())
        return mirroring.mirror(self.path, url, channels, step_s, trips, flags)

    @contextmanager
    def telling(self, url: str) -> Iterator[Callable[[], int]]:
        """Something that tells a broker, each time, what is new; see `exchange.broker`.

        It gives how many messages were published.

        Raises:
            CannotWrite, NotInstalled: The broker cannot be reached.
        """
        from analyzer.answers.transfer.telling import News
        from analyzer.exchange.broker import Broker
        from analyzer.exchange.rows import boat_name
        from logger.store import Store

        news = News()
        with Store.open(self.path) as store, closing(Broker(url, boat_name(store))) as broker:

            def tell() -> int:
                found = list(news.of(self, store, time.monotonic()))
                for topic, value, keep in found:
                    broker.publish(topic, value, keep=keep)
                return len(found)

            yield tell


def open_log(log: str | Path, boat: str | Path | None = None, *, write: bool = False) -> Log:
    """Opens a log for questions; use it with `with`, or close it. The rest is as for `Log`.

    Raises:
        NoLog, LoggerError: There is none, or it cannot be read, or no boat file goes with it.
    """
    return Log(Path(log), Path(boat) if boat else None, write=write).__enter__()
