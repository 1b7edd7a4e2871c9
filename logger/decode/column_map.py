"""A CSV table's columns to channels: the TOML column map.

delimiter = ";"            # between the columns, if no comma: ";" or "\\t"
decimal = ","              # in numbers, if no point
comment = "#"              # lines that begin so are left out, before the names too
[time]
column = "time_s"          # or none, with step_s = 1.0: row k is k steps after the first
unit = "s"                 # us, ms, s, min, h; unix_s, unix_ms, iso are UTC
[[column]]
column = "battery_voltage_V"
channel = "pack_voltage_v"
unit = "V"                 # what the column is in; the channel's own unit if left out
factor = 0.1               # what one of the column's numbers stands for, before the unit
offset = -40               # to be added to that
sign = 1                   # -1 where the file counts the other way
optional = true            # no error where the file lacks the column

Dates as people write them, in one column or in two:

[time]
columns = ["Date", "Time"] # or column = "When"
format = "%d.%m.%Y %H:%M:%S"  # as Python's strptime; two columns with a blank between
zone = "Europe/Lisbon"     # UTC if left out
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, tzinfo
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from logger.boat.toml_text import MOST_CHARACTERS, read_toml
from logger.channels import find
from logger.decode.unit_names import inside, known
from logger.errors import BoatFileError

# Microseconds of each, by definition; 0: a date is no number.
TIME_UNITS = {
    "us": 1.0,
    "ms": 1e3,
    "s": 1e6,
    "min": 60e6,
    "h": 3600e6,
    "unix_s": 1e6,
    "unix_ms": 1e3,
    "unix_us": 1.0,
    "iso": 0.0,
    "date": 0.0,
}
DATES = ("iso", "date")  # of text, by fixed forms or by one that the map gives


@dataclass(frozen=True, slots=True)
class ColumnTarget:
    """One column: value in the channel's unit = number * factor + offset, times sign."""

    column: str
    channel: str
    factor: float
    offset: float
    sign: int
    optional: bool


@dataclass(frozen=True)
class ColumnMap:
    """A whole map. time_columns: none where rows are step_s apart; zone: of dates by a format."""

    where: str
    time_columns: tuple[str, ...]
    time_unit: str
    step_s: float
    delimiter: str
    columns: tuple[ColumnTarget, ...]
    time_format: str = ""
    zone: tzinfo = UTC
    decimal: str = "."
    comment: str = ""

    @property
    def is_utc(self) -> bool:
        """True where the times are UTC."""
        return self.time_unit.startswith("unix") or self.time_unit in DATES


def load_map(path: Path) -> ColumnMap:
    """Reads a map from a TOML file. Raises BoatFileError."""
    try:
        with path.open(encoding="utf-8-sig") as stream:
            table = read_toml(stream.read(MOST_CHARACTERS + 1))
    except OSError as error:
        raise BoatFileError(f"{path}: wants a column map, got: {error.strerror}") from error
    except (ValueError, RecursionError) as error:
        raise BoatFileError(f"{path}: wants TOML, got: {error}") from error
    return read_map(table, str(path))


def read_map(table: Mapping[str, object], where: str) -> ColumnMap:
    """Reads a map from a parsed table. Raises BoatFileError naming the key."""
    extra = set(table) - {"time", "column", "delimiter", "decimal", "comment"}
    if extra:
        raise BoatFileError(
            f"{where}: knows time, column, delimiter, decimal and comment, got {min(extra)!r}"
        )
    time = table.get("time")
    if not isinstance(time, Mapping) or not ({"column", "columns", "step_s"} & set(time)):
        raise BoatFileError(f"{where}, time: wants column and unit, or step_s, got {time!r}")
    step = time.get("step_s", 1.0)
    if not isinstance(step, int | float) or step <= 0:
        raise BoatFileError(f"{where}, time.step_s: wants seconds above 0, got {step!r}")
    entries = table.get("column")
    if not isinstance(entries, list) or not entries:
        raise BoatFileError(f"{where}, column: wants at least one [[column]]")
    targets = tuple(_target(entry, where) for entry in entries)
    _unique(targets, where)
    told = str(time.get("format", ""))
    return ColumnMap(
        where=where,
        time_columns=_time_columns(time, where),
        time_unit="date" if told else _time_unit(time, where),
        step_s=float(step),
        delimiter=_sign(table, "delimiter", ",", where),
        columns=targets,
        time_format=told,
        zone=_zone(time, where),
        decimal=_sign(table, "decimal", ".", where),
        comment=str(table.get("comment", "")),
    )


def _time_columns(time: Mapping[str, object], where: str) -> tuple[str, ...]:
    several = time.get("columns")
    if several is None:
        return (str(time["column"]),) if "column" in time else ()
    if not isinstance(several, list) or not several or "format" not in time:
        raise BoatFileError(
            f"{where}, time.columns: wants a list of columns, and time.format beside it, got "
            f"{several!r}"
        )
    return tuple(map(str, several))


def _time_unit(time: Mapping[str, object], where: str) -> str:
    unit = str(time.get("unit", "s"))
    if unit not in TIME_UNITS or unit == "date":
        names = ", ".join(name for name in TIME_UNITS if name != "date")
        raise BoatFileError(f"{where}, time.unit: wants one of {names}, got {unit}")
    return unit


def _zone(time: Mapping[str, object], where: str) -> tzinfo:
    name = time.get("zone")
    if name is None:
        return UTC
    try:
        return ZoneInfo(str(name))
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise BoatFileError(
            f"{where}, time.zone: wants a time zone's name, such as Europe/Lisbon, got {name!r}"
        ) from None


def _sign(table: Mapping[str, object], key: str, usual: str, where: str) -> str:
    """One character."""
    sign = str(table.get(key, usual))
    if len(sign) != 1:
        raise BoatFileError(f"{where}, {key}: wants one character, got {sign!r}")
    return sign


def _target(entry: object, where: str) -> ColumnTarget:
    if not isinstance(entry, Mapping) or not {"column", "channel"} <= set(entry):
        raise BoatFileError(f"{where}, column: each wants column and channel, got {entry!r}")
    name = str(entry["column"])
    extra = set(entry) - {"column", "channel", "unit", "factor", "offset", "sign", "optional"}
    if extra:
        raise BoatFileError(
            f"{where}, {name}: knows column, channel, unit, factor, offset, sign and optional, got "
            f"{min(extra)!r}"
        )
    channel = find(str(entry["channel"]))
    if channel is None:
        raise BoatFileError(
            f"{where}, {name}: wants the name of a channel (or other_...), got {entry['channel']!r}"
        )
    unit = known(str(entry.get("unit", channel.unit)))
    if unit is None or inside(unit)[0] != channel.unit:
        raise BoatFileError(
            f"{where}, {name}: wants a unit that fits {channel.unit}, got {entry.get('unit')!r}"
        )
    sign = entry.get("sign", 1)
    if sign not in (1, -1):
        raise BoatFileError(f"{where}, {name}: sign wants 1 or -1, got {sign!r}")
    _, times, plus = inside(unit)
    factor, offset = (
        _number(entry, key, usual, where) for key, usual in (("factor", 1), ("offset", 0))
    )
    optional = bool(entry.get("optional", False))
    # (number * factor + offset) in the column's unit, then into the channel's
    return ColumnTarget(
        name, channel.name, factor * times, offset * times + plus, int(sign), optional
    )


def _number(entry: Mapping[str, object], key: str, usual: float, where: str) -> float:
    value = entry.get(key, usual)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise BoatFileError(f"{where}, {entry['column']}: {key} wants a number, got {value!r}")
    return float(value)


def _unique(targets: tuple[ColumnTarget, ...], where: str) -> None:
    seen: set[str] = set()
    for target in targets:
        if target.channel in seen:
            raise BoatFileError(f"{where}: wants each channel once, got {target.channel} twice")
        seen.add(target.channel)
