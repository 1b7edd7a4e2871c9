"""Many readers of the live stream at once: each gets a beat a second, none holds up another."""

import asyncio
import os
import time

import httpx

FULL = bool(os.environ.get("KEELWATT_FULL"))
READERS, SECONDS = (100, 600) if FULL else (20, 6)


async def _read(client, url):
    beats, first = 0, None
    async with client.stream("GET", f"{url}/live") as answer:
        assert answer.headers["content-type"].startswith("text/event-stream")
        async for line in answer.aiter_lines():
            beats += line.startswith("data:")
            first = first or (time.monotonic() if beats else None)
            if first and time.monotonic() - first > SECONDS:
                return beats


async def _read_all(url):
    limits = httpx.Limits(max_connections=None)
    async with httpx.AsyncClient(timeout=60, limits=limits) as client:
        return await asyncio.gather(*(_read(client, url) for _ in range(READERS)))


def test_every_reader_gets_its_beats(site):
    beats = asyncio.run(_read_all(site))
    assert len(beats) == READERS
    assert min(beats) >= 0.8 * SECONDS
    assert max(beats) <= SECONDS + 3
