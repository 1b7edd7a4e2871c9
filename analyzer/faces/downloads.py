"""A trip to take away: CSV and GPX."""

import tempfile
from collections.abc import Iterator
from typing import IO, Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response, StreamingResponse

from analyzer.faces.page import desk_of
from analyzer.faces.questions import ERRORS, TripNumber

router = APIRouter(prefix="/api/v1/export", tags=["downloads"])

Step = Annotated[float, Query(ge=1, le=3600, description="seconds from row to row")]


@router.get(
    "/{number}.csv",
    responses={200: {"content": {"text/csv": {}}}, **ERRORS},
    response_class=StreamingResponse,
)
def csv(
    request: Request,
    number: TripNumber,
    channels: Annotated[str, Query(description="names, with commas between; else all")] = "",
    step_s: Step = 1.0,
) -> Response:
    """Channels of a trip, a row a step; a missing value is empty."""
    names = tuple(name for name in channels.split(",") if name)
    # Written to a file first: a fault is then an answer, not half a download.
    file = tempfile.TemporaryFile("w+", encoding="utf-8", newline="")  # noqa: SIM115 - see _pieces
    try:
        desk_of(request).write_csv(file, number, names, step_s)
    except BaseException:
        file.close()
        raise
    file.seek(0)
    return StreamingResponse(_pieces(file), headers=_named(f"trip_{number}.csv", "text/csv"))


@router.get(
    "/{number}.gpx",
    responses={200: {"content": {"application/gpx+xml": {}}}, **ERRORS},
    response_class=Response,
)
def gpx(request: Request, number: TripNumber, step_s: Step = 5.0) -> Response:
    """A trip's track."""
    text = desk_of(request).gpx(number, step_s)
    return Response(text, headers=_named(f"trip_{number}.gpx", "application/gpx+xml"))


def _pieces(file: IO[str]) -> Iterator[str]:
    with file:
        while piece := file.read(65_536):
            yield piece


def _named(name: str, kind: str) -> dict[str, str]:
    return {
        "Content-Type": f"{kind}; charset=utf-8",
        "Content-Disposition": f'attachment; filename="{name}"',
    }
