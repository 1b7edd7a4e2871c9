"""Text lines of any device, by a pattern with named groups, or by columns.

    [[source]]
    name = "shunt"
    kind = "text"
    [source.options]
    port = "/dev/ttyUSB2"      # or tcp, udp: as for nmea0183
    baud = 9600
    pattern = 'V=(?P<volts>[-\\d.]+) A=(?P<amps>[-\\d.]+)'
    # or: delimiter = ",", columns = ["", "volts", "amps"]   ("" is skipped)
    [source.options.signals]
    volts = {channel = "pack_voltage_v", unit = "mV"}
    amps = {channel = "pack_current_a", sign = -1}

A line that does not match is counted; a field that is no number is missing. Values are kept
exactly.
"""

import re

from logger.channels import find
from logger.decode.counters import Counters
from logger.decode.signal_map import Target, read_target
from logger.errors import BoatFileError
from logger.reading import (
    EXACT,
    Group,
    Item,
    Row,
)
from logger.sources.byte_stream import STREAM_KEYS, open_stream
from logger.sources.line_splitter import LineSource
from logger.sources.options import Options
from logger.sources.raw_copy import RAW_KEYS, RawFile

KEYS = {*STREAM_KEYS, *RAW_KEYS, "pattern", "delimiter", "columns", "signals"}


class LineDecoder:
    """Lines to rows.

    Args:
        name: First part of the group's key.
        counters: Takes frames (lines), syntax, missing, out_of_limits.
        targets: Field name -> where it goes.
        pattern: With a named group for each field; None: by columns.
        delimiter, columns: Names of the columns in their order; "" is skipped.
    """

    def __init__(
        self,
        name: str,
        counters: Counters,
        targets: dict[str, Target],
        pattern: "re.Pattern[str] | None" = None,
        delimiter: str = ",",
        columns: tuple[str, ...] = (),
    ) -> None:
        self._counters, self._targets = counters, targets
        self._pattern, self._delimiter, self._columns = pattern, delimiter, columns
        channels = tuple(target.channel for target in targets.values())
        self._group = Group(f"{name}/text", channels, (EXACT,) * len(channels))

    def feed(self, line: str, t_us: int) -> list[Item]:
        """The row of a line; nothing where it does not match or has no value."""
        self._counters.add("frames")
        fields = self._fields(line)
        if fields is None:
            self._counters.add("syntax")
            return []
        values = [self._value(fields.get(name), t) for name, t in self._targets.items()]
        if all(value is None for value in values):
            return []
        return [Row(self._group, t_us, values)]

    def _fields(self, line: str) -> "dict[str, str | None] | None":
        if self._pattern:
            found = self._pattern.search(line)
            return found.groupdict() if found else None
        parts = line.split(self._delimiter)
        if len(parts) != len(self._columns):
            return None
        return {name: part.strip() for name, part in zip(self._columns, parts, strict=True) if name}

    def _value(self, text: str | None, target: Target) -> float | None:
        try:
            number = float(text or "")
        except ValueError:
            self._counters.add("missing")
            return None
        return target.value(number, self._counters)


def open_source(options: Options, counters: Counters, raw: RawFile | None) -> LineSource:
    """Opens the source. Raises BoatFileError, SourceError."""
    options.only(KEYS)
    decoder = decoder_from(options, counters)
    return LineSource(options.source, open_stream(options, 9600), decoder, raw)


def decoder_from(options: Options, counters: Counters) -> LineDecoder:
    """The decoder that the options describe. Raises BoatFileError."""
    table = options.subtable("signals")
    if not table:
        raise options.wrong("signals", "at least one field")
    targets = {}
    for name, entry in table.items():
        channel = find(str(entry.get("channel") if isinstance(entry, dict) else entry))
        targets[name] = read_target(name, entry, channel.unit if channel else None)
    if ("pattern" in options.table) == ("columns" in options.table):
        raise options.wrong("pattern", "exactly one of pattern and columns")
    if "columns" in options.table:
        columns = options.texts("columns")
        _all_there(options, "columns", set(columns), targets)
        delimiter = options.text("delimiter", ",")
        return LineDecoder(options.source, counters, targets, None, delimiter, columns)
    pattern = _pattern(options)
    _all_there(options, "pattern", set(pattern.groupindex), targets)
    return LineDecoder(options.source, counters, targets, pattern)


def _pattern(options: Options) -> "re.Pattern[str]":
    try:
        return re.compile(options.text("pattern"))
    except re.error as error:
        raise options.wrong("pattern", f"a regular expression ({error})") from error


def _all_there(options: Options, key: str, there: set[str], targets: dict[str, Target]) -> None:
    for name in targets:
        if name not in there:
            raise BoatFileError(
                f"source {options.source}, signals, {name}: wants a field named in {key}"
            )
