"""What one phone may take of the board: connections, time for a request's head, work at once.

A board serves a handful of phones. One that asks without end, or never finishes asking, must leave
the others their pages.
"""

import asyncio
from collections import Counter
from typing import Any, ClassVar

from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send
from uvicorn.protocols.http.h11_impl import H11Protocol

from analyzer.faces.web.access import is_own, network_of

HEAD_S = 10.0  # from connecting to the end of a request's head; assumed
MOST_CONNECTIONS = 24  # of one address: a browser opens six, a stream stays open; assumed
MOST_AT_ONCE = 8  # answers worked out for one address at a time; assumed
STREAMS = ("/live", "/flags/live", "/static/", "/assets/")  # these cost next to nothing


class PatientProtocol(H11Protocol):
    """HTTP as uvicorn speaks it, that hangs up on who never asks or opens too many lines."""

    lines: ClassVar[Counter[str]] = Counter()  # open, by address

    def connection_made(self, transport: Any) -> None:
        """A line is opened."""
        super().connection_made(transport)
        self._deadline: asyncio.TimerHandle | None = None
        self._caller = _stranger((self.client or ("",))[0])
        self.lines[self._caller] += 1
        self._arm()
        if self._caller and self.lines[self._caller] > MOST_CONNECTIONS:
            transport.close()

    def connection_lost(self, exc: Exception | None) -> None:
        """A line is closed."""
        self._disarm()
        self.lines[self._caller] -= 1
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Bytes came: of a body, or of the next head, which has its own time."""
        if self.cycle is None or self.cycle.response_complete:
            self._arm()
        super().data_received(data)

    def handle_events(self) -> None:
        """Takes what is whole."""
        before = self.cycle
        super().handle_events()
        if self.cycle is not before:
            self._disarm()

    def _arm(self) -> None:
        if self._deadline is None:
            self._deadline = self.loop.call_later(HEAD_S, self.transport.close)

    def _disarm(self) -> None:
        if self._deadline is not None:
            self._deadline.cancel()
            self._deadline = None


def _stranger(address: str) -> str:
    """Whom a line is counted for; "" for this computer itself, which may do as it likes."""
    return "" if is_own(address) else network_of(address)


def refusal(path: str) -> Response:
    """That somebody asks too much, as a sentence; for a program in the form of its answers."""
    text, later = "too many questions at once: wait for the answers", {"Retry-After": "2"}
    if path.startswith("/api/"):
        return JSONResponse({"error": text}, 429, later)
    return PlainTextResponse(f"{text.capitalize()}.\n", 429, later)


class Budget:
    """ASGI middleware: answers at most so many questions of one address at once."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app
        self._running: Counter[str] = Counter()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["path"].startswith(STREAMS):
            await self.app(scope, receive, send)
            return
        caller = _stranger((scope.get("client") or ("",))[0])
        if caller and self._running[caller] >= MOST_AT_ONCE:
            await refusal(scope["path"])(scope, receive, send)
            return
        self._running[caller] += 1
        try:
            await self.app(scope, receive, send)
        finally:
            self._running[caller] -= 1
            if not self._running[caller]:
                del self._running[caller]
