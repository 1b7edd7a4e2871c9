"""The pages: answers in, HTML out."""

from pathlib import Path
from typing import Any

import jinja2
from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response
from fastapi.staticfiles import StaticFiles
from fastapi.templating import Jinja2Templates

from analyzer.faces import drawing, guard, sentences, words
from analyzer.faces.desk import Desk
from analyzer.results import FlagView
from logger.units import KN

_HERE = Path(__file__).parent
_URGENCY = {"act now": 0, "warning": 1, "notice": 2}
LOOKS = ("auto", "day", "night", "contrast")

# What a trip's plots show.
PLOTTED = (
    "speed_water_mps",
    "speed_ground_mps",
    "pack_voltage_v",
    "controller_voltage_v",
    "pack_current_a",
)

router = APIRouter(include_in_schema=False)


def _environment() -> jinja2.Environment:
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(_HERE / "templates"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
    )
    environment.globals.update(words=words, sentences=sentences)
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
    look = request.cookies.get("look", "auto")
    what["look"] = look if look in LOOKS else "auto"
    headers = {"Content-Security-Policy": policy}
    return _templates.TemplateResponse(request, name, what, status_code=status, headers=headers)


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


@router.get("/")
def under_way(request: Request, speed: float | None = None) -> Response:
    """How far, what ends it, what slowing down would buy."""
    asked = speed * KN if speed is not None and 0 < speed <= 60 else None
    answer = _desk(request).range_left(asked, None, True)
    return _page(
        request,
        "under_way.html",
        answer=answer,
        curve=drawing.curve(answer),
        rule=drawing.rule(answer),
        flags=urgent_first(answer.flags),
        asked=asked is not None,
    )


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
