"""Set-up step by step, for a phone: each step checks itself, and keeps what was written."""

from collections.abc import Mapping, Sequence
from typing import Any

import tomlkit
from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import RedirectResponse, Response

from analyzer.answers.check import check
from analyzer.estimation.results import CheckAnswer
from analyzer.faces.web.page import log_of, render
from analyzer.faces.web.set_up import from_network, guide, plug_rows, plugged
from analyzer.faces.web.set_up.faults import Fault, faults
from analyzer.faces.web.set_up.forms import FormError, read_form
from analyzer.faces.web.set_up.plugged import Plug
from logger import boat
from logger.errors import BoatFileError

router = APIRouter(include_in_schema=False)


@router.get("/set-up/guide")
def begin(request: Request) -> Response:
    """The first step, with what the boat file has already."""
    return _show(request, guide.STEPS[0], {})


@router.post("/set-up/guide")
async def go_on(request: Request) -> Response:
    """From one step to another; the last one saves."""
    form = await read_form(request)
    return await run_in_threadpool(_go_on, request, form)


def _go_on(request: Request, form: dict[str, str]) -> Response:
    here = _number(form.get("at", ""))
    step, act = guide.STEPS[here], form.get("act", "on")
    text, _ = log_of(request).boat_text()
    left = _left_out(form)
    if act == "back":
        return _show(request, guide.STEPS[max(here - 1, 0)], form)
    if act in ("listen", "place"):
        return _show(request, step, form, act=act)
    if act == "save":
        return _save(request, form)
    if act == "skip":
        form["left"] = " ".join(sorted(left | {step.name}))
    else:
        form["left"] = " ".join(sorted(left - {step.name}))
        said = guide.wrong(text, _kept(text, form), step)
        if said:
            return _show(request, step, form, said)
    following = min(here + 1, len(guide.STEPS) - 1)
    return _show(request, guide.STEPS[following], form)


def _save(request: Request, form: Mapping[str, str]) -> Response:
    text, _ = log_of(request).boat_text()
    try:
        new = _made(request, text, form, _plugs(request))
        from_network.check_change(text, new)
        log_of(request).save_boat(new)
    except (BoatFileError, FormError) as error:
        return _show(request, guide.STEPS[-1], form, faults(str(error), [], {}))
    return RedirectResponse("/set-up/first-test", status_code=303)


def _show(
    request: Request,
    step: guide.Step,
    form: Mapping[str, str],
    said: list[Fault] | None = None,
    act: str = "",
) -> Response:
    log = log_of(request)
    text, _ = log.boat_text()
    kept = _kept(text, form)
    if act == "place":
        kept["home.place"] = _here(request) or kept["home.place"]
    own = {ask.key for ask in step.asks} | {f"{ask.key}.unit" for ask in step.asks}
    plugs = _plugs(request, act == "listen") if step.name in ("plugged", "done") else ()
    found, made = said or [], ""
    if step.name == "done":
        made, found = _tried(request, text, form, plugs, found)
        plugs = ()
    rows = plug_rows.rows(plugs, form, request.app.state.trials, act == "listen")
    own |= {f"plug.{plug.name}" for plug in plugs}
    own |= {key for row in rows for _, key, _ in row.slots}
    own |= {row.turned_key for row in rows if row.has_current}
    return render(
        request,
        "guide.html",
        422 if said else 200,
        step=step,
        number=guide.STEPS.index(step) + 1,
        many=len(guide.STEPS),
        form=kept,
        carried={name: value for name, value in kept.items() if name not in own},
        at={fault.field: fault for fault in found},
        wrong=found,
        plugs=rows,
        here=_here(request) if step.name == "home" else "",
        made=made,
        check=_check(made) if made and not found else None,
        may_change=request.state.right == "change",
    )


def _plugs(request: Request, listen: bool = False) -> Sequence[Plug]:
    found: Sequence[Plug] = request.app.state.plugs(listen)
    return found


def _tried(
    request: Request,
    text: str,
    form: Mapping[str, str],
    plugs: Sequence[Plug],
    said: list[Fault],
) -> tuple[str, list[Fault]]:
    """The boat file as it would be saved, and what is wrong with it."""
    try:
        made = _made(request, text, form, plugs)
        boat.parse(made, "boat.toml")
    except (BoatFileError, FormError) as error:
        return "", said or faults(str(error), [], {})
    return made, said


def _made(request: Request, text: str, form: Mapping[str, str], plugs: Sequence[Plug]) -> str:
    left = frozenset(_left_out(form))
    document = tomlkit.parse(guide.boat_file(text, _kept(text, form), left))
    if "plugged" not in left:
        plugged.add(document, plugs, form, request.app.state.trials)
    return tomlkit.dumps(document)


def _kept(text: str, form: Mapping[str, str]) -> dict[str, str]:
    """Every answer so far: fields, their units, devices, and what was left out."""
    others = {k: v for k, v in form.items() if k.startswith("plug.") or k.endswith(".unit")}
    return {**guide.written(text, form), **others, "left": form.get("left", "")}


# What a receiver of positions tells: RMC or GGA with VTG (IEC 61162-1).
_POSITION = frozenset({"latitude_deg", "longitude_deg", "speed_ground_mps", "course_ground_deg"})


def _check(made: str) -> CheckAnswer:
    """What the boat can answer once its ways in speak."""
    described = boat.parse(made, "boat.toml")
    return check(described, promised=frozenset().union(*map(_promised, described.source)))


def _promised(source: boat.SourceSpec) -> frozenset[str]:
    """The channels that a way in is set up to fill, as far as the boat file says them."""
    if source.kind == "nmea0183":
        return _POSITION
    signals = source.options.get("signals", {})
    entries = signals.values() if isinstance(signals, Mapping) else ()
    probes = source.options.get("probe", ())
    named = [*entries, *(probes if isinstance(probes, list | tuple) else ())]
    return frozenset(str(one["channel"]) for one in named if "channel" in one)


def _left_out(form: Mapping[str, str]) -> set[str]:
    return {name for name in form.get("left", "").split() if name in guide.NAMES}


def _number(name: str) -> int:
    return guide.NAMES.index(name) if name in guide.NAMES else 0


def _here(request: Request) -> str:
    """Where the boat is now, as text; empty where no position has come."""
    from analyzer.errors import AnalyzerError
    from analyzer.faces.web import waypoints
    from logger.errors import LoggerError

    try:
        place: Any = log_of(request).place()
    except (AnalyzerError, LoggerError):
        return ""
    return waypoints.text([(place[0], place[1], "")]) if place and place[2] else ""
