"""A CSV table's columns to channels: the TOML column map.

delimiter = ","            # optional
[time]
column = "time_s"          # or none, with step_s = 1.0: row k is k steps after the first
unit = "s"                 # us, ms, s, min, h; unix_s, unix_ms, iso are UTC
[[column]]
column = "battery_voltage_V"
channel = "pack_voltage_v"
unit = "V"                 # what the column is in; the channel's own unit if left out
sign = 1                   # -1 where the file counts the other way
optional = true            # no error where the file lacks the column
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

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
}


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
    """A whole map. time_column None: rows are step_s apart."""

    where: str
    time_column: str | None
    time_unit: str
    step_s: float
    delimiter: str
    columns: tuple[ColumnTarget, ...]

    @property
    def is_utc(self) -> bool:
        """True where the times are UTC."""
        return self.time_unit.startswith("unix") or self.time_unit == "iso"


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
    extra = set(table) - {"time", "column", "delimiter"}
    if extra:
        raise BoatFileError(f"{where}: knows time, column and delimiter, got {min(extra)!r}")
    time = table.get("time")
    if not isinstance(time, Mapping) or not ({"column", "step_s"} & set(time)):
        raise BoatFileError(f"{where}, time: wants column and unit, or step_s, got {time!r}")
    unit = str(time.get("unit", "s"))
    if unit not in TIME_UNITS:
        raise BoatFileError(f"{where}, time.unit: wants one of {', '.join(TIME_UNITS)}, got {unit}")
    step = time.get("step_s", 1.0)
    if not isinstance(step, int | float) or step <= 0:
        raise BoatFileError(f"{where}, time.step_s: wants seconds above 0, got {step!r}")
    entries = table.get("column")
    if not isinstance(entries, list) or not entries:
        raise BoatFileError(f"{where}, column: wants at least one [[column]]")
    column = str(time["column"]) if "column" in time else None
    targets = tuple(_target(entry, where) for entry in entries)
    _unique(targets, where)
    return ColumnMap(where, column, unit, float(step), str(table.get("delimiter", ",")), targets)


def _target(entry: object, where: str) -> ColumnTarget:
    if not isinstance(entry, Mapping) or not {"column", "channel"} <= set(entry):
        raise BoatFileError(f"{where}, column: each wants column and channel, got {entry!r}")
    name = str(entry["column"])
    extra = set(entry) - {"column", "channel", "unit", "sign", "optional"}
    if extra:
        raise BoatFileError(
            f"{where}, {name}: knows column, channel, unit, sign and optional, got {min(extra)!r}"
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
    _, factor, offset = inside(unit)
    return ColumnTarget(
        name, channel.name, factor, offset, int(sign), bool(entry.get("optional", False))
    )


def _unique(targets: tuple[ColumnTarget, ...], where: str) -> None:
    seen: set[str] = set()
    for target in targets:
        if target.channel in seen:
            raise BoatFileError(f"{where}: wants each channel once, got {target.channel} twice")
        seen.add(target.channel)
