"""ASGI middleware: who may look, who may change, and that a change was meant on our own page."""

from urllib.parse import quote, urlsplit

from starlette.datastructures import Headers
from starlette.requests import HTTPConnection
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from analyzer.faces import units
from analyzer.faces.web.access import (
    COOKIE,
    Access,
    Right,
    is_own,
)

_OPEN = ("/pair", "/static/")
_ASKING = ("/plan", "/api/v1/plan")  # forms that change nothing
_READING = ("GET", "HEAD", "OPTIONS")
_FORWARDED = ("x-forwarded-for", "forwarded", "x-real-ip", "via")


class Gate:
    """Refuses what the asker has no right to; puts the right into the request's state.

    Args:
        access: None: everybody may do everything (tests, and this computer alone).
    """

    def __init__(self, app: ASGIApp, access: Access | None) -> None:
        self.app = app
        self.access = access

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        asker = HTTPConnection(scope)
        right = self._right(asker)
        asker.state.right = right
        units.CHOSEN.set(units.chosen(asker.cookies))
        refusal = self._refusal(asker, scope["method"], right)
        await (refusal or self.app)(scope, receive, send)

    def _right(self, asker: HTTPConnection) -> Right | None:
        if self.access is None or _from_here(asker):
            return "change"
        return self.access.right_of(asker.cookies.get(COOKIE))

    def _refusal(self, asker: HTTPConnection, method: str, right: Right | None) -> Response | None:
        # By the path that is served, never by a URL put together from what the asker wrote.
        path: str = asker.scope["path"]
        host = asker.headers.get("host", "")
        if method not in _READING and not _same_site(asker.headers, host):
            return PlainTextResponse("This was not asked from our own page.\n", status_code=403)
        if path.startswith(_OPEN):
            return None
        if right is None:
            return _pair_first(path)
        if method not in _READING and path not in _ASKING and right != "change":
            return PlainTextResponse(
                "This phone may look only; pair it with the code to change settings.\n",
                status_code=403,
            )
        return None


def _from_here(asker: HTTPConnection) -> bool:
    """Whether the request began on this computer: nothing stands between."""
    if any(name in asker.headers for name in _FORWARDED):
        return False
    return asker.client is not None and is_own(asker.client.host)


def _pair_first(path: str) -> Response:
    if path.startswith("/api/"):
        return JSONResponse({"error": "pair this device first: open /pair"}, status_code=401)
    return RedirectResponse(f"/pair?to={quote(path)}", status_code=303)


def _same_site(headers: Headers, host: str) -> bool:
    """Whether a change was asked from a page of ours.

    A browser says where a request comes from in Origin; a program that is no browser sends none,
    and carries no one's cookie unknowingly.
    """
    if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return False
    origin = headers.get("origin")
    return origin is None or urlsplit(origin).netloc.lower() == host.lower()
