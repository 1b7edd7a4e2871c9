"""What the faces ask: one method per question.

The command line, the pages and the HTTP API all ask here, so that they cannot differ; a log
answers (`log_desk.py`), and in tests invented answers stand in its place.
"""

from collections.abc import Callable, Hashable, Sequence
from typing import TYPE_CHECKING, BinaryIO, Literal, Protocol

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

if TYPE_CHECKING:
    from analyzer.answers.hull import HindcastAnswer, HullAnswer
    from analyzer.answers.passage import PlanAnswer, PlanWish
    from analyzer.answers.trends import Course, PackHealth
    from analyzer.answers.trip_chart import Around, TripPlot
    from analyzer.faces.report.report import Report

Stream = tuple[float, float]  # m/s, degrees towards
Wind = tuple[float, float]  # m/s, degrees from
Progress = Callable[[float], None]  # share done
Form = Literal["csv", "parquet", "gpx", "log"]


class Desk(Protocol):
    """Every question a face can ask. Errors: LoggerError and AnalyzerError."""

    def range_left(
        self,
        speed_mps: float | None = None,
        stream: Stream | None = None,
        home: WayHome | None = None,
        wind: Wind | None = None,
    ) -> RangeAnswer: ...

    def trips(self) -> tuple[TripRow, ...]: ...

    def review(self, number: int | None = None) -> ReviewAnswer: ...

    def cells(self) -> CellsAnswer: ...

    def cables(self) -> CablesAnswer: ...

    def flags(self) -> tuple[FlagView, ...]: ...

    def plot(self, number: int | None, channels: Sequence[str], points: int = 2000) -> Plot: ...

    def window(
        self, channels: Sequence[str], start_s: float, end_s: float, points: int = 2000
    ) -> Plot: ...

    def remember_day(self) -> bool: ...

    def span(self) -> tuple[float, float] | None: ...

    def trip_plot(
        self,
        number: int,
        channels: Sequence[str],
        points: int = 2000,
        stretch: tuple[float, float] | None = None,
        deep: bool = True,
    ) -> "TripPlot": ...

    def around(self, number: int) -> "Around | None": ...

    def pack(self) -> "PackHealth": ...

    def cable_courses(self) -> "dict[str, Course]": ...

    def cell_course(self, cell: str) -> "Course": ...

    def flag_seen(self, number: int) -> None: ...

    def report(self, number: int | None) -> "Report": ...

    def check(self, there: tuple[str, ...] = ()) -> CheckAnswer: ...

    def refresh(self, progress: Progress | None = None) -> None: ...

    def new_s(self) -> float: ...

    def newest_utc_s(self) -> float | None: ...

    def now_utc_s(self) -> float: ...

    def place(self) -> tuple[float, float, float] | None: ...

    def home(self) -> tuple[float, float, str] | None: ...

    def channels(self) -> tuple[str, ...]: ...

    def state(self) -> Hashable: ...

    def hull(self) -> "HullAnswer": ...

    def plan(self, wish: "PlanWish") -> "PlanAnswer": ...

    def boat_text(self) -> tuple[str, str]: ...

    def save_boat(self, text: str) -> None: ...

    def export(
        self,
        form: Form,
        out: BinaryIO,
        trip: int | None,
        channels: Sequence[str] = (),
        step_s: float | None = None,
    ) -> None: ...

    def hindcast(self, number: int, each_s: float = 300.0) -> "HindcastAnswer": ...
