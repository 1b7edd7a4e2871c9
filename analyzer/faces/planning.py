"""The plan page: a route from a GPX file, and whether the pack makes it."""

import math
import tempfile
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import Response
from starlette.datastructures import FormData

from analyzer.errors import AnalyzerError
from analyzer.faces import drawing
from analyzer.faces.forms import FormError, check_length
from analyzer.faces.page import desk_of, render
from logger.errors import LoggerError
from logger.units import KN

if TYPE_CHECKING:
    from analyzer.answer_plan import PlanAnswer, PlanWish

MOST_BYTES = 5_000_000

router = APIRouter(include_in_schema=False)


@router.get("/plan")
def plan_page(request: Request) -> Response:
    """Asks for a route."""
    return _page(request, {})


@router.post("/plan")
async def plan(request: Request) -> Response:
    """The passage along the route; asks again where something is wrong."""
    written: dict[str, str] = {}
    try:
        check_length(request, MOST_BYTES)
        async with request.form(max_files=2, max_fields=20) as form:
            written = {k: v for k, v in form.items() if isinstance(v, str)}
            files = {k: await _bytes(form, k) for k in ("route", "stream_table")}
        return await run_in_threadpool(_answer, request, written, files)
    except (AnalyzerError, LoggerError) as error:
        return _page(request, written, wrong=str(error))


def _answer(request: Request, written: dict[str, str], files: dict[str, bytes]) -> Response:
    if not files["route"]:
        raise FormError("choose a GPX file with the route")
    with tempfile.TemporaryDirectory() as folder:
        wish = _wish(written, files, Path(folder))
        desk = desk_of(request)
        try:
            answer = desk.plan(wish)
        except AnalyzerError as error:
            raise FormError(str(error).replace(f"{folder}/", "the file ")) from error
        start = wish.charge_frac
        if start is None:
            start = desk.range_left().charge.mid
    return _page(request, written, answer=answer, start=start)


def _wish(written: dict[str, str], files: dict[str, bytes], folder: Path) -> "PlanWish":
    from analyzer.answer_plan import PlanWish
    from analyzer.wind import Wind

    kept = {name: folder / name for name, content in files.items() if content}
    for name, path in kept.items():
        path.write_bytes(files[name])
    wind_kn = _number(written, "wind_kn", "the wind's knots", 0, 60)
    wind_from = _number(written, "wind_from_deg", "where the wind comes from", 0, 360)
    speed_kn = _number(written, "speed_kn", "the speed in knots", 0.5, 30)
    charge = _number(written, "charge_percent", "the charge in per cent", 0, 100)
    wind = None
    if wind_kn is not None and wind_from is not None:
        wind = Wind(wind_kn * KN, wind_from % 360, sd_mps=0.5 + 0.15 * wind_kn * KN)
    return PlanWish(
        route=kept["route"],
        departure_s=_utc(written.get("depart", "")),
        speeds_mps=None if speed_kn is None else (speed_kn * KN,),
        stream_table=kept.get("stream_table"),
        wind=wind,
        arrive_by_s=_utc(written.get("arrive_by", "")),
        charge_frac=None if charge is None else charge / 100,
    )


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
    """A date and time in UTC, as a browser's field sends it."""
    if not text.strip():
        return None
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError:
        raise FormError(f"a time wants to look like 2026-07-01T06:30, got {text!r}") from None
    return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp()


def _page(
    request: Request,
    written: dict[str, str],
    wrong: str = "",
    answer: "PlanAnswer | None" = None,
    start: float | None = None,
) -> Response:
    way = None
    if answer is not None:
        way = drawing.along(answer.plan.legs, start, answer.reserve_frac)
    status = 422 if wrong else 200
    return render(
        request, "plan.html", status, written=written, wrong=wrong, answer=answer, way=way
    )
