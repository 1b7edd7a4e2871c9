"""Chunks of bytes to lines, and lines through a decoder as a source."""

from typing import Protocol

from logger.boot_clock import mono_us
from logger.reading import Item
from logger.sources.byte_stream import ByteStream
from logger.sources.raw_copy import RawFile

LONGEST = 4096  # bytes without an end of line are noise, assumed


class LineSplitter:
    """Keeps the unfinished last line until its end comes."""

    def __init__(self) -> None:
        self._rest = b""

    def feed(self, chunk: bytes) -> list[str]:
        """Whole lines, without their ends; empty ones left out."""
        text = self._rest + chunk
        if b"\n" not in text and b"\r" not in text:
            self._rest = text if len(text) <= LONGEST else b""
            return []
        *lines, self._rest = text.replace(b"\r", b"\n").split(b"\n")
        if len(self._rest) > LONGEST:
            self._rest = b""
        return [line.decode("latin-1") for line in lines if line]


class LineDecoder(Protocol):
    """Decodes lines whose time is known."""

    def feed(self, line: str, t_us: int) -> list[Item]:
        """The items of a line."""


class LineSource:
    """Lines of a device as a `Source`.

    Args:
        name: The source's name.
        stream: Where bytes come from.
        decoder: Decodes lines.
        raw: Takes every line as it came; None: not kept.
    """

    def __init__(
        self, name: str, stream: ByteStream, decoder: LineDecoder, raw: RawFile | None = None
    ) -> None:
        self.name = name
        self._stream, self._decoder, self._raw = stream, decoder, raw
        self._lines = LineSplitter()

    def read(self, timeout_s: float) -> list[Item] | None:
        """The items of all lines that have come, as of now."""
        chunk = self._stream.read(timeout_s)
        t_us = mono_us()
        items: list[Item] = []
        for line in self._lines.feed(chunk) if chunk else []:
            if self._raw:
                self._raw.line(t_us, self.name, line)
            items += self._decoder.feed(line, t_us)
        return items

    def close(self) -> None:
        """Lets the port go."""
        self._stream.close()
        if self._raw:
            self._raw.close()
