"""The pages: answers in, HTML out."""

import time
from pathlib import Path
from typing import Any

import jinja2
from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response, StreamingResponse
from fastapi.staticfiles import StaticFiles
from fastapi.templating import Jinja2Templates
from markupsafe import Markup, escape

from analyzer.errors import AnalyzerError
from analyzer.faces import drawing, guard, live, sentences, sun, words
from analyzer.faces.desk import Desk
from analyzer.results import FlagView, RangeAnswer
from logger.errors import LoggerError
from logger.units import KN

_HERE = Path(__file__).parent
_URGENCY = {"act now": 0, "warning": 1, "notice": 2}
LOOKS = ("sun", "day", "night", "contrast")
CHECK_SUN_S = 60.0

# What a trip's plots show.
PLOTTED = (
    "speed_water_mps",
    "speed_ground_mps",
    "pack_voltage_v",
    "controller_voltage_v",
    "pack_current_a",
)

router = APIRouter(include_in_schema=False)


def _sentence(text: str) -> Markup:
    """A sentence; what stands between back quotes is something to type."""
    pieces = words.sentence(text).split("`")
    if len(pieces) % 2 == 0:
        return escape(words.sentence(text))
    marked = (
        Markup("<code>{}</code>").format(p) if k % 2 else escape(p) for k, p in enumerate(pieces)
    )
    return Markup("").join(marked)


def _environment() -> jinja2.Environment:
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(_HERE / "templates"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
    )
    environment.globals.update(words=words, sentences=sentences, bars=drawing.bars)
    environment.filters["sentence"] = _sentence
    return environment


_templates = Jinja2Templates(env=_environment())


def static_files() -> StaticFiles:
    """The pages' own style and scripts."""
    return StaticFiles(directory=_HERE / "static")


def chart_files() -> StaticFiles:
    """The charts' scripts as the installed bokeh package brings them; nothing from a network."""
    from bokeh.util.paths import bokehjs_path

    return StaticFiles(directory=bokehjs_path() / "js")


def _page(
    request: Request, name: str, status: int = 200, policy: str = guard.STRICT, **what: Any
) -> Response:
    chosen = request.cookies.get("look", "sun")
    what["chosen"] = chosen if chosen in LOOKS else "sun"
    what["look"] = request.app.state.sun.look() if what["chosen"] == "sun" else what["chosen"]
    headers = {"Content-Security-Policy": policy}
    return _templates.TemplateResponse(request, name, what, status_code=status, headers=headers)


class Sun:
    """The look by the sun: day, or night where the sun is down where the boat is.

    Args:
        desk: Asked for the boat's place, once a minute at most.
    """

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._look = "day"
        self._asked_s = -CHECK_SUN_S

    def look(self) -> str:
        """ "day" or "night"; day where the boat's place is not known."""
        if time.monotonic() - self._asked_s >= CHECK_SUN_S:
            self._asked_s = time.monotonic()
            self._look = self._now()
        return self._look

    def _now(self) -> str:
        try:
            place = self._desk.place()
        except (AnalyzerError, LoggerError):
            return "day"
        return "night" if place and sun.dark(place[0], place[1], time.time()) else "day"


def _desk(request: Request) -> Desk:
    desk: Desk = request.app.state.desk
    return desk


def sorry(request: Request, text: str, status: int) -> Response:
    """A page that says what could not be done."""
    return _page(request, "sorry.html", status, text=text)


def urgent_first(flags: tuple[FlagView, ...]) -> list[FlagView]:
    """Flags that stand, the most urgent first, newest first among equals."""
    standing = [flag for flag in flags if flag.cleared_utc_s is None]
    return sorted(standing, key=lambda f: (_URGENCY.get(f.level, 3), -f.raised_utc_s))


def parts(answer: RangeAnswer) -> str:
    """The under-way page's parts, as the live stream sends them."""
    template = _templates.env.get_template("_under_way.html")
    return template.render(**_under_way(answer))


def _under_way(answer: RangeAnswer) -> dict[str, Any]:
    return {
        "answer": answer,
        "curve": drawing.curve(answer),
        "rule": drawing.rule(answer),
        "flags": urgent_first(answer.flags),
    }


@router.get("/")
def under_way(request: Request, speed: float | None = None) -> Response:
    """How far, what ends it, what slowing down would buy."""
    asked = speed * KN if speed is not None and 0 < speed <= 60 else None
    answer = _desk(request).range_left(asked, None, True)
    return _page(
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


@router.get("/trips")
def trips(request: Request) -> Response:
    """The list of trips, newest first."""
    return _page(request, "trips.html", trips=_desk(request).trips()[::-1])


@router.get("/trip/{number}")
def trip(request: Request, number: int) -> Response:
    """One trip explained."""
    answer = _desk(request).review(number)
    return _page(request, "trip.html", policy=guard.WITH_CHARTS, answer=answer)


@router.get("/trip/{number}/chart.json")
def chart(request: Request, number: int, look: str = "day") -> Response:
    """The trip's charts for the page's script to embed."""
    from analyzer.faces import charts

    plot = _desk(request).plot(number, PLOTTED)
    return JSONResponse(charts.trip_item(plot, look))


@router.get("/health")
def health(request: Request) -> Response:
    """Cells and cables: finding, sureness, cure."""
    desk = _desk(request)
    return _page(request, "health.html", cells=desk.cells(), cables=desk.cables())


@router.get("/look/{look}")
def choose_look(request: Request, look: str, back: str = "/") -> Response:
    """Keeps the chosen look and goes back."""
    safe = back if back.startswith("/") and not back.startswith(("//", "/\\")) else "/"
    answer = Response(status_code=303, headers={"Location": safe})
    if look in LOOKS:
        answer.set_cookie("look", look, max_age=31_536_000, samesite="strict", httponly=True)
    return answer
