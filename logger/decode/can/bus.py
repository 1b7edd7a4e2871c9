"""Everything one CAN bus says, decoded by whatever the boat file names.

Options of a source that carry a decoder (kind "can", and recordings of it):

    decode = [{dbc = "motor.dbc"}, "nmea2000"]     # default: ["nmea2000"]
    keep_others = false      # true keeps unmapped DBC signals as other_...
    longer_frames = false    # true accepts frames longer than the DBC says
    pack_instance = 0        # battery instance of NMEA 2000 that is the pack
    motor_instance = 0       # engine instance of NMEA 2000 that is the motor
    hvess_sign = 1           # of the current in SAE J1939's 61584, which "nmea2000" reads too: 1
                             # positive when the pack gives, -1 when it takes; else it is kept
                             # as other_hvess_current_a
    [source.options.signals]
    "Battery.Current" = {channel = "pack_current_a", sign = -1, unit = "A"}
    [source.options.temperatures]                  # NMEA 2000 130312 and 130316
    "engine_room.0" = "ambient_temp_c"

An entry {eds = "drive.eds", node = 5, ...} is a CANopen node (see canopen_node.py). A DBC entry may
say {dbc = "file.dbc", j1939 = true, signals = {...}}: its own table, matched by
parameter group number. Without any `signals`, every signal of the DBC file is kept.
"""

import itertools
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Protocol

import numpy as np
import numpy.typing as npt

from logger.decode.can.dbc import DbcChoices, DbcDecoder
from logger.decode.can.frames import EXTENDED, FrameBatch, identifier_words
from logger.decode.can.pgn import PgnDecoder
from logger.decode.can.pgn_channels import PgnNames
from logger.decode.counters import Counters
from logger.decode.message import Handler, Thinning
from logger.decode.rates import MOST_IDS, Rates
from logger.errors import BoatFileError
from logger.reading import Item

KEYS = (
    "decode",
    "signals",
    "keep_others",
    "longer_frames",
    "pack_instance",
    "motor_instance",
    "hvess_sign",
    "temperatures",
    "max_hz",
    "full_rate",
)
THINNINGS: tuple[Thinning, ...] = ("frames", "readings", "nothing")
# fewer frames of one identifier are decoded one by one, about where blocks begin to pay, assumed
SMALL = 12


Rows = npt.NDArray[np.intp]


class HandlerFinder(Protocol):
    """A decoder: finds what decodes an identifier."""

    def handler(self, can_id: int) -> Handler | None:
        """None where the identifier is not this decoder's."""


class BusDecoder:
    """Frames to items.

    Args:
        decoders: Asked in order; every one that knows an identifier decodes it.
        counters: Takes frames, unknown identifiers and what the decoders refuse.
        rates: Thins what comes too often; None: all is kept.
    """

    def __init__(
        self,
        decoders: Iterable[HandlerFinder],
        counters: Counters,
        rates: "Rates | None" = None,
    ) -> None:
        self._rates = rates
        self._decoders = tuple(decoders)
        self.counters = counters
        self._handlers: dict[int, tuple[Handler, ...]] = {}

    @property
    def decoders(self) -> tuple[HandlerFinder, ...]:
        """In the order of the boat file."""
        return self._decoders

    def handlers(self, can_id: int) -> tuple[Handler, ...]:
        """All that decode this identifier (bit 31 set: 29 bits)."""
        known = self._handlers.get(can_id)
        if known is None:
            if len(self._handlers) >= MOST_IDS:
                self._handlers.clear()
            found = (decoder.handler(can_id) for decoder in self._decoders)
            known = tuple(handler for handler in found if handler is not None)
            self._handlers[can_id] = known
        return known

    def feed(self, batch: FrameBatch) -> list[Item]:
        """Decodes a batch of a recording; its frames are in time order."""
        items: list[Item] = []
        for _, handlers, rows in self._runs(batch):
            items += _in_block(handlers, batch, rows)
        return items

    def feed_live(self, batch: FrameBatch) -> list[Item]:
        """Decodes a batch of a moment: thinned by `max_hz`, few frames of a kind one by one."""
        items: list[Item] = []
        for can_id, handlers, rows in self._runs(batch):
            rates = self._rates
            if rates is None or rates.spares(can_id):
                items += _of_moment(handlers, batch, rows)
                continue
            for thinning in THINNINGS:
                alike = tuple(handler for handler in handlers if handler.thinning == thinning)
                if not alike:
                    continue
                some = rates.kept(can_id, rows, batch.t_us) if thinning == "frames" else rows
                found = _of_moment(alike, batch, some)
                items += rates.thinned(found) if thinning == "readings" else found
        return items

    def _runs(self, batch: FrameBatch) -> Iterator[tuple[int, tuple[Handler, ...], Rows]]:
        """The frames by identifier, with what decodes them."""
        self.counters.add("frames", len(batch))
        order = np.argsort(batch.ids, kind="stable")
        ids = batch.ids[order]
        edges = [0, *(np.flatnonzero(ids[1:] != ids[:-1]) + 1).tolist(), len(ids)]
        for start, end in itertools.pairwise(edges):
            if start == end:
                continue
            can_id = int(ids[start])
            handlers = self.handlers(can_id)
            if handlers:
                yield can_id, handlers, order[start:end]
            else:
                self.counters.add_unknown("unknown_id", identifier_words(can_id), end - start)


def _of_moment(handlers: tuple[Handler, ...], batch: FrameBatch, rows: Rows) -> list[Item]:
    if len(rows) >= SMALL:
        return _in_block(handlers, batch, rows)
    items: list[Item] = []
    for row in rows.tolist():
        data = batch.data[row, : batch.lengths[row]].tobytes()
        for handler in handlers:
            items += handler.row(int(batch.t_us[row]), data)
    return items


def _in_block(handlers: tuple[Handler, ...], batch: FrameBatch, rows: Rows) -> list[Item]:
    t_us, lengths, data = batch.t_us[rows], batch.lengths[rows], batch.data[rows]
    if len(handlers) == 1:
        return handlers[0].block(t_us, lengths, data)
    return [item for handler in handlers for item in handler.block(t_us, lengths, data)]


def from_options(
    name: str, options: Mapping[str, object], folder: Path, counters: Counters
) -> BusDecoder:
    """The decoder that a source's options ask for (see the module's text).

    Args:
        name: The source's name; the groups' keys begin with it.
        options: `[source.options]`.
        folder: Files named in the options are relative to it.
    Raises:
        BoatFileError: An option is wrong.
    """
    entries = options.get("decode", ["nmea2000"])
    if not isinstance(entries, list):
        entries = [entries]
    decoders = [_decoder(name, entry, options, folder, counters) for entry in entries]
    return BusDecoder(decoders, counters, _rates(name, options, decoders))


def _decoder(
    name: str, entry: object, options: Mapping[str, object], folder: Path, counters: Counters
) -> HandlerFinder:
    if entry == "nmea2000":
        return PgnDecoder(name, counters, _pgn_names(name, options))
    if isinstance(entry, Mapping) and "dbc" in entry:
        signals = entry.get("signals", options.get("signals"))
        if signals is not None and not isinstance(signals, Mapping):
            raise BoatFileError(f"source {name}, signals: wants a table, got {signals!r}")
        choices = DbcChoices(
            bool(options.get("keep_others", False)),
            bool(entry["j1939"]) if "j1939" in entry else None,
            bool(options.get("longer_frames", False)),
        )
        return DbcDecoder(folder / str(entry["dbc"]), name, counters, signals, choices)
    if isinstance(entry, Mapping) and "eds" in entry:
        return _canopen(name, entry, folder, counters)
    raise BoatFileError(
        f'source {name}, decode: wants {{dbc = "file.dbc"}}, {{eds = "file.eds", node = n}} or '
        f'"nmea2000", got {entry!r}'
    )


def _canopen(
    name: str, entry: Mapping[str, object], folder: Path, counters: Counters
) -> HandlerFinder:
    from logger.decode.can.canopen_node import CanopenDecoder

    node, signals = entry.get("node"), entry.get("signals")
    if isinstance(node, bool) or not isinstance(node, int) or not 1 <= node <= 127:
        raise BoatFileError(f"source {name}, decode, node: wants a number 1 to 127, got {node!r}")
    if signals is not None and not isinstance(signals, Mapping):
        raise BoatFileError(f"source {name}, decode, signals: wants a table, got {signals!r}")
    return CanopenDecoder(folder / str(entry["eds"]), node, name, counters, signals)


def _rates(name: str, options: Mapping[str, object], decoders: list[HandlerFinder]) -> Rates | None:
    if "max_hz" not in options:
        return None
    most = options["max_hz"]
    if isinstance(most, bool) or not isinstance(most, int | float) or not 0 < most <= 10_000:
        raise BoatFileError(f"source {name}, max_hz: wants a number 0 to 10000, got {most!r}")
    spared: set[int] = set()
    listed = options.get("full_rate", [])
    for word in listed if isinstance(listed, list) else [listed]:
        found = ids_of(str(word), decoders)
        if not found:
            raise BoatFileError(
                f'source {name}, full_rate: wants messages of a DBC file or "0x123", got {word!r}'
            )
        spared |= found
    return Rates(float(most), frozenset(spared))


def ids_of(word: str, decoders: Iterable[HandlerFinder]) -> set[int]:
    """The identifiers that a word of `full_rate` means."""
    if word.lower().startswith("0x"):
        try:
            number = int(word, 16)
        except ValueError:
            return set()
        return {number | EXTENDED} if number > 0x7FF or len(word) > 5 else {number}
    return {
        i for decoder in decoders if isinstance(decoder, DbcDecoder) for i in decoder.ids_of(word)
    }


def _pgn_names(name: str, options: Mapping[str, object]) -> PgnNames:
    table = options.get("temperatures", {})
    if not isinstance(table, Mapping):
        raise BoatFileError(f"source {name}, temperatures: wants a table, got {table!r}")
    numbers = []
    for key in ("pack_instance", "motor_instance"):
        value = options.get(key, 0)
        if not isinstance(value, int) or not 0 <= value <= 252:
            raise BoatFileError(f"source {name}, {key}: wants a number 0 to 252, got {value!r}")
        numbers.append(value)
    sign = options.get("hvess_sign", 0)
    if isinstance(sign, bool) or sign not in (1, -1, 0):
        raise BoatFileError(f"source {name}, hvess_sign: wants 1 or -1, got {sign!r}")
    temperatures = {str(k): str(v) for k, v in table.items()}
    return PgnNames(numbers[0], numbers[1], temperatures, int(sign))
