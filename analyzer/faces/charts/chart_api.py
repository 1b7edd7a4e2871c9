"""What the charts' script fetches: each group of charts once, and finer figures when it zooms."""

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import JSONResponse, Response

from analyzer.estimation.results import FlagView, Plot, TripRow
from analyzer.faces import units
from analyzer.faces.charts.columns import Chart
from analyzer.faces.web import header_middleware
from analyzer.faces.web.page import log_of, remembered, render
from logger.units import DAY_S

POINTS = 2400  # two for each bin: about as many bins as a wide screen has pixels; assumed
FIRST_DAYS = 2.0  # of a long log that are shown at once; assumed

router = APIRouter(include_in_schema=False)

Seconds = Annotated[
    float, Query(ge=-1e11, le=1e11, allow_inf_nan=False, description="seconds since 1970")
]


class Part(StrEnum):
    """A group of a trip's charts."""

    WAY = "way"
    PACK = "pack"
    TRACK = "track"


@router.get("/trip/{number}/charts/{part}.json")
def trip_charts(request: Request, number: int, part: Part, look: str = "day") -> Response:
    """A group of a trip's charts for the page's script to embed; null where there is nothing."""
    item = remembered(
        request,
        ("charts", number, part, look, units.now()),
        lambda: _trip_item(request, number, part, look),
    )
    return JSONResponse(item)


@router.get("/trip/{number}/columns/{part}.json")
def trip_columns(
    request: Request, number: int, part: Part, start_s: Seconds, end_s: Seconds
) -> Response:
    """The figures of a stretch of a trip, for a group that was zoomed."""
    plot, shown = _trip(request, number, part, (start_s, end_s))
    return JSONResponse(_columns(plot, shown))


def _trip(
    request: Request, number: int, part: Part, stretch: tuple[float, float] | None = None
) -> tuple[Plot, list[Chart]]:
    from analyzer.faces.charts import columns

    log = log_of(request)
    names = columns.wanted(log.channels())
    deep = part is Part.PACK
    found = log.trip_plot(number, names, POINTS, stretch, deep)
    if deep:
        return found.plot, columns.pack_charts(found.plot, found.lowest, found.probes)
    return found.plot, columns.way_charts(found.plot)


def _trip_item(request: Request, number: int, part: Part, look: str) -> Any:
    from analyzer.faces.charts import bokeh_charts, columns

    plot, shown = _trip(request, number, part)
    if part is not Part.TRACK:
        return bokeh_charts.group(shown, plot, _flags(request, plot), look)
    way = columns.track(plot)
    around = log_of(request).around(number)
    place = (around.latitude_deg, around.longitude_deg) if around else None
    rings = columns.rings(plot, place, around.rows) if around and place else None
    return bokeh_charts.track(way, rings, look) if way else None


@dataclass(frozen=True)
class Stretch:
    """A stretch of the log to jump to; its ends as the charts' axis counts them."""

    text: str
    start_ms: float
    end_ms: float


@router.get("/log")
def log(request: Request) -> Response:
    """The whole log, to pan and zoom."""
    log = log_of(request)
    span = log.span()
    return render(
        request,
        "log.html",
        policy=header_middleware.WITH_CHARTS,
        span=span,
        shift_ms=shift_ms(span[0] if span else 0.0),
        stretches=_stretches(span, log.trips()) if span else [],
    )


def shift_ms(utc_s: float) -> float:
    """What the charts' axis is ahead of UTC."""
    from analyzer.faces.charts import columns

    return columns.zone_offset_s([utc_s]) * 1e3


def _stretches(span: tuple[float, float], trips: tuple[TripRow, ...]) -> list[Stretch]:
    shift = shift_ms(span[0])

    def of(text: str, start_s: float, end_s: float) -> Stretch:
        return Stretch(text, start_s * 1e3 + shift, end_s * 1e3 + shift)

    lasts = span[1] - span[0]
    found = [
        of(text, span[1] - seconds, span[1])
        for text, seconds in (
            ("last day", DAY_S),
            ("last week", 7 * DAY_S),
            ("last month", 30 * DAY_S),
        )
        if seconds < lasts
    ]
    found.append(of("all of it", *span))
    return found + [of(f"trip {t.number}", t.start_utc_s, t.end_utc_s) for t in trips[:-4:-1]]


@router.get("/log/charts.json")
def log_charts(request: Request, look: str = "day") -> Response:
    """The log's newest days as charts that can be panned to its beginning."""
    from analyzer.faces.charts import bokeh_charts

    span = log_of(request).span()
    if span is None:
        return JSONResponse(None)
    start_s = max(span[0], span[1] - FIRST_DAYS * DAY_S)
    plot, shown = _log(request, start_s, span[1])
    return JSONResponse(bokeh_charts.group(shown, plot, _flags(request, plot), look, span))


@router.get("/log/columns.json")
def log_columns(request: Request, start_s: Seconds, end_s: Seconds) -> Response:
    """The figures of a stretch of the log."""
    return JSONResponse(_columns(*_log(request, start_s, end_s)))


def _log(request: Request, start_s: float, end_s: float) -> tuple[Plot, list[Chart]]:
    from analyzer.faces.charts import columns

    log = log_of(request)
    names = [n for n in columns.wanted(log.channels()) if not n.endswith("tude_deg")]
    plot = log.window(names, start_s, end_s, POINTS)
    return plot, columns.log_charts(plot)


def _columns(plot: Plot, shown: list[Chart]) -> dict[str, list[float | None]]:
    from analyzer.faces.charts import columns

    every = {"t_ms": columns.times_ms(plot), **columns.columns(shown)}
    return {
        name: [round(v, 5) if math.isfinite(v) else None for v in values.tolist()]
        for name, values in every.items()
    }


def _flags(request: Request, plot: Plot) -> list[FlagView]:
    return [flag for flag in log_of(request).flags() if _overlaps(flag, plot)]


def _overlaps(flag: FlagView, plot: Plot) -> bool:
    if not plot.t_utc_s:
        return False
    ended = flag.cleared_utc_s is not None and flag.cleared_utc_s < plot.t_utc_s[0]
    return not ended and flag.raised_utc_s <= plot.t_utc_s[-1]
