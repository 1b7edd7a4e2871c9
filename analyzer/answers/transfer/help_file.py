"""One file to send for help: how the board fares, the boat file, flags, and the newest readings.

What would tell where the boat is, and words that open something, are left out unless they are
wished. The rules are by key, by channel and by form of text: a place in a sentence goes too.
"""

import json
import re
import zipfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, BinaryIO, Protocol

import tomlkit

from analyzer.answers.transfer.status import as_text, status
from analyzer.errors import AnalyzerError
from analyzer.estimation.results import CheckAnswer, FlagView, to_json
from analyzer.exchange import csv_table, rows
from logger.errors import BoatFileError, LoggerError
from logger.store import Store

LEFT_OUT = "(left out)"
NEWEST_US, STEP_S = 3_600_000_000, 10.0  # of readings: an hour is 100 kB; assumed
# Keys whose value is or holds a place, or opens something, wherever they stand.
PLACES = re.compile(r"latitude|longitude|^home|(?<!dis)place|position|route|waypoint", re.I)
CODES = re.compile(r"passw|token|secret|pairing|^key$|_key$|user|^command$|^url$|^tell$", re.I)
# 46 16.89 N; 46°16'53"N; 46.28150, -23.87400
NUMBER = r"\d{1,3}(?:[.,]\d+)?"
_SECONDS = rf"(?:{NUMBER}\s*[\"″]\s*)?"
PLACE_TEXT = re.compile(
    rf"{NUMBER}(?:\s*°\s*|\s+)(?:{NUMBER}\s*['′]?\s*{_SECONDS})[NSEW]\b"
    rf"|{NUMBER}\s*°\s*[NSEW]\b"
    r"|-?\d{1,3}\.\d{3,}\s*[,;/ ]\s*-?\d{1,3}\.\d{3,}"
)
# user:password@ in an address, and what follows a word for a secret
CODE_TEXT = re.compile(r"//[^/\s@]+@|(?i:passw\w*|token|secret)\s*[=:]\s*\S+")


@dataclass(frozen=True)
class Wishes:
    """What may go in."""

    positions: bool = False
    codes: bool = False

    def clean(self, value: Any) -> Any:
        """A JSON value without what may not go in."""
        if isinstance(value, Mapping):
            told = {key: self._under(str(key), part) for key, part in value.items()}
            return {**told, "value": None} if self._is_place(value) else told
        if isinstance(value, list | tuple):
            return [self.clean(part) for part in value]
        return self._text(value) if isinstance(value, str) else value

    def _under(self, key: str, part: Any) -> Any:
        if self._hides(key) and part not in (None, "", [], {}):
            return LEFT_OUT
        return self.clean(part)

    def _hides(self, key: str) -> bool:
        place = not self.positions and PLACES.search(key)
        return bool(place or (not self.codes and CODES.search(key)))

    def _is_place(self, row: Mapping[str, Any]) -> bool:
        """A row about a channel that is a place."""
        return "value" in row and self.hides_channel(str(row.get("name", "")))

    def hides_channel(self, name: str) -> bool:
        """Whether a channel would tell where the boat is."""
        return not self.positions and bool(PLACES.search(name))

    def _text(self, text: str) -> str:
        if not self.positions:
            text = PLACE_TEXT.sub(LEFT_OUT, text)
        return text if self.codes else CODE_TEXT.sub(LEFT_OUT, text)


class Asked(Protocol):
    """What is used of a `Log`."""

    path: Path

    def boat_text(self) -> tuple[str, str]: ...
    def check(self, there: tuple[str, ...] = ()) -> CheckAnswer: ...
    def flags(self) -> tuple[FlagView, ...]: ...


def write(log: Asked, out: BinaryIO, wishes: Wishes, devices: tuple[str, ...]) -> None:
    """Writes it, a ZIP file.

    Args:
        log: Its file need not be there.
        out: Bytes go here; it is not closed.
        wishes: What may go in besides.
        devices: Ports and buses of this computer, as text.
    """
    told = as_text(status(log.path, devices))
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("status.txt", str(wishes.clean(told)))
        packed.writestr("boat.toml", _boat(log.boat_text()[0], wishes))
        for name, ask in (("check", lambda: log.check(devices)), ("flags", log.flags)):
            text = json.dumps(wishes.clean(_answer(ask, wishes)), indent=1, ensure_ascii=False)
            packed.writestr(f"{name}.json", text)
        if log.path.is_file():
            with Store.open(log.path) as store, packed.open("readings.csv", "w") as file:
                _newest(store, file, wishes.hides_channel)


def _answer(ask: Callable[[], Any], wishes: Wishes) -> Any:
    try:
        return to_json(ask())
    except BoatFileError as error:
        # It quotes what is written there, which may be anything.
        everything = wishes.positions and wishes.codes
        return {"error": str(error) if everything else f"the boat file is wrong {LEFT_OUT}"}
    except (AnalyzerError, LoggerError) as error:
        return {"error": str(error)}


def _boat(text: str, wishes: Wishes) -> str:
    """The boat file without its remarks, which may say anything."""
    try:
        return tomlkit.dumps(wishes.clean(tomlkit.parse(text).unwrap()))
    except ValueError:
        return f"# The boat file cannot be read, so it is {LEFT_OUT}.\n"


def _newest(store: Store, file: Any, hidden: Callable[[str], bool]) -> None:
    names = tuple(name for name in store.channels() if not hidden(name))
    if not names:
        return
    whole = rows.choose(store, None, names, STEP_S)
    start_us = max(whole.start_us, whole.end_us - NEWEST_US)
    csv_table.write(store, replace(whole, start_us=start_us), file)
