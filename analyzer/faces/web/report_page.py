"""A trip's report to take away from the pages, as HTML or PDF."""

from typing import Literal

from fastapi import APIRouter, Request
from fastapi.responses import Response

from analyzer.faces.web.page import desk_of

router = APIRouter(include_in_schema=False)


@router.get("/trip/{number}/report.{kind}")
def report(request: Request, number: int, kind: Literal["html", "pdf"]) -> Response:
    """The printed report, to be kept: it is one file that needs nothing else."""
    from analyzer.faces.report.pdf import pdf
    from analyzer.faces.report.report import html

    paper = desk_of(request).report(number)
    body, media = (pdf(paper), "application/pdf") if kind == "pdf" else (html(paper), "text/html")
    name = f"keelwatt-trip-{number}.{kind}"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(body, media_type=media, headers=headers)
