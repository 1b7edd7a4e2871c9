"""The set-up page: what arrives, whether it makes sense, and the boat file as a form."""

from collections.abc import Sequence

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import RedirectResponse, Response

from analyzer.errors import AnalyzerError
from analyzer.estimation.results import CheckAnswer
from analyzer.faces.web.page import log_of, render
from analyzer.faces.web.set_up import boat_form, from_network
from analyzer.faces.web.set_up.faults import faults
from analyzer.faces.web.set_up.form_fields import Section
from analyzer.faces.web.set_up.forms import read_form
from logger.errors import BoatFileError, LoggerError

router = APIRouter(include_in_schema=False)


@router.get("/set-up")
def set_up(request: Request, saved: bool = False) -> Response:
    """What arrives and the form."""
    text, where = log_of(request).boat_text()
    return _page(request, text, where, saved=saved)


@router.post("/set-up")
async def save(request: Request) -> Response:
    """Saves the boat file, if nothing is wrong with it."""
    form = await read_form(request)
    return await run_in_threadpool(_save, request, form)


def _save(request: Request, form: dict[str, str]) -> Response:
    log = log_of(request)
    text, where = log.boat_text()
    try:
        new = boat_form.filled(text, form)
        from_network.check_change(text, new)
        log.save_boat(new)
    except BoatFileError as error:
        return _page(request, text, where, form, wrong=str(error))
    return RedirectResponse("/set-up?saved=true", status_code=303)


def _page(
    request: Request,
    text: str,
    where: str,
    form: dict[str, str] | None = None,
    wrong: str = "",
    saved: bool = False,
) -> Response:
    check, trouble = checked(request)
    sections = boat_form.sections(text)
    found = faults(wrong, sections, _written(sections, form or {}))
    return render(
        request,
        "set_up.html",
        422 if wrong else 200,
        sections=sections,
        rest=(form or {}).get(boat_form.REST, boat_form.rest(text)),
        form=form or {},
        wrong=found,
        at={fault.field: fault for fault in found if fault.field},
        where=where,
        saved=saved,
        check=check,
        trouble=trouble,
        may_change=request.state.right == "change",
    )


def _written(sections: Sequence[Section], form: dict[str, str]) -> dict[str, str]:
    """Every field as it stands in the form."""
    fields = (field for section in sections for field in section.fields)
    return {field.name: form.get(field.name, field.value) for field in fields}


def checked(request: Request) -> tuple[CheckAnswer | None, str]:
    """What arrives; or why it cannot be said, since the form must show all the same."""
    try:
        return log_of(request).check(), ""
    except (AnalyzerError, LoggerError) as error:
        return None, str(error)
