"""A release that a phone sends, and what becomes of it (deploy/new-release.sh).

It is written to the card as it comes, never held in memory, and nothing in it is looked at here:
that is for the one who acts as root, by its signature.
"""

import asyncio
import os
import shutil
from collections.abc import AsyncIterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from fastapi import Request
from fastapi.concurrency import run_in_threadpool
from python_multipart.exceptions import MultipartParseError
from python_multipart.multipart import MultipartParser, parse_options_header

from analyzer.answers.transfer import status
from analyzer.faces.web.set_up.forms import FormError, check_length

TOLD = Path("/run/keelwatt-update")
MOST_BYTES = 400_000_000  # of a release, as deploy/release_file.py has it; assumed
FORM_BYTES = 10_000  # of what a form puts around a file; assumed
LEFT_BYTES = 50_000_000  # of room that the recorder keeps; assumed
IDLE_S = 30.0  # from one piece to the next; assumed
NAME = "keelwatt.release"
TOO_LONG = "this file is larger than any release"


@dataclass(frozen=True)
class Progress:
    """A change of release. said: what was told last, "" for nothing. busy: it goes on."""

    said: str
    busy: bool


def progress(told: Path = TOLD) -> Progress:
    """How far it is."""
    return Progress(status.backed_up(told / "said"), (told / "busy").exists())


class Receiver:
    """Takes one release at a time."""

    def __init__(self) -> None:
        self._taking = asyncio.Lock()

    async def take(self, request: Request, folder: Path) -> None:
        """The file of a form, whole on the card.

        Args:
            folder: Made where it is not there; the file is NAME in it.
        Raises:
            FormError: Too long, no room, broken off, no file, or another one is on its way.
        """
        try:
            check_length(request, MOST_BYTES + FORM_BYTES)
        except FormError:
            raise FormError(TOO_LONG) from None
        if self._taking.locked():
            raise FormError("another release is just being sent: wait for it")
        async with self._taking:
            await _take(request, folder)


async def _take(request: Request, folder: Path) -> None:
    part = folder / "keelwatt.part"
    try:
        folder.mkdir(mode=0o700, exist_ok=True)
        part.unlink(missing_ok=True)
        room = shutil.disk_usage(folder).free - LEFT_BYTES
        if int(request.headers["content-length"]) > room:
            raise FormError("there is no room for it on the card")
        with part.open("xb") as file:
            await _copy(request, file)
            await run_in_threadpool(_settle, file)
        part.replace(folder / NAME)
    except OSError as error:
        raise FormError(f"the file could not be kept: {error.strerror}") from error
    finally:
        part.unlink(missing_ok=True)


def _settle(file: BinaryIO) -> None:
    file.flush()
    os.fsync(file.fileno())


async def _copy(request: Request, file: BinaryIO) -> None:
    """Writes the one file of a form. Raises FormError."""
    kind, options = parse_options_header(request.headers.get("content-type"))
    if kind != b"multipart/form-data" or not options.get(b"boundary"):
        raise FormError("choose a release first: what came is no file")
    parts = 0

    def keep(data: bytes, start: int, end: int) -> None:
        file.write(data[start:end])

    def count() -> None:
        nonlocal parts
        parts += 1

    parser = MultipartParser(options[b"boundary"], {"on_part_data": keep, "on_part_end": count})
    try:
        async for piece in _patiently(request.stream()):
            parser.write(piece)
            if file.tell() > MOST_BYTES:
                raise FormError(TOO_LONG)
    except MultipartParseError:
        raise FormError("the file did not come whole: send it again") from None
    if parts != 1 or not file.tell():
        raise FormError("choose a release first: no file came, or not the whole of it")


async def _patiently(pieces: AsyncIterator[bytes]) -> AsyncIterator[bytes]:
    """Pieces as they come. Raises FormError where none comes for long."""
    while True:
        try:
            yield await asyncio.wait_for(anext(pieces), IDLE_S)
        except StopAsyncIteration:
            return
        except TimeoutError:
            raise FormError("the file stopped coming: send it again") from None
