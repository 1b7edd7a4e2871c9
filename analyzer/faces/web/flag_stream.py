"""Flags as an HTTP stream, as they are raised, get worse, are seen and cleared."""

import asyncio
from collections.abc import AsyncIterator, Callable, Sequence

from fastapi import APIRouter, Request
from fastapi.responses import Response, StreamingResponse
from starlette.concurrency import run_in_threadpool

from analyzer.answers.flags import Changes, as_json
from analyzer.estimation.results import FlagView

BEAT_S = 1.0
QUIET_S = 15.0  # a sign of life at least this often

router = APIRouter(include_in_schema=False)


async def events(ask: Callable[[], Sequence[FlagView]]) -> AsyncIterator[bytes]:
    """Server-sent events, one for each change; a comment now and then while all is quiet."""
    changes, quiet_s = Changes(), 0.0
    while True:
        found = changes.of(await run_in_threadpool(ask))
        for action, flag in found:
            yield f"event: {action}\ndata: {as_json(action, flag)}\n\n".encode()
        quiet_s = 0.0 if found else quiet_s + BEAT_S
        if quiet_s >= QUIET_S:
            quiet_s = 0.0
            yield b": still here\n\n"
        await asyncio.sleep(BEAT_S)


@router.get("/flags/live")
async def stream(request: Request) -> Response:
    """Flags as they are raised, get worse, are seen and cleared."""
    return StreamingResponse(events(request.app.state.log.flags), media_type="text/event-stream")
