"""Two trips side by side."""

from collections.abc import Callable
from functools import partial

from fastapi import APIRouter, Request
from fastapi.responses import Response

from analyzer.estimate import Estimate
from analyzer.faces import sentences, words
from analyzer.faces.page import desk_of, remembered, render
from analyzer.results import ReviewAnswer, TripRow

router = APIRouter(include_in_schema=False)

ROWS: tuple[tuple[str, Callable[[TripRow], str]], ...] = (
    ("Began", lambda row: words.day(row.start_utc_s)),
    ("Lasted", lambda row: words.duration(row.end_utc_s - row.start_utc_s)),
    ("Went", lambda row: words.miles(row.distance_m)),
    ("Mean speed", lambda row: _mean_speed(row)),
    ("Motoring", lambda row: words.duration(_motoring_s(row))),
    ("Out of the pack", lambda row: words.energy(row.energy_out_wh)),
    ("Back into it", lambda row: words.energy(row.energy_in_wh)),
    ("Motoring took", lambda row: words.consumption(row.motoring_wh_per_m)),
    ("Charge at the start", lambda row: sentences.mid_band(row.charge_start)),
    ("Charge at the end", lambda row: sentences.mid_band(row.charge_end)),
)


@router.get("/compare")
def compare(request: Request, a: int, b: int) -> Response:
    """What two trips took and gave back."""
    desk = desk_of(request)
    both = [
        remembered(request, ("review", number), partial(desk.review, number)) for number in (a, b)
    ]
    rows = [(text, [say(one.trip) for one in both]) for text, say in ROWS]
    return render(request, "compare.html", both=both, rows=rows, ledger=ledger(*both))


def ledger(a: ReviewAnswer, b: ReviewAnswer) -> list[tuple[str, list[Estimate | None]]]:
    """The lines of both ledgers, in order; None where a trip has no such line."""
    found = [{row.text: row.energy for row in one.ledger} for one in (a, b)]
    texts = list(dict.fromkeys(row.text for one in (a, b) for row in one.ledger))
    return [(text, [each.get(text) for each in found]) for text in texts]


def _motoring_s(row: TripRow) -> float:
    return sum(leg.end_utc_s - leg.start_utc_s for leg in row.legs if leg.kind == "motoring")


def _mean_speed(row: TripRow) -> str:
    seconds = row.end_utc_s - row.start_utc_s
    return words.knots(row.distance_m / seconds if row.distance_m and seconds > 0 else None)
