"""A trip's report as a file: asks what it needs, and writes HTML or PDF."""

from pathlib import Path

from analyzer import answers
from analyzer.answers.hull import hindcast_trip
from analyzer.errors import AnalyzerError, NoTrip
from analyzer.faces.report import report
from analyzer.range.hindcast import Hindcast
from analyzer.series.log import Context

POINTS = 600  # of each line in its charts
ASK_S = 300.0  # between the moments of the hindcast


def write(ctx: Context, path: Path, trip: int | None) -> None:
    """Writes the report of a trip, or of the newest; the ending of the name says HTML or PDF.

    Raises:
        AnalyzerError: The name ends in neither, or there is no such trip.
    """
    kind = path.suffix.lower()
    if kind not in (".html", ".pdf"):
        raise AnalyzerError(f"a report's name must end in .html or .pdf, got {path.name!r}")
    paper = build(ctx, trip)
    if kind == ".html":
        path.write_text(report.html(paper), encoding="utf-8")
        return
    from analyzer.faces.report.pdf import pdf

    path.write_bytes(pdf(paper))


def build(ctx: Context, trip: int | None) -> report.Report:
    """The report of a trip, or of the newest."""
    review = answers.review(ctx, trip)
    names = report.channels(tuple(ctx.store.channels()))
    plot = answers.plot(ctx, trip, names, POINTS)
    return report.report(ctx.boat.name, review, plot, _hindcast(ctx, trip))


def _hindcast(ctx: Context, trip: int | None) -> Hindcast | None:
    try:
        return hindcast_trip(ctx, answers.find_trip(ctx, trip), ASK_S).hindcast
    except NoTrip:  # what the range rests on was not measured
        return None
