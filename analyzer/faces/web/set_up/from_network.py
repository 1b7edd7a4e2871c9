"""What a boat file may not be made to say from the network, whoever is paired.

A paired phone sets up a boat. It does not start programs on the board, and it does not make the
board read files of anybody else: those stand in the file on disk, by its owner.
"""

from pathlib import PurePosixPath
from typing import Any

from logger.boat.toml_text import read_toml
from logger.errors import BoatFileError

DEVICES = "/dev/"
PORTS = ("port", "channel")  # a device of this computer, or a bus by its name
FILES = ("dbc", "eds", "root")  # inside the boat file's folder


def check_change(old: str, new: str) -> None:
    """Compares a boat file with the one on disk; what stands there already may stay.

    Raises:
        BoatFileError: A command, a device or a file is new that only the owner may name.
    """
    known = {(place[-1], repr(value)) for place, value in _parts(old)}
    wrong = [
        sentence
        for place, value in _parts(new)
        if (place[-1], repr(value)) not in known and (sentence := _sentence(place, value))
    ]
    if wrong:
        raise BoatFileError("\n".join(wrong))


def _sentence(place: tuple[str, ...], value: Any) -> str:
    """What is wrong with a new value; "" if nothing."""
    key, where = place[-1], ".".join(place)
    if place[0] == "tell" and (key == "command" or value == "command"):
        return (
            f"{where}: a command that is run on this computer can be named only in the boat file "
            "itself, by its owner"
        )
    if not isinstance(value, str):
        return ""
    if "://" in value:
        return f"{where}: wants no address with ://, got {value!r}"
    if place[0] == "source" and key in PORTS and "/" in value:
        inside = value.startswith(DEVICES) and ".." not in PurePosixPath(value).parts
        return "" if inside else f"{where}: wants a device, /dev/..., got {value!r}"
    if place[0] == "source" and key in FILES:
        path = PurePosixPath(value)
        if path.is_absolute() or ".." in path.parts:
            return f"{where}: wants a file in the boat file's folder, got {value!r}"
    return ""


def _parts(text: str) -> list[tuple[tuple[str, ...], Any]]:
    """Every value of a TOML text with the names that lead to it; lists of numbers whole."""
    try:
        table = read_toml(text)
    except (ValueError, RecursionError):
        return []  # said where the file is read
    return list(_walk((), table))


def _walk(place: tuple[str, ...], value: Any) -> list[tuple[tuple[str, ...], Any]]:
    if isinstance(value, dict):
        return [found for key, below in value.items() for found in _walk((*place, key), below)]
    if isinstance(value, list) and any(isinstance(one, dict) for one in value):
        return [found for one in value for found in _walk(place, one)]
    if isinstance(value, list):
        return [(place, value)] + [(place, one) for one in value if isinstance(one, str)]
    return [(place, value)]
