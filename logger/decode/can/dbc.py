"""Any DBC file, read by cantools, as layouts for blocks and single frames."""

import importlib
import sys
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import numpy.typing as npt

from logger.decode.can.frames import EXTENDED
from logger.decode.can.j1939_transport import CONNECTION, DATA, Transport
from logger.decode.can.pgn_id import Identifier, pgn_of, split
from logger.decode.counters import Counters
from logger.decode.fields import Bits, Bytes, Field, Layout, make_field
from logger.decode.message import Handler, MessageHandler, Thinning, Times
from logger.decode.signal_map import (
    Target,
    automatic,
    read_target,
    unknown_signal,
)
from logger.errors import BoatFileError
from logger.reading import Group, Item

Conditions = tuple[tuple[Bits, frozenset[int]], ...]


@dataclass(frozen=True, slots=True)
class DbcChoices:
    """How a file's messages are taken.

    Args:
        keep_others: With `signals`, keeps the signals that are not in it as `other_...` too.
        j1939: Matches by parameter group number whatever the sender's address, and takes the
            codes for "not available" and "error" as missing; None: where the file says so.
        longer: Accepts frames longer than the file says.
    """

    keep_others: bool = False
    j1939: bool | None = None
    longer: bool = False


class DbcDecoder:
    """Finds the handler for an identifier.

    Args:
        path: The DBC file.
        prefix: First part of the groups' keys, for example the source's name.
        counters: Takes what is refused.
        signals: "Message.Signal" -> {channel, sign, unit}; None maps every signal to `other_...`.
        choices: How the messages are taken.
    Raises:
        BoatFileError: The file cannot be read, or `signals` does not fit it.
    """

    def __init__(
        self,
        path: Path,
        prefix: str,
        counters: Counters,
        signals: Mapping[str, object] | None = None,
        choices: DbcChoices = DbcChoices(),
    ) -> None:
        self._prefix, self._counters = prefix, counters
        self._j1939, self._longer = choices.j1939, choices.longer
        self._by_id: dict[int, Any] = {}
        self._by_pgn: dict[int, Any] = {}
        for message in load(path).messages:
            self._enter(message)
        self._targets = self._read_signals(signals, choices.keep_others, path.name)
        self._transported = any(message.length > 8 for message in self._by_pgn.values())
        self._transport = Transport(counters)
        self._long: dict[int, Handler | None] = {}

    def handler(self, can_id: int) -> Handler | None:
        """What decodes frames of this identifier (bit 31 set: 29 bits); None: not in the file."""
        if self._transported and can_id & EXTENDED:
            pgn = pgn_of(can_id)
            if pgn in (CONNECTION, DATA):
                return TransportedHandler(split(can_id), self._transport, self._whole)
        message = self._message(can_id)
        if message is None:
            return None
        return MessageHandler(self.layouts(can_id), message.length, self._counters, self._longer)

    def _whole(self, pgn: int, source: int) -> Handler | None:
        """What decodes a message of more than eight bytes."""
        can_id = EXTENDED | pgn << 8 | source
        if can_id not in self._long:
            message = self._by_pgn.get(pgn)
            if message is None or len(self._long) > 1000:
                self._counters.add("unknown_id")
                return None
            self._long[can_id] = MessageHandler(
                self._layouts(message, can_id), message.length, self._counters, self._longer
            )
        return self._long[can_id]

    def layouts(self, can_id: int) -> list[Layout]:
        """The layouts of an identifier's message; none where it is not in the file."""
        message = self._message(can_id)
        return [] if message is None else self._layouts(message, can_id)

    def _message(self, can_id: int) -> Any:
        message = self._by_id.get(can_id)
        if message is None and can_id & EXTENDED:
            message = self._by_pgn.get(pgn_of(can_id))
        return message

    def ids_of(self, message: str) -> set[int]:
        """The identifiers of the messages of this name."""
        return {i for i, found in self._by_id.items() if found.name == message}

    def _enter(self, message: Any) -> None:
        can_id = message.frame_id | (EXTENDED if message.is_extended_frame else 0)
        if message.is_extended_frame and self._is_j1939(message):
            self._by_pgn[pgn_of(can_id)] = message
        else:
            self._by_id[can_id] = message

    def _is_j1939(self, message: Any) -> bool:
        return self._j1939 if self._j1939 is not None else message.protocol == "j1939"

    def _read_signals(
        self, signals: Mapping[str, object] | None, keep_others: bool, where: str
    ) -> dict[str, Target]:
        messages = [*self._by_id.values(), *self._by_pgn.values()]
        there = {f"{m.name}.{s.name}": (m, s) for m in messages for s in m.signals}
        targets = {}
        for key, entry in (signals or {}).items():
            if key not in there:
                raise unknown_signal(key, there, where)
            targets[key] = read_target(key, entry, there[key][1].unit)
        if signals is None or keep_others:
            for key, (message, signal) in there.items():
                if key not in targets:
                    targets[key] = automatic(message.name, signal.name, signal.unit)
        return targets

    def _layouts(self, message: Any, can_id: int) -> list[Layout]:
        parts: dict[Conditions, list[tuple[str, Field]]] = {}
        for signal in message.signals:
            target = self._targets.get(f"{message.name}.{signal.name}")
            if target:
                item = self._field(signal, target, self._is_j1939(message))
                parts.setdefault(conditions(message, signal), []).append((target.channel, item))
        return list(self._grouped(parts, message, can_id))

    def _grouped(
        self, parts: dict[Conditions, list[tuple[str, Field]]], message: Any, can_id: int
    ) -> Iterator[Layout]:
        number = f"{can_id & ~EXTENDED:08X}" if can_id & EXTENDED else f"{can_id:03X}"
        for which, (met, found) in enumerate(parts.items()):
            end = f"/{which}" if len(parts) > 1 else ""
            key = f"{self._prefix}/{number}{end}"
            names, fields = zip(*found, strict=True)
            group = Group(key, names, tuple(item.quantum for item in fields))
            yield Layout(group, fields, met)

    def _field(self, signal: Any, target: Target, j1939: bool) -> Field:
        bits = bits_of(signal)
        raw_range: tuple[int | None, int | None] = (None, None)
        if j1939 and bits.kind == "u":
            raw_range = (None, highest_measured(bits.length))
        return make_field(bits, target, float(signal.scale), float(signal.offset), raw_range)


class TransportedHandler:
    """Frames of J1939's transport protocol to the messages that they carry."""

    thinning: Thinning = "readings"

    def __init__(
        self,
        identifier: Identifier,
        transport: Transport,
        whole: Callable[[int, int], Handler | None],
    ) -> None:
        self._id, self._transport, self._whole = identifier, transport, whole

    def block(self, t_us: Times, lengths: npt.NDArray[np.uint8], data: Bytes) -> list[Item]:
        """Frames in time order."""
        rows = zip(t_us.tolist(), lengths.tolist(), data, strict=True)
        return [i for when, n, row in rows for i in self.row(when, row[:n].tobytes())]

    def row(self, t_us: int, data: bytes) -> list[Item]:
        """One frame; the rows of the message that it completes."""
        this = self._id
        done = self._transport.feed(this.pgn, this.source, this.destination, data)
        if done is None:
            return []
        handler = self._whole(done[0], this.source)
        return handler.row(t_us, done[1]) if handler else []


def load(path: Path) -> Any:
    """The cantools database of a DBC file.

    Raises:
        BoatFileError: No such file, or it is not a DBC file.
    """
    database = cantools_database()
    try:
        return database.load_file(str(path), database_format="dbc", strict=False)
    except OSError as error:
        raise BoatFileError(f"{path}: wants a DBC file, got {error.strerror or error}") from error
    except Exception as error:  # cantools lets its parser's own errors through
        raise BoatFileError(f"{path}: wants a DBC file, but it does not parse: {error}") from error


def cantools_database() -> Any:
    """`cantools.database` alone.

    Importing cantools brings its test tools, and with them python-can and asyncio: 5 MB and 0.3 s
    that a small board's recorder has no use for. They load as ever for whoever imports them.
    """
    if "cantools" not in sys.modules:
        unused = ("cantools.tester", "cantools.logreader")
        sys.modules.update({name: ModuleType(name) for name in unused})
        try:
            import cantools
        finally:
            for name in unused:
                sys.modules.pop(name, None)
        for name in unused:
            vars(cantools).pop(name.rpartition(".")[2], None)
    return importlib.import_module("cantools.database")


def bits_of(signal: Any) -> Bits:
    """Where a cantools signal sits."""
    kind = "f" if signal.is_float else "s" if signal.is_signed else "u"
    if signal.byte_order == "big_endian":
        start = 8 * (signal.start // 8) + 7 - signal.start % 8
        return Bits(start, signal.length, True, kind)
    return Bits(signal.start, signal.length, False, kind)


def conditions(message: Any, signal: Any) -> Conditions:
    """The selectors that must hold for a multiplexed signal, outermost last."""
    found = []
    while signal.multiplexer_ids is not None and signal.multiplexer_signal is not None:
        selector = message.get_signal_by_name(signal.multiplexer_signal)
        raw = bits_of(selector)
        found.append((raw, frozenset(int(i) for i in signal.multiplexer_ids)))
        signal = selector
    return tuple(found)


def highest_measured(length: int) -> int:
    """The highest raw number in J1939 that is a measurement, by the field's bits.

    Source: reference values 4.2: one byte 0 to 250, 0xFE.. is an error, 0xFF.. not available;
    two bits: 2 is an error, 3 not available. Other lengths: all ones is not available.
    """
    if length == 2:
        return 1
    if length >= 8 and length % 8 == 0:
        return (0xFB << (length - 8)) - 1
    return (1 << length) - 2 if length > 2 else (1 << length) - 1
