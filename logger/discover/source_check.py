"""Looks into each [[source]] of a boat file: its kind and options, and whether what it names opens.

A source is opened as the recorder opens it, and closed at once: listening only, control lines low.
While a recorder is at work nothing is opened, as the ports are its.
"""

import re
from dataclasses import dataclass
from pathlib import Path

from logger import boat as boats
from logger.boat import Boat, SourceSpec
from logger.boat.errors import lines_of
from logger.daemon import source_kinds
from logger.daemon.config import SourceConfig
from logger.decode.counters import Counters
from logger.errors import BoatFileError, LoggerError, StoreError
from logger.store.lock import WriterLock, lock_path


@dataclass(frozen=True)
class Looked:
    """One source. ok: whether it can be recorded; None: not tried. text: a sentence."""

    name: str
    ok: bool | None
    text: str


def look_into(boat_file: Path, log: Path) -> tuple[Looked, ...]:
    """Each source, in the order of the file. Raises BoatFileError."""
    boat = boats.load(boat_file)
    lines = lines_of(boat_file.read_text("utf-8-sig"))
    busy = is_recorded(log)
    return tuple(
        _looked(boat, number, boat_file, lines, busy) for number in range(len(boat.source))
    )


def is_recorded(log: Path) -> bool:
    """Whether a recorder is at work on a log; asking leaves no file."""
    if not lock_path(log).exists():
        return False
    try:
        WriterLock(log).release()
    except StoreError:
        return True
    except OSError:  # somebody else's log: its recorder is not ours to ask
        return False
    return False


def _looked(
    boat: Boat, number: int, boat_file: Path, lines: dict[tuple[str | int, ...], int], busy: bool
) -> Looked:
    spec = boat.source[number]
    try:
        if spec.kind in source_kinds.RECORDED:
            return Looked(spec.name, None, "says how recordings are read")
        source_kinds.check_kind(_config(spec))
        if busy:
            return Looked(spec.name, None, "not tried, as a recorder is at work with it")
        opened = source_kinds.open_source(_config(spec), boat_file.parent, Counters(spec.name))
    except LoggerError as error:
        said = re.sub(rf"^source {re.escape(spec.name)}[,:] ", "", " ".join(str(error).split()))
        at = _line(said, number, lines) if isinstance(error, BoatFileError) else ""
        return Looked(spec.name, False, f"{at}{said}")
    opened.close()
    return Looked(spec.name, True, "opens; `keelwatt check --listen` says what it speaks")


def _config(spec: SourceSpec) -> SourceConfig:
    return SourceConfig(spec.name, spec.kind, spec.options)


def _line(said: str, number: int, lines: dict[tuple[str | int, ...], int]) -> str:
    """The line of the key that a sentence names, else the source's own."""
    keys = {said.partition(":")[0].rpartition(", ")[2].strip(), *re.findall(r"got '(\w+)'", said)}
    own = {place: line for place, line in lines.items() if place[:2] == ("source", number)}
    named = [line for place, line in own.items() if place[-1] in keys]
    at = named[0] if named else own.get(("source", number), 0)
    return f"line {at}: " if at else ""
