"""The HTTP application: `/api/v1` answers as the command line's --json does, pages beside it."""

import asyncio
import json
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager, suppress
from functools import partial
from typing import Annotated, Any

from fastapi import APIRouter, Depends, FastAPI, Query, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware

from analyzer.answers import Log
from analyzer.answers.ahead.passage import PlanAnswer
from analyzer.answers.gain.rows import GainAnswer
from analyzer.answers.guard import Guard, Pulse
from analyzer.answers.hull import HindcastAnswer, HullAnswer
from analyzer.answers.memory import Memory
from analyzer.answers.schema import shipped
from analyzer.answers.season.rows import SeasonAnswer
from analyzer.errors import AnalyzerError, BadDates, BadRoute
from analyzer.estimation.results import (
    CablesAnswer,
    CellsAnswer,
    CheckAnswer,
    FlagView,
    Plot,
    RangeAnswer,
    ReviewAnswer,
    TripRow,
    to_json,
)
from analyzer.faces.charts import chart_api, columns
from analyzer.faces.web import (
    compare_page,
    downloads,
    header_middleware,
    live,
    page,
    pages,
    pairing_page,
    plan_page,
    season_page,
    status_page,
)
from analyzer.faces.web.access import Access
from analyzer.faces.web.api import reference
from analyzer.faces.web.api.parameters import (
    ERRORS,
    ManyPoints,
    TripNumber,
    WrongQuestion,
    channels_of,
    known_only,
    refusal,
)
from analyzer.faces.web.api.questions import GPX_BODY, PlanQuestion, RangeQuestion, SeasonQuestion
from analyzer.faces.web.front_door import Budget
from analyzer.faces.web.page import log_of
from analyzer.faces.web.session_middleware import Gate
from analyzer.faces.web.set_up import (
    board_page,
    first_test_page,
    guide_page,
    setup_page,
)
from analyzer.faces.web.set_up.forms import FormError
from analyzer.faces.web.set_up.incoming import Receiver
from analyzer.faces.web.set_up.plugged import Board
from logger.errors import LoggerError

ROUTERS = (
    downloads.router,
    pages.router,
    downloads.paper,
    chart_api.router,
    pairing_page.router,
    reference.router,
    compare_page.router,
    plan_page.router,
    season_page.router,
    setup_page.router,
    guide_page.router,
    first_test_page.router,
    board_page.router,
    status_page.router,
)
router = APIRouter(
    prefix="/api/v1", tags=["answers"], responses=ERRORS, dependencies=[Depends(known_only)]
)


def create_app(
    log: Log,
    *,
    names: Sequence[str] = (),
    access: Access | None = None,
    guard: Guard | None = None,
    board: Board | None = None,
) -> FastAPI:
    """The application.

    Args:
        log: Where the answers come from.
        names: Host names, beside this computer's own, under which browsers may ask.
        access: Who may look and change; None: whoever reaches this computer.
        guard: Says in the log what of it stands still; None: nobody looks.
        board: What the pages set up of this computer; None: nothing is plugged in.
    """
    board = board or Board()
    app = FastAPI(
        title="keelwatt",
        version="1",
        summary="Answers about an electrified sailing boat, in SI units; the same as --json.",
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/v1/openapi.json",
        lifespan=_keep,
    )
    app.state.log = log
    app.state.memory = Memory(log.state)
    app.state.access = access
    app.state.plugs = board.plugs
    app.state.trials = board.trials
    app.state.errand = board.errand
    app.state.changes = board.changes
    app.state.receiver = Receiver()
    app.state.sun = page.Sun(log)
    app.state.pulses = {
        name: guard.pulse(name, limit_s) if guard else Pulse(name, limit_s)
        for name, limit_s in live.LIMITS_S.items()
    }
    app.state.feed = live.Feed(log, pages.parts, app.state.sun.look, app.state.pulses[live.ANSWER])
    for one in (router, *ROUTERS):
        app.include_router(one)
    app.mount("/static", page.static_files(), name="static")
    app.mount("/assets/bokeh", page.chart_files(), name="bokeh")
    for kind in (AnalyzerError, LoggerError, RequestValidationError, HTTPException, Exception):
        app.add_exception_handler(kind, _sorry)
    app.openapi = partial(_described, app, app.openapi)  # type: ignore[method-assign]
    app.add_middleware(GZipMiddleware, minimum_size=1000)
    app.add_middleware(Budget)
    app.add_middleware(Gate, access=access)
    app.add_middleware(header_middleware.Guard, names=header_middleware.own_names(names))
    return app


def _described(app: FastAPI, describe: Callable[[], dict[str, Any]]) -> dict[str, Any]:
    """The OpenAPI description, in which answers have the shapes of the one JSON Schema."""
    if app.openapi_schema is None:
        described = describe()
        text = json.dumps(shipped()["$defs"]).replace("#/$defs/", "#/components/schemas/")
        ours = {name: shape for name, shape in json.loads(text).items() if "properties" in shape}
        described["components"]["schemas"] |= ours
        app.openapi_schema = described
    return app.openapi_schema


@asynccontextmanager
async def _keep(app: FastAPI) -> AsyncIterator[None]:
    """While the pages are served, the log is looked through as it grows."""
    pulses = app.state.pulses
    tasks = [
        asyncio.create_task(live.Keeper(app.state.log, pulses[live.LOOK]).run()),
        asyncio.create_task(live.beat(pulses[live.LOOP])),
    ]
    yield
    for task in tasks:
        task.cancel()
        with suppress(asyncio.CancelledError):
            await task


@router.get("/range", response_model=RangeAnswer)
def range_left(request: Request, asked: Annotated[RangeQuestion, Query()]) -> Any:
    """How far, for how long, what ends it, which speed goes furthest."""
    return _json(asked.ask(log_of(request)))


PLAIN: dict[str, Any] = {
    "trips": tuple[TripRow, ...],
    "cells": CellsAnswer,
    "cables": CablesAnswer,
    "hull": HullAnswer,
    "gain": GainAnswer,
    "flags": tuple[FlagView, ...],
    "check": CheckAnswer,
}


def _plain(name: str) -> None:
    """A question without parameters: asked of the log by its own name."""

    def ask(request: Request) -> Any:
        return _json(getattr(log_of(request), name)())

    said = (getattr(Log, name).__doc__ or "").partition("\n")[0]
    router.add_api_route(f"/{name}", ask, response_model=PLAIN[name], name=name, description=said)


for _name in PLAIN:
    _plain(_name)


@router.get("/review/{number}", response_model=ReviewAnswer)
def review(request: Request, number: TripNumber) -> Any:
    """One trip explained."""
    return _json(log_of(request).review(number))


@router.get("/hindcast/{number}", response_model=HindcastAnswer)
def hindcast(
    request: Request,
    number: TripNumber,
    each_min: Annotated[float, Query(ge=1, le=120, description="minutes between answers")] = 5.0,
) -> Any:
    """What the range answer would have been during a trip, against what then happened."""
    return _json(log_of(request).hindcast(number, each_min * 60.0))


@router.get("/season", response_model=SeasonAnswer)
def season(request: Request, asked: Annotated[SeasonQuestion, Query()]) -> Any:
    """A season together; without a year or days the year up to the newest trip."""
    return _json(log_of(request).season(*asked.stretch()))


@router.post("/plan", response_model=PlanAnswer, openapi_extra=GPX_BODY)
async def plan(
    request: Request,
    wish: Annotated[PlanQuestion, Query()],
) -> Any:
    """Whether the passage along a route works. It changes nothing.

    The body is a GPX file; or a form with it as `route` and a file of streams as `stream_table`.
    """
    files = await plan_page.sent(request)
    answer, _ = await run_in_threadpool(plan_page.ask, log_of(request), wish, files)
    return _json(answer)


@router.get("/plot/{number}", response_model=Plot)
def plot(
    request: Request,
    number: TripNumber,
    channels: Annotated[
        str, Query(description="names, with commas between; else what the charts show")
    ] = "",
    points: ManyPoints = 2000,
) -> Any:
    """Channels of one trip, thinned so that peaks stay."""
    log = log_of(request)
    names = channels_of(log, channels)
    return _json(log.plot(number, names or columns.wanted(log.channels()), points))


@router.get("/schema.json")
def schema() -> Any:
    """The JSON Schema of every answer; `$defs` holds one for each question."""
    return JSONResponse(shipped())


def _json(answer: Any) -> Any:
    return JSONResponse(to_json(answer))


def _sorry(request: Request, error: Exception) -> Response:
    """What cannot be answered, as one sentence."""
    text, status = _said(error)
    if request.url.path.startswith("/api/"):
        return JSONResponse({"error": text}, status_code=status)
    return pages.sorry(request, text, status)


def _said(error: Exception) -> tuple[str, int]:
    """What is wrong, in a sentence, and HTTP's number for it."""
    match error:
        case RequestValidationError():
            return refusal(error), 422
        case HTTPException():
            lost = error.status_code == 404
            text = "there is nothing here" if lost else "this cannot be asked like that"
            return text, error.status_code
        case FormError() | BadRoute() | BadDates() | WrongQuestion():
            return str(error), 422
        case AnalyzerError() | LoggerError():
            return str(error), 404 if isinstance(error, LookupError) else 503
    # A fault of ours; the server's log has the rest.
    return f"keelwatt itself has a fault here ({type(error).__name__}); its log says where", 500
