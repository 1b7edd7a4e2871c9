"""The pages: answers in, HTML out."""

from itertools import groupby
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response, StreamingResponse

from analyzer.estimation.results import RangeAnswer
from analyzer.faces import format, gains, units
from analyzer.faces.charts import chart_api, range_svg
from analyzer.faces.web import header_middleware, live
from analyzer.faces.web.page import (
    LOOKS,
    log_of,
    remembered,
    render,
    safe_path,
    templates,
    worded,
)
from logger.units import KN

router = APIRouter(include_in_schema=False)
NEWEST = 8  # trips that stand unfolded: about two screens of a phone; assumed
YEAR_S = 31_536_000  # that a choice is kept; assumed


def sorry(request: Request, text: str, status: int) -> Response:
    """A page that says what could not be done."""
    return render(request, "sorry.html", status, text=text)


def parts(answer: RangeAnswer) -> str:
    """The under-way page's parts, as the live stream sends them."""
    template = templates.env.get_template("_under_way.html")
    # The status line is not among them: the page's own clock keeps it.
    return worded(template.render(**_under_way(answer), stale="", asked=False))


def _under_way(answer: RangeAnswer) -> dict[str, Any]:
    return {
        "answer": answer,
        "curve": range_svg.curve(answer),
        "rule": range_svg.rule(answer),
        "flags": answer.flags,
        "unwatched": unwatched(answer),
    }


WATCHED = {"cells": "cells", "cable probes": "cables and joints"}


def unwatched(answer: RangeAnswer) -> str:
    """What no flag can come of, since nothing measures it; empty where all is measured."""
    measured = {g.input for g in answer.grounds if g.standing == "measured now"}
    blind = [text for name, text in WATCHED.items() if name not in measured]
    if not blind or not answer.grounds:
        return ""
    return f"Nobody looks at {' and '.join(blind)}: not measured."


@router.get("/")
def under_way(request: Request, speed: float | None = None) -> Response:
    """How far, what ends it, what slowing down would buy."""
    if not log_of(request).is_there():
        return render(request, "welcome.html", boat=log_of(request).boat_text()[0])
    asked = speed * KN if speed is not None and 0 < speed <= 60 else None
    answer = log_of(request).range_left(asked, None, "straight")
    return render(
        request,
        "under_way.html",
        **_under_way(answer),
        stale=live.stale_text(answer.asked_utc_s, answer.data_age_s),
        hollow=live.hollow(answer.data_age_s),
        asked=asked is not None,
    )


@router.get("/live")
async def stream(request: Request) -> Response:
    """The under-way page's parts as server-sent events, once a second."""
    feed: live.Feed = request.app.state.feed
    return StreamingResponse(feed.events(), media_type="text/event-stream")


@router.get("/flags/live")
async def flag_stream(request: Request) -> Response:
    """Flags as they are raised, get worse, are seen and cleared."""
    events = live.flag_events(log_of(request).flags)
    return StreamingResponse(events, media_type="text/event-stream")


@router.post("/flag/{number}/seen")
def seen(request: Request, number: int) -> Response:
    """Somebody has seen a flag."""
    log_of(request).flag_seen(number)
    return Response(status_code=303, headers={"Location": "/"})


@router.get("/trips")
def trips(request: Request) -> Response:
    """The list of trips, newest first; what is older folded by month."""
    every = log_of(request).trips()[::-1]
    older = groupby(every[NEWEST:], lambda row: format.month(row.start_utc_s))
    months = [(name, list(rows)) for name, rows in older]
    return render(request, "trips.html", trips=every, newest=every[:NEWEST], months=months)


@router.get("/trip/{number}")
def trip(request: Request, number: int) -> Response:
    """One trip explained."""
    log = log_of(request)
    answer = remembered(request, ("review", number), lambda: log.review(number))
    shift_ms = chart_api.shift_ms(answer.trip.start_utc_s)
    return render(
        request, "trip.html", policy=header_middleware.WITH_CHARTS, answer=answer, shift_ms=shift_ms
    )


@router.get("/health")
def health(request: Request) -> Response:
    """Cells, cables, hull and pack: finding, sureness, cure, trend."""
    return render(
        request,
        "health.html",
        **remembered(request, ("health", units.now()), lambda: _health(request)),
    )


def _health(request: Request) -> dict[str, Any]:
    from analyzer.faces.charts import trend_svg

    log = log_of(request)
    cells, cables, hull, pack = log.cells(), log.cables(), log.hull(), log.pack()
    behind = list(dict.fromkeys(finding.subject for finding in cells.findings))
    drawn = {
        name: trend_svg.drawn(course, zero=True) for name, course in log.cable_courses().items()
    }
    return {
        "cells": cells,
        "cables": cables,
        "hull": hull,
        "pack": pack,
        "findings": len(cells.findings) + len(cables.findings),
        "beside": trend_svg.columns([(row.name, row.resistance) for row in cells.rows], behind),
        "cell_courses": [trend_svg.drawn(log.cell_course(name), zero=True) for name in behind],
        "cable_courses": {name: one for name, one in drawn.items() if one},
        "speed_course": trend_svg.drawn(trend_svg.speed(hull.fouling)),
        "capacity_course": trend_svg.drawn(pack.capacity_course),
        "resistance_course": trend_svg.drawn(pack.resistance_course),
    }


@router.get("/gain")
def gain(request: Request) -> Response:
    """What would help most."""
    answer = remembered(request, "gain", log_of(request).gain)
    return render(request, "gain.html", answer=answer, gains=gains)


@router.get("/units/{name}")
def choose_units(request: Request, name: str, back: str = "/") -> Response:
    """Keeps a chosen unit or time zone on this phone and goes back."""
    answer = Response(status_code=303, headers={"Location": safe_path(back)})
    for cookie, names in units.KEPT.items():
        if name in names:
            answer.set_cookie(cookie, name, max_age=YEAR_S, samesite="strict", httponly=True)
    return answer


@router.get("/look/{look}")
def choose_look(request: Request, look: str, back: str = "/") -> Response:
    """Keeps the chosen look and goes back."""
    answer = Response(status_code=303, headers={"Location": safe_path(back)})
    if look in LOOKS:
        answer.set_cookie("look", look, max_age=YEAR_S, samesite="strict", httponly=True)
    return answer
