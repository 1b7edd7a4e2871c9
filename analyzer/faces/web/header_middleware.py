"""What every HTTP answer goes through: whose name the browser used, and what the page may load."""

import ipaddress
import re
import socket
from collections.abc import Iterable

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

_POLICY = (
    "default-src 'none'; script-src 'self'; style-src {style}; img-src 'self' data:; "
    "connect-src 'self'; manifest-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)
STRICT = _POLICY.format(style="'self'")
# The charts' library writes style elements of its own; pages that hold charts allow those.
WITH_CHARTS = _POLICY.format(style="'self' 'unsafe-inline'")

# RFC 3986, 3.2.2 and 3.2.3, as far as names and addresses of a boat's network go.
_HOST = re.compile(r"(?P<name>\[[0-9a-f:.%a-z]+\]|[0-9a-z_.-]+|[0-9a-f:]+)(:[0-9]{1,5})?")

_HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",  # with none at all, a form of our own has a null Origin
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}


def own_names(names: Iterable[str] = ()) -> frozenset[str]:
    """Names under which a browser may ask: this computer's own, and those given."""
    host = socket.gethostname().lower()
    own = {"localhost", host, f"{host.split('.')[0]}.local"}
    return frozenset(own | {name.lower() for name in names if name})


def host_allowed(host: str, names: frozenset[str]) -> bool:
    """Whether a Host header names this computer.

    A plain address is allowed: only a name can be pointed at this computer by somebody else's
    name server, so that a strange page could read the boat's data.
    """
    told = _HOST.fullmatch(host.strip().lower())
    if told is None:
        return False
    name = told["name"].strip("[]")
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return name in names
    return True


class Guard:
    """ASGI middleware: refuses strange host names, adds the security headers."""

    def __init__(self, app: ASGIApp, names: frozenset[str]) -> None:
        self.app = app
        self.names = names

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers.setdefault("Content-Security-Policy", STRICT)
                headers.setdefault("Cache-Control", "no-store")
                headers.update(_HEADERS)
            await send(message)

        if host_allowed(Headers(scope=scope).get("host", ""), self.names):
            await self.app(scope, receive, send_with_headers)
            return
        refusal = PlainTextResponse(
            "This computer does not answer to that name; start keelwatt serve with --name NAME.\n",
            status_code=421,
        )
        await refusal(scope, receive, send_with_headers)
