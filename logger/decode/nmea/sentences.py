"""NMEA 0183 sentences to rows, parsed by pynmea2; the checksum must be there and right.

Empty fields are None, never 0. Fields marked void by the device (status V, fix quality 0) are
None too. Understood: RMC, GGA, GLL, VTG, VHW, HDT, HDG, HDM, MTW, DPT, DBT, MWV, MWD, VWR, RPM,
VLW, XDR, ZDA, THS, MTA, MDA; others are counted as unknown_sentence.
"""

import re
from collections.abc import Callable, Mapping
from types import SimpleNamespace
from typing import Any

import pynmea2

from logger.channels import find
from logger.decode.counters import Counters
from logger.decode.nmea.sentence_fields import KINDS, Reading, xdr
from logger.decode.nmea.sentence_time import SentenceUtc
from logger.errors import BoatFileError
from logger.reading import (
    Group,
    Item,
    Quantum,
    Row,
)

MOST_GROUPS = 300  # garbage must not fill the log with groups, assumed
_SHAPE = re.compile(r"[$!][A-Z0-9]{4,8},[\x20-\x7e]*\*[0-9A-Fa-f]{2}\s*")


class SentenceDecoder:
    """Decodes sentences one by one.

    Args:
        name: First part of the groups' keys.
        counters: Takes frames (sentences), checksum, syntax, void, unknown_sentence,
            out_of_limits, missing, too_many_kinds.
        transducers: XDR transducer id -> channel; others become `other_...`.
    Raises:
        BoatFileError: A transducer's channel does not exist.
    """

    def __init__(
        self, name: str, counters: Counters, transducers: Mapping[str, str] | None = None
    ) -> None:
        self._name, self.counters = name, counters
        self._transducers = dict(transducers or {})
        for key, channel in self._transducers.items():
            if find(channel) is None:
                raise BoatFileError(
                    f"source {name}, xdr, {key}: wants the name of a channel, got {channel!r}"
                )
        self._groups: dict[tuple[str, ...], Group] = {}
        self.utc = SentenceUtc()

    def parse(self, line: str) -> Any | None:
        """The line as a pynmea2 sentence; None, and counted, where it is refused."""
        text = line.strip()
        if not text:  # between two sentences: nothing was sent
            return None
        self.counters.add("frames")
        address, *data = text[1:].partition("*")[0].split(",")
        try:
            sentence = pynmea2.parse(text, check=True)
            if hasattr(sentence, "sentence_type"):
                return sentence
            self.counters.add_unknown("unknown_sentence", address[:8])  # a maker's own, or a query
        except pynmea2.ChecksumError:
            self.counters.add("checksum")
        except pynmea2.SentenceTypeError:
            if address[2:] in KINDS:  # the library knows fewer kinds; the check sum was right
                return SimpleNamespace(talker=address[:2], sentence_type=address[2:], data=data)
            self.counters.add_unknown("unknown_sentence", address[:8])
        except (pynmea2.ParseError, ValueError, IndexError, KeyError):
            self.counters.add("syntax")
        return None

    def feed(self, line: str, t_us: int) -> list[Item]:
        """All that a line says, as of `t_us`."""
        sentence = self.parse(line)
        return self.items(sentence, t_us) if sentence is not None else []

    def items(self, sentence: Any, t_us: int) -> list[Item]:
        """All that a parsed sentence says, as of `t_us`."""
        kind = getattr(sentence, "sentence_type", "")
        items: list[Item] = []
        try:
            fix = self.utc.offer(kind, sentence.data, t_us)
            if fix:
                items.append(fix)
            readings = self._readings(kind, sentence.data)
        except (ValueError, IndexError, KeyError, OverflowError):
            self.counters.add("syntax")
            return items
        row = self._row(f"{sentence.talker}{kind}", readings, t_us) if readings else None
        return [*items, row] if row else items

    def _readings(self, kind: str, data: list[str]) -> list[Reading]:
        if kind == "XDR":
            return xdr(data, self._transducers)
        if kind == "ZDA":
            return []
        reader: Callable[[list[str]], list[Reading] | None] | None = KINDS.get(kind)
        if reader is None:
            self.counters.add_unknown("unknown_sentence", kind)
            return []
        readings = reader(data)
        if readings is None:
            self.counters.add("void")
            return []
        return readings

    def _row(self, words: str, readings: list[Reading], t_us: int) -> Row | None:
        values: list[float | None] = []
        for reading in readings:
            channel, value = find(reading.channel), reading.value
            if value is None:
                self.counters.add("missing")
            elif channel and not channel.low <= value <= channel.high:
                self.counters.add("out_of_limits")
                value = None
            values.append(value)
        if all(value is None for value in values):
            return None
        group = self._group(words, readings)
        return Row(group, t_us, values) if group else None

    def _group(self, words: str, readings: list[Reading]) -> Group | None:
        channels = tuple(reading.channel for reading in readings)
        known = self._groups.get((words, *channels))
        if known is None:
            if len(self._groups) >= MOST_GROUPS or len(set(channels)) < len(channels):
                self.counters.add("too_many_kinds")
                return None
            same = sum(1 for key in self._groups if key[0] == words)
            end = f"/{same}" if same else ""
            quanta = tuple(Quantum(reading.step) for reading in readings)
            known = Group(f"{self._name}/{words}{end}", channels, quanta)
            self._groups[(words, *channels)] = known
        return known


def looks_like_sentence(line: bytes) -> bool:
    """True for a line that has a sentence's shape, its checksum not yet tested."""
    return _SHAPE.fullmatch(line.decode("latin-1")) is not None
