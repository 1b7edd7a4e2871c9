"""The board's own page: names for plugs, bit rates, time zone, Wi-Fi, restart, shutting down.

What stands here wants root; the pages have no rights themselves and ask `errands` for it. A phone
that may look only is shown nothing to do, and the gate refuses whatever it sends all the same.
"""

import time
import zoneinfo
from collections.abc import Mapping, Sequence
from pathlib import Path

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import Response

from analyzer.answers.transfer import status
from analyzer.faces.web.page import render
from analyzer.faces.web.set_up import errands
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
    "restart-recorder": (),
    "shut-down": (),
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
    if act == "shut-down" and form.get("sure") != "yes":
        return _page(request, "tick first that the computer is to be shut down", False)
    words = {name: form.get(name, "").strip() for name in WORDS[act]}
    done, said = errands.ask(request.app.state.errand, act, **words)
    if done and act == "set-zone":
        time.tzset()  # the clock on the pages, from now on
    return _page(request, said, done)


def _page(request: Request, said: str = "", done: bool = True) -> Response:
    may_change = request.state.right == "change"
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
        zones=sorted(zoneinfo.available_timezones()) if may_change else (),
    )
