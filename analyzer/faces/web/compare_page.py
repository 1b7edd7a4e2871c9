"""Two trips side by side."""

from collections.abc import Callable
from functools import partial
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response

from analyzer.answers import Log
from analyzer.estimation.estimate import Estimate
from analyzer.estimation.results import ReviewAnswer, TripRow
from analyzer.faces import format, sentences, units
from analyzer.faces.web import header_middleware
from analyzer.faces.web.page import log_of, remembered, render

POINTS = 1200  # of each line, assumed

router = APIRouter(include_in_schema=False)


def _mean_speed(row: TripRow) -> str:
    seconds = row.end_utc_s - row.start_utc_s
    mean_mps = None
    if row.distance_m and seconds > 0:
        mean_mps = row.distance_m / seconds
    return format.knots(mean_mps)


ROWS: tuple[tuple[str, Callable[[TripRow], str]], ...] = (
    ("Began", lambda row: format.day(row.start_utc_s)),
    ("Lasted", lambda row: format.duration(row.end_utc_s - row.start_utc_s)),
    ("Went", lambda row: format.miles(row.distance_m)),
    ("Mean speed", _mean_speed),
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
    both = []
    for number in (a, b):
        review = partial(log.review, number)
        both.append(remembered(request, ("review", number), review))
    rows = []
    for text, say in ROWS:
        said = [say(answer.trip) for answer in both]
        rows.append((text, said))
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
    log = log_of(request)
    draw = partial(_item, log, a, b, look)
    item = remembered(request, ("compare", a, b, look, units.now()), draw)
    return JSONResponse(item)


def _item(log: Log, a: int, b: int, look: str) -> Any:
    from analyzer.faces.charts import bokeh_charts as drawn
    from analyzer.faces.charts import columns

    names = ("speed_water_mps", "speed_ground_mps", "pack_voltage_v", "pack_current_a")
    plots = [log.trip_plot(number, names, POINTS, None, False).plot for number in (a, b)]
    both = columns.together(plots)
    legends = (f"trip {a}", f"trip {b}")
    shown = columns.two_trips(both, legends)
    return drawn.group(shown, both, (), look, dated=False)


def ledger(a: ReviewAnswer, b: ReviewAnswer) -> list[tuple[str, list[Estimate | None]]]:
    """The lines of both ledgers, in order; None where a trip has no such line."""
    of_a = {row.text: row.energy for row in a.ledger}
    of_b = {row.text: row.energy for row in b.ledger}
    lines = []
    for text in of_a | of_b:
        energies = [of_a.get(text), of_b.get(text)]
        lines.append((text, energies))
    return lines
