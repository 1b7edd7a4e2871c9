"""The board's own page: plugs, buses, time zone, Wi-Fi, copies, releases, restart, shutting down.

What stands here wants root; the pages have no rights themselves and ask `errands` for it. A phone
that may look only is shown nothing to do, and the gate refuses whatever it sends all the same.
"""

import time
import zoneinfo
from collections.abc import Mapping, Sequence
from importlib import metadata
from pathlib import Path

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import JSONResponse, PlainTextResponse, Response

from analyzer.answers.transfer import status
from analyzer.faces.format import sentence
from analyzer.faces.web.page import log_of, render
from analyzer.faces.web.set_up import errands, incoming
from analyzer.faces.web.set_up.forms import FormError, read_form
from analyzer.faces.web.set_up.plugged import Plug

router = APIRouter(include_in_schema=False)
# What each act takes from the form; an act that is not here is not asked for.
WORDS: dict[str, tuple[str, ...]] = {
    "name-plug": ("name", "number"),
    "set-bus": ("bus", "rate"),
    "find-rate": ("bus",),
    "set-zone": ("zone",),
    "set-wifi": ("name", "password"),
    "mark-stick": ("device",),
    "restore-stick": ("device",),
    "fetch-release": ("device",),
    "go-back": (),
    "restart-recorder": (),
    "shut-down": (),
}
# Acts that want a tick first, and what is said where it is missing.
SURE = {
    "shut-down": "tick first that the computer is to be shut down",
    "go-back": "tick first that the release before is wanted back",
}
# Of CAN, as errand.py has them (of the list in CiA 301, from memory); the others are found.
RATES = (125000, 250000, 500000, 1000000)


@router.get("/set-up/board")
def board(request: Request) -> Response:
    """What can be set on this computer."""
    return _page(request)


@router.post("/set-up/board")
async def do(request: Request) -> Response:
    """One act."""
    form = await read_form(request)
    return await run_in_threadpool(_do, request, form)


def _do(request: Request, form: Mapping[str, str]) -> Response:
    act = form.get("act", "")
    if act not in WORDS:
        raise FormError("there is no such thing to do here")
    if act in SURE and form.get("sure") != "yes":
        return _page(request, SURE[act], False)
    words = {name: form.get(name, "").strip() for name in WORDS[act]}
    done, said = errands.ask(request.app.state.errand, act, **words)
    if done and act == "set-zone":
        time.tzset()  # the clock on the pages, from now on
    return _page(request, said, done)


@router.post("/set-up/release")
async def send(request: Request) -> Response:
    """A release from the phone's own files."""
    where: Path = request.app.state.errand
    if not errands.there(where):
        return await run_in_threadpool(_page, request, errands.NOBODY, False)
    try:
        await request.app.state.receiver.take(request, log_of(request).path.parent / "incoming")
    except FormError as error:
        return await run_in_threadpool(_page, request, str(error), False)
    done, said = await run_in_threadpool(errands.ask, where, "take-release")
    return await run_in_threadpool(_page, request, said, done)


@router.get("/set-up/release.json")
def said(request: Request) -> Response:
    """What becomes of a change of release; asked again and again by the page."""
    if not _may_change(request):
        return PlainTextResponse("This phone may look only.\n", 403)
    now = incoming.progress(request.app.state.changes)
    version = metadata.version("keelwatt")
    return JSONResponse({"said": sentence(now.said), "busy": now.busy, "version": version})


def _may_change(request: Request) -> bool:
    return bool(request.state.right == "change")


def _page(request: Request, said: str = "", done: bool = True) -> Response:
    may_change = _may_change(request)
    where: Path = request.app.state.errand
    devices: Sequence[Plug] = request.app.state.plugs(False) if may_change else ()
    return render(
        request,
        "board.html",
        200 if done else 422,
        said=said,
        done=done,
        may_change=may_change,
        somebody=errands.there(where),
        plugs=[one for one in devices if one.kind == "serial" and one.serial_number],
        buses=[one.name for one in devices if one.kind == "can"],
        rates=RATES,
        sticks=status.sticks() if may_change else (),
        copied=status.backed_up(),
        version=metadata.version("keelwatt"),
        release=incoming.progress(request.app.state.changes),
        zones=sorted(zoneinfo.available_timezones()) if may_change else (),
    )
