"""The HTTP application: `/api/v1` answers as the command line's --json does, pages beside it."""

import asyncio
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager, suppress
from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter, FastAPI, Query, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware

from analyzer.answers.hull import HindcastAnswer, HullAnswer
from analyzer.answers.passage import PlanAnswer
from analyzer.errors import AnalyzerError, BadRoute
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
from analyzer.faces.desk import Desk
from analyzer.faces.questions import LogDesk
from analyzer.faces.web import (
    compare_page,
    downloads,
    flag_stream,
    header_middleware,
    live,
    page,
    pages,
    pairing_page,
    plan_page,
)
from analyzer.faces.web.access import Access
from analyzer.faces.web.api import reference
from analyzer.faces.web.api.parameters import (
    ERRORS,
    AlsoHome,
    FromDeg,
    ManyPoints,
    SpeedKn,
    StreamKn,
    TowardDeg,
    TripNumber,
    WindKn,
)
from analyzer.faces.web.api.plan import GPX_BODY, PlanQuestion
from analyzer.faces.web.cache import Memory
from analyzer.faces.web.page import desk_of
from analyzer.faces.web.session_middleware import Gate
from analyzer.faces.web.set_up import setup_page
from analyzer.faces.web.set_up.forms import FormError, read_body
from logger.errors import LoggerError
from logger.units import KN

router = APIRouter(prefix="/api/v1", tags=["answers"], responses=ERRORS)


def create_app(
    log: Path | None,
    boat: Path | None,
    *,
    names: Sequence[str] = (),
    access: Access | None = None,
    desk: Desk | None = None,
) -> FastAPI:
    """The application.

    Args:
        log, boat: Where the answers come from.
        names: Host names, beside this computer's own, under which browsers may ask.
        access: Who may look and change; None: whoever reaches this computer.
        desk: Answers instead of the log's; for tests.
    """
    app = FastAPI(
        title="keelwatt",
        version="1",
        summary="Answers about an electrified sailing boat, in SI units; the same as --json.",
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/v1/openapi.json",
        lifespan=_keep,
    )
    if desk is None:
        if log is None:
            raise ValueError("create_app wants a log or a desk")
        desk = LogDesk(log, boat)
    app.state.desk = desk
    app.state.memory = Memory(desk.state)
    app.state.access = access
    app.state.sun = page.Sun(desk)
    app.state.feed = live.Feed(desk, pages.parts, app.state.sun.look)
    app.include_router(router)
    app.include_router(downloads.router)
    app.include_router(pages.router)
    app.include_router(flag_stream.router)
    app.include_router(downloads.paper)
    app.include_router(chart_api.router)
    app.include_router(pairing_page.router)
    app.include_router(reference.router)
    app.include_router(compare_page.router)
    app.include_router(plan_page.router)
    app.include_router(setup_page.router)
    app.mount("/static", page.static_files(), name="static")
    app.mount("/assets/bokeh", page.chart_files(), name="bokeh")
    for kind in (AnalyzerError, LoggerError):
        app.add_exception_handler(kind, _sorry)
    app.add_exception_handler(RequestValidationError, _bad_question)
    app.add_exception_handler(HTTPException, _not_here)
    app.add_exception_handler(Exception, _fault)
    app.add_middleware(GZipMiddleware, minimum_size=1000)
    app.add_middleware(Gate, access=access)
    app.add_middleware(header_middleware.Guard, names=header_middleware.own_names(names))
    return app


@asynccontextmanager
async def _keep(app: FastAPI) -> AsyncIterator[None]:
    """While the pages are served, the log is looked through as it grows."""
    keeper = asyncio.create_task(live.Keeper(app.state.desk).run())
    yield
    keeper.cancel()
    with suppress(asyncio.CancelledError):
        await keeper


@router.get("/range", response_model=RangeAnswer)
def range_left(
    request: Request,
    speed_kn: SpeedKn = None,
    stream_kn: StreamKn = None,
    toward_deg: TowardDeg = 0.0,
    wind_kn: WindKn = None,
    from_deg: FromDeg = 0.0,
    home: AlsoHome = None,
) -> Any:
    """How far, for how long, what ends it, which speed goes furthest."""
    stream = None if stream_kn is None else (stream_kn * KN, toward_deg % 360)
    speed_mps = None if speed_kn is None else speed_kn * KN
    wind = None if wind_kn is None else (wind_kn * KN, from_deg % 360)
    return _json(desk_of(request).range_left(speed_mps, stream, home, wind))


@router.get("/trips", response_model=tuple[TripRow, ...])
def trips(request: Request) -> Any:
    """The trips in the log, oldest first."""
    return _json(desk_of(request).trips())


@router.get("/review/{number}", response_model=ReviewAnswer)
def review(request: Request, number: TripNumber) -> Any:
    """One trip explained."""
    return _json(desk_of(request).review(number))


@router.get("/cells", response_model=CellsAnswer)
def cells(request: Request) -> Any:
    """Health of the cells."""
    return _json(desk_of(request).cells())


@router.get("/cables", response_model=CablesAnswer)
def cables(request: Request) -> Any:
    """Health of the cables."""
    return _json(desk_of(request).cables())


@router.get("/hull", response_model=HullAnswer)
def hull(request: Request) -> Any:
    """Power against speed, and what growth on the bottom costs."""
    return _json(desk_of(request).hull())


@router.get("/hindcast/{number}", response_model=HindcastAnswer)
def hindcast(
    request: Request,
    number: TripNumber,
    each_min: Annotated[float, Query(ge=1, le=120, description="minutes between answers")] = 5.0,
) -> Any:
    """What the range answer would have been during a trip, against what then happened."""
    return _json(desk_of(request).hindcast(number, each_min * 60.0))


@router.post("/plan", response_model=PlanAnswer, openapi_extra=GPX_BODY)
async def plan(
    request: Request,
    wish: Annotated[PlanQuestion, Query()],
) -> Any:
    """Whether the passage along a route works; the body is a GPX file. It changes nothing."""
    route = await read_body(request, plan_page.MOST_BYTES)
    answer, _ = await run_in_threadpool(
        plan_page.ask, desk_of(request), wish.of, {"route": route or b"<nothing/>"}
    )
    return _json(answer)


@router.get("/flags", response_model=tuple[FlagView, ...])
def flags(request: Request) -> Any:
    """All flags."""
    return _json(desk_of(request).flags())


@router.get("/check", response_model=CheckAnswer)
def check(request: Request) -> Any:
    """What arrives, what is wrong, what can be answered."""
    return _json(desk_of(request).check())


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
    desk = desk_of(request)
    names = tuple(name for name in channels.split(",") if name)
    return _json(desk.plot(number, names or columns.wanted(desk.channels()), points))


def _json(answer: Any) -> Any:
    return JSONResponse(to_json(answer))


def _status(error: Exception) -> int:
    if isinstance(error, LookupError):
        return 404
    return 422 if isinstance(error, FormError | BadRoute) else 503


def _sorry(request: Request, error: Exception) -> Response:
    """What cannot be answered, as one sentence."""
    if request.url.path.startswith("/api/"):
        return JSONResponse({"error": str(error)}, status_code=_status(error))
    return pages.sorry(request, str(error), _status(error))


def _bad_question(request: Request, error: Exception) -> Response:
    """A query or path that cannot be understood, as one sentence."""
    text = "the question was not understood"
    if isinstance(error, RequestValidationError) and error.errors():
        first = error.errors()[0]
        text = f"{first['loc'][-1]}: {first['msg']}"
    if request.url.path.startswith("/api/"):
        return JSONResponse({"error": text}, status_code=422)
    return pages.sorry(request, text, 422)


def _not_here(request: Request, error: Exception) -> Response:
    """A path that leads nowhere, or a way of asking that it does not take."""
    status = error.status_code if isinstance(error, HTTPException) else 404
    text = "there is nothing here" if status == 404 else "this cannot be asked like that"
    if request.url.path.startswith("/api/"):
        return JSONResponse({"error": text}, status_code=status)
    return pages.sorry(request, text, status)


def _fault(request: Request, error: Exception) -> Response:
    """A fault of ours: said plainly; the server's log has the rest."""
    text = f"keelwatt itself has a fault here ({type(error).__name__}); its log says where"
    if request.url.path.startswith("/api/"):
        return JSONResponse({"error": text}, status_code=500)
    return pages.sorry(request, text, 500)
