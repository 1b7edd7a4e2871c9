"""A trip's report as a file: asks what it needs, and writes HTML or PDF."""

from pathlib import Path

from analyzer.answers import Log
from analyzer.answers.hull import Hindcast
from analyzer.errors import AnalyzerError, NoTrip
from analyzer.faces.report import report

POINTS = 600  # of each line in its charts, assumed
ASK_S = 300.0  # between the moments of the hindcast, assumed


def write(log: Log, path: Path, trip: int | None) -> None:
    """Writes the report of a trip, or of the newest; the ending of the name says HTML or PDF.

    Raises:
        AnalyzerError: The name ends in neither, or there is no such trip.
    """
    _kind(path)
    write_paper(build(log, trip), path)


def _kind(path: Path) -> str:
    kind = path.suffix.lower()
    if kind not in (".html", ".pdf"):
        raise AnalyzerError(f"a report's name must end in .html or .pdf, got {path.name!r}")
    return kind


def write_paper(paper: report.Report, path: Path) -> None:
    """Writes a report; the ending of the name says HTML or PDF.

    Raises:
        AnalyzerError: The name ends in neither.
    """
    kind = _kind(path)
    if kind == ".html":
        path.write_text(report.html(paper), encoding="utf-8")
        return
    from analyzer.faces.report.pdf import pdf

    path.write_bytes(pdf(paper))


def build(log: Log, trip: int | None) -> report.Report:
    """The report of a trip, or of the newest."""
    names = report.channels(log.channels())
    plot = log.plot(trip, names, POINTS)
    return report.report(log.boat_name(), log.review(trip), plot, _hindcast(log, trip))


def _hindcast(log: Log, trip: int | None) -> Hindcast | None:
    try:
        return log.hindcast(trip, ASK_S).hindcast
    except NoTrip:  # what the range rests on was not measured
        return None
