"""Two trips side by side."""

from collections.abc import Callable
from functools import partial
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response

from analyzer.answers import Log
from analyzer.estimation.estimate import Estimate
from analyzer.estimation.results import ReviewAnswer, TripRow
from analyzer.faces import format, sentences
from analyzer.faces.web import header_middleware
from analyzer.faces.web.page import log_of, remembered, render

POINTS = 1200  # of each line, assumed

router = APIRouter(include_in_schema=False)

ROWS: tuple[tuple[str, Callable[[TripRow], str]], ...] = (
    ("Began", lambda row: format.day(row.start_utc_s)),
    ("Lasted", lambda row: format.duration(row.end_utc_s - row.start_utc_s)),
    ("Went", lambda row: format.miles(row.distance_m)),
    ("Mean speed", lambda row: _mean_speed(row)),
    ("Motoring", lambda row: format.duration(row.under_motor_s)),
    ("Out of the pack", lambda row: format.energy(row.energy_out_wh)),
    ("Back into it", lambda row: format.energy(row.energy_in_wh)),
    ("Motoring took", lambda row: format.consumption(row.motoring_wh_per_m)),
    ("Charge at the start", lambda row: sentences.mid_band(row.charge_start)),
    ("Charge at the end", lambda row: sentences.mid_band(row.charge_end)),
)


@router.get("/compare")
def compare(request: Request, a: int, b: int) -> Response:
    """What two trips took and gave back."""
    log = log_of(request)
    both = [
        remembered(request, ("review", number), partial(log.review, number)) for number in (a, b)
    ]
    rows = [(text, [say(one.trip) for one in both]) for text, say in ROWS]
    return render(
        request,
        "compare.html",
        policy=header_middleware.WITH_CHARTS,
        both=both,
        rows=rows,
        ledger=ledger(*both),
    )


@router.get("/compare/charts.json")
def charts(request: Request, a: int, b: int, look: str = "day") -> Response:
    """Speed and power of two trips over the time since each began."""
    return JSONResponse(
        remembered(request, ("compare", a, b, look), lambda: _item(log_of(request), a, b, look))
    )


def _item(log: Log, a: int, b: int, look: str) -> Any:
    from analyzer.faces.charts import bokeh_charts as drawn
    from analyzer.faces.charts import columns

    names = ("speed_water_mps", "speed_ground_mps", "pack_voltage_v", "pack_current_a")
    plots = [log.trip_plot(number, names, POINTS, None, False).plot for number in (a, b)]
    both = columns.together(plots)
    shown = columns.two_trips(both, (f"trip {a}", f"trip {b}"))
    return drawn.group(shown, both, (), look, dated=False)


def ledger(a: ReviewAnswer, b: ReviewAnswer) -> list[tuple[str, list[Estimate | None]]]:
    """The lines of both ledgers, in order; None where a trip has no such line."""
    found = [{row.text: row.energy for row in one.ledger} for one in (a, b)]
    texts = list(dict.fromkeys(row.text for one in (a, b) for row in one.ledger))
    return [(text, [each.get(text) for each in found]) for text in texts]


def _mean_speed(row: TripRow) -> str:
    seconds = row.end_utc_s - row.start_utc_s
    return format.knots(row.distance_m / seconds if row.distance_m and seconds > 0 else None)
