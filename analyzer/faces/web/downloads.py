"""Readings to take away: a trip as CSV, Parquet or GPX, and the whole log packed."""

import tempfile
from collections.abc import Iterator
from enum import StrEnum
from typing import IO, Annotated, Any, Literal

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import Response, StreamingResponse

from analyzer.answers import Log
from analyzer.answers.log import Form
from analyzer.faces.web.api.parameters import ERRORS, TripNumber, channels_of, known_only
from analyzer.faces.web.page import log_of

router = APIRouter(prefix="/api/v1/export", tags=["downloads"], dependencies=[Depends(known_only)])
paper = APIRouter(include_in_schema=False)  # the printed report, from the pages

Step = Annotated[
    float | None,
    Query(ge=1, le=3600, description="seconds from row to row; else every reading at its time"),
]
Channels = Annotated[str, Query(description="names, with commas between; else all")]


class Ending(StrEnum):
    """How a trip's download ends."""

    CSV = "csv"
    PARQUET = "parquet"
    GPX = "gpx"


KIND = {
    "csv": "text/csv; charset=utf-8",
    "parquet": "application/vnd.apache.parquet",
    "gpx": "application/gpx+xml; charset=utf-8",
    "log": "application/zstd",
}
_FILES: dict[int | str, dict[str, Any]] = {
    200: {"content": {kind.partition(";")[0]: {} for kind in KIND.values()}}
}


@router.get("/{number}.{ending}", responses={**_FILES, **ERRORS}, response_class=StreamingResponse)
def trip(
    request: Request,
    number: TripNumber,
    ending: Ending,
    channels: Channels = "",
    step_s: Step = None,
) -> Response:
    """Channels of a trip as a file; as GPX its track."""
    names = channels_of(log_of(request), channels)
    return _file(log_of(request), ending.value, number, names, step_s, f"trip_{number}.{ending}")


@router.get("/log", responses={**_FILES, **ERRORS}, response_class=StreamingResponse)
def log(request: Request) -> Response:
    """The whole log packed, which `keelwatt import` opens elsewhere."""
    return _file(log_of(request), "log", None, (), None, "log.sqlite.zst")


def _file(
    log: Log,
    form: Form,
    number: int | None,
    names: tuple[str, ...],
    step_s: float | None,
    name: str,
) -> Response:
    # Written to a file first: a fault is then an answer, not half a download.
    file = tempfile.TemporaryFile()  # noqa: SIM115 - see _pieces
    try:
        log.export(form, file, number, names, step_s)
    except BaseException:
        file.close()
        raise
    size = file.tell()
    file.seek(0)
    headers = {
        "Content-Type": KIND[form],
        "Content-Disposition": f'attachment; filename="{name}"',
        "Content-Length": str(size),
    }
    return StreamingResponse(_pieces(file), headers=headers)


def _pieces(file: IO[bytes]) -> Iterator[bytes]:
    with file:
        while piece := file.read(65_536):
            yield piece


@paper.get("/trip/{number}/report.{kind}")
def report(request: Request, number: int, kind: Literal["html", "pdf"]) -> Response:
    """The printed report, to be kept: it is one file that needs nothing else."""
    from analyzer.faces.report.pdf import pdf
    from analyzer.faces.report.report import html
    from analyzer.faces.report.write import build

    made = build(log_of(request), number)
    body, media = (pdf(made), "application/pdf") if kind == "pdf" else (html(made), "text/html")
    name = f"keelwatt-trip-{number}.{kind}"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(body, media_type=media, headers=headers)
