"""Recorded lines: NMEA 0183, and raw copies of text and Modbus sources.

A line may be led by "(seconds.micro) name " as in CAN log text. NMEA 0183 without it has the
sentences' own UTC as its clock.
"""

import re
from collections.abc import Iterator
from pathlib import Path

from logger.decode.counters import Counters
from logger.decode.nmea.sentence_time import SentenceClock
from logger.decode.nmea.sentences import SentenceDecoder
from logger.reading import Item, UtcFix
from logger.sources.line_splitter import LineDecoder
from logger.sources.recordings.can_recording import DATED_US
from logger.sources.recordings.candump_line import read_time
from logger.sources.recordings.opened import open_bytes, read_piece
from logger.sources.rows import RowGatherer

_LED = re.compile(r"\s*\(([^)]{1,40})\)\s+(\S{1,40})\s+(?=\S)")


BATCH = 20_000  # lines of a batch, assumed
PIECE = 1 << 20  # bytes read at a time, assumed
LONGEST = 4096  # a line without an end is not a sentence, assumed


class LineRecording:
    """NMEA 0183 lines as a `Recording`.

    Args:
        path: The file.
        decoders: Name in the lines' lead -> decoder; "" is for all others.
        counters: Takes syntax and torn.
        others: Name in the lines' lead -> decoder, for lines that are no sentences.
    """

    def __init__(
        self,
        path: Path,
        decoders: dict[str, SentenceDecoder],
        counters: Counters,
        others: dict[str, LineDecoder] | None = None,
    ) -> None:
        self.path = path
        self.origin_us: int | None = None
        self.reached_us = 0
        self._decoders, self._counters = decoders, counters
        self._others = others or {}
        self._size, self._seen = max(path.stat().st_size, 1), 0
        self._lines = self._read()
        self._clock = SentenceClock()
        self._done = False

    @property
    def fraction(self) -> float:
        """How much of the file has been read, 0 to 1."""
        return 1.0 if self._done else min(0.99, self._seen / self._size)

    def batch(self) -> list[Item] | None:
        """The next items; the clock of lines without a lead is known after the first fix."""
        gathered, count = RowGatherer(), 0
        for line in self._lines:
            gathered.add(self._items(line))
            count += 1
            if count >= BATCH:
                break
        if not count:
            self._done = True
            return None
        return gathered.take()

    def close(self) -> None:
        """Lets the file go."""
        self._lines = iter(())

    def _items(self, line: str) -> list[Item]:
        found = _LED.match(line)
        name, body = (found[2], line[found.end() :]) if found else ("", line)
        if found and name in self._others:
            if not line.endswith("\n"):  # without a checksum nothing else tells a torn line
                self._counters.add("torn")
                return []
            return self._other(self._others[name], found[1], body)
        decoder = self._decoders.get(name) or self._decoders.get("")
        if decoder is None:
            self._counters.add("unknown_bus")
            return []
        sentence = decoder.parse(body)
        if sentence is None:
            return []
        try:
            if found:
                t_us = read_time(found[1])
                if t_us >= DATED_US:
                    self.origin_us = 0
            else:
                t_us = self._clock.advance(sentence.sentence_type, sentence.data)
        except (ValueError, IndexError, AttributeError, OverflowError):
            self._counters.add("syntax")
            return []
        items = decoder.items(sentence, t_us)
        if not found:
            self._anchor(items)
        self.reached_us = max(self.reached_us, t_us)
        return items

    def _other(self, decoder: LineDecoder, time: str, body: str) -> list[Item]:
        try:
            t_us = read_time(time)
        except ValueError:
            self._counters.add("syntax")
            return []
        if t_us >= DATED_US:
            self.origin_us = 0
        self.reached_us = max(self.reached_us, t_us)
        return decoder.feed(body.rstrip("\r\n"), t_us)

    def _anchor(self, items: list[Item]) -> None:
        if self.origin_us is None and items and isinstance(items[0], UtcFix):
            self.origin_us = items[0].utc_us - items[0].t_us

    def _read(self) -> Iterator[str]:
        rest = b""
        with open_bytes(self.path) as stream:
            while True:
                piece, torn = read_piece(stream, PIECE, self.path)
                if torn:
                    self._counters.add("torn")
                if not piece:
                    break
                self._seen += len(piece)
                *lines, rest = (rest + piece).split(b"\n")
                for line in lines:
                    yield line.decode("latin-1") + "\n"
                if len(rest) > LONGEST:
                    self._counters.add("syntax")
                    rest = b""
        if rest.strip():
            yield rest.decode("latin-1")
