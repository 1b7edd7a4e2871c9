"""Where the boat file and the log are: option, environment, boat file, then the usual folder."""

import os
from dataclasses import dataclass
from pathlib import Path

from analyzer.errors import AnalyzerError

LOG_VARIABLE = "KEELWATT_LOG"
BOAT_VARIABLE = "KEELWATT_BOAT"


class NoFile(AnalyzerError, FileNotFoundError):  # noqa: N818 - reads as the sentence it makes
    """A file that the user named is not there."""


@dataclass(frozen=True)
class Places:
    """The two files every question is answered from.

    boat: None where none was named and none lies in the usual folder; the log keeps its own copy.
    """

    log: Path
    boat: Path | None


def data_folder() -> Path:
    """The user's data folder: $XDG_DATA_HOME/keelwatt, else ~/.local/share/keelwatt."""
    return _base("XDG_DATA_HOME", ".local/share") / "keelwatt"


def config_folder() -> Path:
    """The user's settings folder: $XDG_CONFIG_HOME/keelwatt, else ~/.config/keelwatt."""
    return _base("XDG_CONFIG_HOME", ".config") / "keelwatt"


def demo_folder() -> Path:
    """Where `keelwatt demo` keeps its log."""
    return data_folder() / "demo"


def find(log: str | None = None, boat: str | None = None) -> Places:
    """The boat file and the log to use.

    Args:
        log, boat: As given on the command line, if they were.
    Raises:
        NoFile: A boat file was named and is not there.
    """
    boat_path = find_boat(boat)
    named = log or os.environ.get(LOG_VARIABLE)
    if named:
        return Places(Path(named).expanduser(), boat_path)
    return Places(_log_of(boat_path) or data_folder() / "log.sqlite", boat_path)


def only_demo(log: str | None = None, boat: str | None = None) -> Path | None:
    """The demo's log, where nobody named another and neither a log nor a boat file is there."""
    found = find(log, boat)
    demo = demo_folder() / "log.sqlite"
    named = log or os.environ.get(LOG_VARIABLE)
    if named or found.boat is not None or found.log.exists() or not demo.exists():
        return None
    return demo


def find_boat(boat: str | None = None) -> Path | None:
    """The boat file: option, environment, then boat.toml in the settings folder if it is there."""
    named = boat or os.environ.get(BOAT_VARIABLE)
    if named:
        path = Path(named).expanduser()
        if not path.is_file():
            raise NoFile(
                f"there is no boat file at {path}: name one with --boat or {BOAT_VARIABLE}"
            )
        return path
    usual = config_folder() / "boat.toml"
    return usual if usual.is_file() else None


def _log_of(boat: Path | None) -> Path | None:
    """The boat file's `log_path`, relative to the file; None where it has none or cannot be read.

    A boat file with faults is reported by whoever reads the whole of it.
    """
    from logger.boat.toml_text import MOST_CHARACTERS, read_toml

    if boat is None:
        return None
    try:
        with boat.open(encoding="utf-8-sig") as file:
            told = read_toml(file.read(MOST_CHARACTERS + 1)).get("log_path")
    except (OSError, ValueError, RecursionError):
        return None
    return boat.parent / Path(told).expanduser() if isinstance(told, str) and told else None


def _base(variable: str, usual: str) -> Path:
    told = os.environ.get(variable, "")
    return Path(told) if Path(told).is_absolute() else Path.home() / usual
