"""The plan page: a route drawn, typed or from a GPX file, and whether the pack makes it."""

import math
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import JSONResponse, Response
from starlette.datastructures import FormData

from analyzer.answers import Log
from analyzer.errors import AnalyzerError
from analyzer.faces import format, units
from analyzer.faces.charts import leaving_svg, range_svg
from analyzer.faces.web import waypoints
from analyzer.faces.web.api.questions import PlanQuestion
from analyzer.faces.web.page import log_of, remembered, render
from analyzer.faces.web.set_up.forms import FormError, check_length, read_body
from logger.errors import LoggerError

if TYPE_CHECKING:
    from analyzer.answers.ahead.passage import PlanAnswer

# Of earlier trips on the map, and of a file that is sent: assumed.
MOST_TRACKS, TRACK_POINTS = 6, 400
MOST_BYTES = 5_000_000
FILES = ("route", "stream_table")

router = APIRouter(include_in_schema=False)


@router.get("/plan")
def plan_page(request: Request) -> Response:
    """Asks for a route."""
    return _page(request, {})


@router.get("/plan/near.json")
def near(request: Request) -> Response:
    """What a route is drawn over: where the boat is, home, and where it has been before."""
    return JSONResponse(remembered(request, "near", lambda: _near(request)))


def _near(request: Request) -> dict[str, Any]:
    log = log_of(request)
    names = ("latitude_deg", "longitude_deg")
    tracks = []
    for row in log.trips()[-MOST_TRACKS:]:
        plot = log.plot(row.number, names, TRACK_POINTS)
        both = [plot.series.get(name, []) for name in names]
        tracks.append([[a, b] for a, b in zip(*both, strict=True) if None not in (a, b)])
    place = log.place()
    return {"here": place[:2] if place else None, "home": log.home(), "tracks": tracks}


@router.post("/plan")
async def plan(request: Request) -> Response:
    """The passage along the route; asks again where something is wrong."""
    written: dict[str, str] = {}
    try:
        check_length(request, MOST_BYTES)
        async with request.form(max_files=2, max_fields=30) as form:
            written = {k: v for k, v in form.items() if isinstance(v, str)}
            files = {k: await _bytes(form, k) for k in FILES}
        return await run_in_threadpool(_answer, request, written, files)
    except (AnalyzerError, LoggerError) as error:
        return _page(request, written, wrong=str(error))


def _answer(request: Request, written: dict[str, str], files: dict[str, bytes]) -> Response:
    drawn = waypoints.places(written.get("places", ""))
    if not files["route"]:
        if len(drawn) < 2:
            raise FormError("choose a GPX file with the route, or give two places or more")
        files["route"] = waypoints.gpx(drawn).encode()
    log = log_of(request)
    answer, written["places"] = ask(log, _wish(written), files)
    start = _share(written, "charge_percent", "the charge")
    if start is None:
        start = log.range_left().charge.mid
    return _page(request, written, answer=answer, start=start)


def ask(log: Log, question: PlanQuestion, files: dict[str, bytes]) -> "tuple[PlanAnswer, str]":
    """The answer and the route's places as text; what was sent is not kept.

    Args:
        files: "route", and "stream_table" where there is one.
    """
    with tempfile.TemporaryDirectory() as folder:
        kept = {name: Path(folder) / name for name, content in files.items() if content}
        for name, path in kept.items():
            path.write_bytes(files[name])
        try:
            answer = log.plan(question.of(kept["route"], kept.get("stream_table")))
            from analyzer.answers.ahead.passage import shown_places

            return answer, waypoints.text(shown_places(kept["route"]))
        except AnalyzerError as error:
            raise FormError(str(error).replace(f"{folder}/", "the file ")) from error


async def sent(request: Request) -> dict[str, bytes]:
    """The files of a request to the HTTP API: a GPX body, or a form with those of `FILES`."""
    if not request.headers.get("content-type", "").startswith("multipart/form-data"):
        return {"route": await read_body(request, MOST_BYTES) or b"<nothing/>"}
    check_length(request, MOST_BYTES)
    async with request.form(max_files=2, max_fields=2) as form:
        files = {k: await _bytes(form, k) for k in FILES}
    return {**files, "route": files["route"] or b"<nothing/>"}


def _wish(written: dict[str, str]) -> PlanQuestion:
    """What the form says, in the HTTP API's own terms."""
    for what, speed, way in (("stream", "stream_kn", "stream_toward_deg"),
                             ("wind", "wind_kn", "wind_from_deg")):  # fmt: skip
        if bool(written.get(speed, "").strip()) != bool(written.get(way, "").strip()):
            raise FormError(f"the {what} wants both: its knots and its direction in degrees")
    return PlanQuestion(
        depart_utc_s=_utc(written.get("depart", "")),
        leave_within_h=_number(written, "leave_within_h", "the hours to leave within", 1, 72),
        arrive_by_utc_s=_utc(written.get("arrive_by", "")),
        speed_kn=_number(written, "speed_kn", "the speed in knots", 0.5, 30),
        charge_frac=_share(written, "charge_percent", "the charge"),
        reserve_frac=_share(written, "reserve_percent", "the reserve"),
        stream_kn=_number(written, "stream_kn", "the stream's knots", 0, 20),
        toward_deg=_number(written, "stream_toward_deg", "where the stream goes", 0, 360),
        wind_kn=_number(written, "wind_kn", "the wind's knots", 0, 60),
        from_deg=_number(written, "wind_from_deg", "where the wind comes from", 0, 360),
    )


def _share(written: dict[str, str], name: str, what: str) -> float | None:
    percent = _number(written, name, f"{what} in per cent", 0, 100)
    return None if percent is None else percent / 100


async def _bytes(form: FormData, name: str) -> bytes:
    file = form.get(name)
    return b"" if file is None or isinstance(file, str) else await file.read()


def _number(written: dict[str, str], name: str, what: str, low: float, high: float) -> float | None:
    text = written.get(name, "").strip().replace(",", ".")
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not low <= value <= high:
        raise FormError(f"{what} wants {low:g} to {high:g}, got {text!r}")
    return value


def _utc(text: str) -> float | None:
    """A date and time as a browser's field sends it: the page's own zone, where none is named."""
    if not text.strip():
        return None
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError:
        raise FormError(f"a time wants to look like 2026-07-01T06:30, got {text!r}") from None
    if moment.tzinfo is None and units.now().utc:
        moment = moment.replace(tzinfo=UTC)
    return moment.timestamp()


def _page(
    request: Request,
    written: dict[str, str],
    wrong: str = "",
    answer: "PlanAnswer | None" = None,
    start: float | None = None,
) -> Response:
    way = hours = None
    if answer is not None:
        way = range_svg.along(answer.plan.legs, start, answer.reserve_frac)
        made = answer.plan
        hours = leaving_svg.by_hour(answer.departures, made.departure_utc_s, answer.sureness_frac)
    return render(
        request,
        "plan.html",
        422 if wrong else 200,
        written=written,
        wrong=wrong,
        answer=answer,
        way=way,
        hours=hours,
        zone=format.zone_name(time.time()),
    )
