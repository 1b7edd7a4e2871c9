"""A log's answers to the faces' questions; it is opened for each.

Heavy imports wait until a question is asked.
"""

import time
from collections.abc import Hashable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

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
from analyzer.faces.desk import Form, Progress, Stream, Wind
from analyzer.faces.web.cache import Memory
from logger.units import UNDATED_S

if TYPE_CHECKING:
    from analyzer.answers import Context
    from analyzer.answers.hull import HindcastAnswer, HullAnswer
    from analyzer.answers.passage import PlanAnswer, PlanWish
    from analyzer.answers.trends import Course, PackHealth
    from analyzer.answers.trip_chart import Around, TripPlot, TripSeries
    from analyzer.faces.report.report import Report
    from analyzer.series.decimate import Overview


class LogDesk:
    """Answers from a log on disk."""

    def __init__(self, log: Path, boat: Path | None) -> None:
        self.log = log
        self.boat = boat
        self._minutes: Overview | None = None
        self._trips = Memory(lambda: None, most=3)
        self._past = Memory(lambda: None, most=64)

    @contextmanager
    def context(self, write: bool = False) -> "Iterator[Context]":
        """The opened log and its boat; closed afterwards."""
        from analyzer import answers

        context = answers.open_log(self.log, self.boat, write=write)
        try:
            yield context
        finally:
            context.close()

    def range_left(
        self,
        speed_mps: float | None = None,
        stream: Stream | None = None,
        home: WayHome | None = None,
        wind: Wind | None = None,
    ) -> RangeAnswer:
        """How far, for how long, what ends it."""
        from analyzer import answers

        with self.context() as ctx:
            return answers.range_left(ctx, speed_mps, stream, home, wind)

    def trips(self) -> tuple[TripRow, ...]:
        """The list of trips, oldest first."""
        from analyzer import answers

        with self.context() as ctx:
            return answers.trips(ctx)

    def review(self, number: int | None = None) -> ReviewAnswer:
        """One trip explained; the newest where no number is given."""
        from analyzer import answers

        with self.context() as ctx:
            return answers.review(ctx, number)

    def cells(self) -> CellsAnswer:
        """Health of the cells."""
        from analyzer import answers

        with self.context() as ctx:
            return answers.cells(ctx)

    def cables(self) -> CablesAnswer:
        """Health of the cables."""
        from analyzer import answers

        with self.context() as ctx:
            return answers.cables(ctx)

    def flags(self) -> tuple[FlagView, ...]:
        """All flags, those that stand first."""
        from analyzer import answers

        with self.context() as ctx:
            return answers.flags(ctx)

    def plot(self, number: int | None, channels: Sequence[str], points: int = 2000) -> Plot:
        """Channels of one trip, thinned so that peaks stay."""
        from analyzer import answers
        from analyzer.series import decimate

        with self.context() as ctx:
            trip = answers.find_trip(ctx, number)
            return decimate.window(ctx.store, channels, trip.start_us, trip.end_us, points)

    def window(
        self, channels: Sequence[str], start_s: float, end_s: float, points: int = 2000
    ) -> Plot:
        """Channels of any stretch of the log, thinned so that peaks stay.

        Args:
            start_s, end_s: Seconds since 1970; cut to what the log holds.
        """
        from analyzer.series import decimate

        with self.context() as ctx:
            held = ctx.store.span()
            if held is None:
                return Plot()
            start_us = min(max(round(start_s * 1e6), held[0]), held[1])
            end_us = max(min(round(end_s * 1e6), held[1] + 1), start_us + 1)
            return decimate.window(ctx.store, channels, start_us, end_us, points, self._overview())

    def remember_day(self) -> bool:
        """Reads one more of the last month's days for the charts; whether there may be another."""
        from analyzer.faces.charts import columns
        from analyzer.series import decimate

        with self.context() as ctx:
            names = columns.wanted(ctx.store.channels())
            return decimate.remember_day(ctx.store, names, self._overview())

    def span(self) -> tuple[float, float] | None:
        """When the log's first and newest readings were; None where there is none."""
        with self.context() as ctx:
            held = ctx.store.span()
        return (held[0] / 1e6, held[1] / 1e6) if held else None

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
        from analyzer import answers
        from analyzer.answers import trip_chart

        names = tuple(channels)
        with self.context() as ctx:
            record = answers.find_trip(ctx, number)
            key = (record.start_us, record.end_us, names, deep, ctx.boat.model_dump_json())

            def work() -> "TripSeries":
                return trip_chart.trip_series(ctx, number, names, deep)

            trip = self._trips.ask(key, work)
        return trip_chart.trip_plot(trip, points, *(stretch or (None, None)))

    def around(self, number: int) -> "Around | None":
        """How far the boat could still go in every direction from where a trip ended."""
        from analyzer.answers import trip_chart

        with self.context() as ctx:
            return trip_chart.around(ctx, number)

    def pack(self) -> "PackHealth":
        """Capacity and resistance, now and before."""
        from analyzer.answers import trends

        with self.context() as ctx:
            return trends.pack(ctx)

    def cable_courses(self) -> "dict[str, Course]":
        """How each cable's joint went from trip to trip."""
        from analyzer.answers import trends

        with self.context() as ctx:
            return trends.cable_courses(ctx)

    def cell_course(self, cell: str) -> "Course":
        """How a cell's resistance went from trip to trip."""
        from analyzer.answers import trends

        with self.context() as ctx:
            boat = ctx.boat.model_dump_json()
            return trends.cell_course(
                ctx,
                cell,
                lambda trip, ask: self._past.ask((trip.start_us, trip.end_us, boat), ask),
            )

    def _overview(self) -> "Overview":
        """Remembers the minutes of long stretches for as long as the pages are served."""
        from analyzer.series.decimate import Overview

        if self._minutes is None:
            self._minutes = Overview()
        return self._minutes

    def check(self, there: tuple[str, ...] = ()) -> CheckAnswer:
        """What arrives, what is wrong, what can be answered; also before there is a log.

        Args:
            there: Ports and buses of this computer, as text.
        """
        from analyzer import answers
        from logger import boat

        if self.boat is not None and not self.log.is_file():
            return answers.check(boat.load(self.boat), None, there)
        with self.context() as ctx:
            return answers.check(ctx.boat, ctx.store, there)

    def flag_seen(self, number: int) -> None:
        """Somebody has seen a flag: its tone stops, and displays on board show it acknowledged.

        Raises:
            NoFlag: There is none of that number.
        """
        from analyzer.errors import NoFlag

        with self.context(write=True) as ctx:
            if number not in {flag.number for flag in ctx.store.flags()}:
                raise NoFlag(f"the log holds no flag {number}")
            span = ctx.store.span()
            ctx.store.update_flag(number, seen_us=span[1] if span else 0)

    def refresh(self, progress: Progress | None = None) -> None:
        """Finds trips and runs the watch over what is new in the log."""
        from analyzer import answers

        with self.context(write=True) as ctx:
            answers.refresh(ctx, progress)

    def new_s(self) -> float:
        """How much of the log's end has not been looked through. [s]"""
        from analyzer.learned.keys import new_s

        with self.context() as ctx:
            return new_s(ctx)

    def newest_utc_s(self) -> float | None:
        """When the newest reading was; None where there is none."""
        with self.context() as ctx:
            span = ctx.store.span()
        return span[1] / 1e6 if span else None

    def now_utc_s(self) -> float:
        """What time it is by the log's clock where it is of this boot, else by the system's."""
        with self.context() as ctx:
            span, age_s = ctx.store.span(), ctx.store.age_s()
        if span is None or age_s is None or span[1] / 1e6 < UNDATED_S:
            return time.time()
        return span[1] / 1e6 + age_s

    def place(self) -> tuple[float, float, float] | None:
        """Latitude, longitude [deg] and the time they were measured; else home's, without time.

        Returns:
            None where neither is known; a time of 0 where it is home's place.
        """
        with self.context() as ctx:
            latitude, longitude = (
                ctx.store.last(name) for name in ("latitude_deg", "longitude_deg")
            )
            home = ctx.boat.home
        if latitude and longitude:
            return latitude[1], longitude[1], latitude[0] / 1e6
        return (home.latitude_deg, home.longitude_deg, 0.0) if home else None

    def home(self) -> tuple[float, float, str] | None:
        """The boat file's home: latitude, longitude [deg] and name; None where it has none."""
        with self.context() as ctx:
            home = ctx.boat.home
        return (home.latitude_deg, home.longitude_deg, home.name) if home else None

    def export(
        self,
        form: Form,
        out: BinaryIO,
        trip: int | None,
        channels: Sequence[str] = (),
        step_s: float | None = None,
    ) -> None:
        """Writes a trip, or the whole log, for other programs."""
        from analyzer.exchange import forms, rows

        with self.context() as ctx:
            stretch = rows.choose(ctx.store, trip, channels, step_s)
            name = f"{ctx.boat.name}, trip {trip}" if trip else ctx.boat.name
            forms.write(ctx.store, form, stretch, out, name)

    def report(self, number: int | None) -> "Report":
        """A trip's printed report; the newest's where no number is given."""
        from analyzer.faces.report import write as report_file

        with self.context() as ctx:
            return report_file.build(ctx, number)

    def write_report(self, path: Path, trip: int | None) -> None:
        """A trip's report for printing; the ending of its name says HTML or PDF.

        Raises:
            AnalyzerError: The name ends in neither, or there is no such trip.
        """
        from analyzer.faces.report import write as report_file

        with self.context() as ctx:
            report_file.write(ctx, path, trip)

    def hindcast(self, number: int, each_s: float = 300.0) -> "HindcastAnswer":
        """What the range answer would have been during a trip, against what then happened."""
        from analyzer import answers
        from analyzer.answers.hull import hindcast_trip

        with self.context() as ctx:
            return hindcast_trip(ctx, answers.find_trip(ctx, number), each_s)

    def hull(self) -> "HullAnswer":
        """Power against speed, and what growth costs."""
        from analyzer.answers.hull import hull_state

        with self.context() as ctx:
            return hull_state(ctx)

    def plan(self, wish: "PlanWish") -> "PlanAnswer":
        """Whether a passage works."""
        from analyzer.answers.passage import plan_passage

        with self.context() as ctx:
            return plan_passage(ctx, wish)

    def channels(self) -> tuple[str, ...]:
        """Names of the channels that the log holds."""
        with self.context() as ctx:
            return tuple(ctx.store.channels())

    def state(self) -> Hashable:
        """Something that differs whenever the log or the boat file has changed."""
        # SQLite makes an empty file beside the log whenever it is looked at: only one that holds
        # something says that something was written.
        beside = _stamp(self.log.with_name(self.log.name + "-wal"))
        return _stamp(self.log), beside if beside and beside[1] else None, _stamp(self.boat)

    def boat_text(self) -> tuple[str, str]:
        """The boat file's text and where it is; the log's own copy where there is no file."""
        from analyzer.faces.web.set_up import boat_file

        return boat_file.text(self.boat, self.log)

    def save_boat(self, text: str) -> None:
        """Puts a boat file in the place of the old, if nothing is wrong with it; whole or not.

        Raises:
            BoatFileError: What is wrong, a sentence a line; the old one stays.
        """
        from analyzer.faces.web.set_up import boat_file

        boat_file.save(self.boat, self.log, text)


def _stamp(path: Path | None) -> tuple[int, int] | None:
    try:
        found = path.stat() if path else None
    except OSError:
        return None
    return (found.st_mtime_ns, found.st_size) if found else None
