"""A season on a page, and as a paper to keep."""

from functools import partial
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from pydantic import field_validator

from analyzer.answers.health.trends import Course, Past
from analyzer.answers.season.rows import SeasonAnswer
from analyzer.errors import NoTrip
from analyzer.faces import format, seasons, units
from analyzer.faces.charts import trend_svg
from analyzer.faces.web.api.questions import SeasonQuestion
from analyzer.faces.web.page import log_of, remembered, render
from logger.units import UNDATED_S

router = APIRouter(include_in_schema=False)


class SeasonForm(SeasonQuestion):
    """The page's own question: a form sends what is left out as nothing."""

    @field_validator("first", "last", mode="before")
    @classmethod
    def _left_out(cls, value: Any) -> Any:
        return value or None


@router.get("/season")
def season(request: Request, asked: Annotated[SeasonForm, Query()]) -> Response:
    """A season together: the finding first, its figures folded."""
    try:
        answer = _answer(request, asked)
    except NoTrip as error:
        return render(
            request, "season.html", answer=None, why=str(error), **_chosen(request, asked)
        )
    return render(
        request,
        "season.html",
        answer=answer,
        seasons=seasons,
        **_drawn(answer),
        **_chosen(request, asked),
    )


def _answer(request: Request, asked: SeasonQuestion) -> SeasonAnswer:
    stretch = asked.stretch()
    ask = partial(log_of(request).season, *stretch)
    found: SeasonAnswer = remembered(request, ("season", stretch), ask)
    return found


def _chosen(request: Request, asked: SeasonQuestion) -> dict[str, Any]:
    """What was asked for, the years that the log has trips of, and the paper's address."""
    begun = [row.start_utc_s for row in log_of(request).trips()]
    years = {format.local(utc_s).year for utc_s in begun if utc_s >= UNDATED_S}
    query = f"?{request.url.query}" if request.url.query else ""
    return {"asked": asked, "years": sorted(years, reverse=True), "query": query}


def _drawn(answer: SeasonAnswer) -> dict[str, Any]:
    unit = units.now().distance
    months = tuple(Past(row.start_utc_s, row.at_usual) for row in answer.months)
    resistance = Course("resistance at 25 °C, % of a new pack's", answer.pack.resistance)
    return {
        "speed_course": trend_svg.drawn(
            Course("speed at the same power, % against the first trips", answer.fouling.rows)
        ),
        "month_course": trend_svg.drawn(Course(f"a month at the usual speed, Wh/{unit}", months)),
        "capacity_course": trend_svg.drawn(Course("capacity at 25 °C, Ah", answer.pack.capacity)),
        "resistance_course": trend_svg.drawn(resistance),
    }


@router.get("/season/report.{kind}")
def report(
    request: Request, kind: Literal["html", "pdf"], asked: Annotated[SeasonForm, Query()]
) -> Response:
    """The printed report, to be kept: it is one file that needs nothing else."""
    from analyzer.faces.report import season as paper
    from analyzer.faces.report.pdf import pdf
    from analyzer.faces.report.report import html

    made = paper.report(_answer(request, asked))
    body, media = (pdf(made), "application/pdf") if kind == "pdf" else (html(made), "text/html")
    headers = {"Content-Disposition": f'attachment; filename="keelwatt-season.{kind}"'}
    return Response(body, media_type=media, headers=headers)
