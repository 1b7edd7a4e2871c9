"""The page on which a phone is paired, and unpaired."""

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from analyzer.faces.web.access import COOKIE, LASTS_S, Access
from analyzer.faces.web.page import render, safe_path
from analyzer.faces.web.set_up.forms import FormError, read_form

router = APIRouter(include_in_schema=False)


@router.get("/pair")
def pair_page(request: Request, to: str = "/") -> Response:
    """Asks for the code."""
    if request.app.state.access:
        request.app.state.access.offer()
    return _ask(request, to)


@router.post("/pair")
async def pair(request: Request) -> Response:
    """Gives the cookie for a right code."""
    access: Access | None = request.app.state.access
    try:
        form = await read_form(request)
    except FormError as error:
        return _ask(request, "/", str(error), 400)
    to = safe_path(form.get("to", "/"))
    if access is None:
        return RedirectResponse(to, status_code=303)
    address = request.client.host if request.client else ""
    if not access.tries.allowed(address):
        return _ask(request, to, "too many wrong codes: wait a minute", 429)
    right = access.pair(form.get("code", ""))
    if right is None:
        access.tries.wrong(address)
        return _ask(request, to, "that is none of the codes on sheet or board's console", 403)
    answer = RedirectResponse(to, status_code=303)
    answer.set_cookie(
        COOKIE,
        access.cookie(right),
        max_age=LASTS_S,
        httponly=True,
        samesite="strict",
        secure=request.url.scheme == "https",
    )
    return answer


@router.post("/pair/end")
def unpair(request: Request) -> Response:
    """Forgets this phone."""
    answer = RedirectResponse("/pair", status_code=303)
    answer.delete_cookie(COOKIE, httponly=True, samesite="strict")
    return answer


def _ask(request: Request, to: str, wrong: str = "", status: int = 200) -> Response:
    return render(request, "pair.html", status, to=safe_path(to), wrong=wrong)
