"""What is plugged in, as something to choose from, and the boat file's ways in that this makes."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import tomlkit


@dataclass(frozen=True)
class Plug:
    """One device.

    Args:
        kind: "serial", "can", "1-wire" or another that nothing is made of here.
        name: As the system has it.
        place: As a boat file names it: the name that stays, where there is one.
        text: One line for people.
        heard: The same with what it speaks; empty where nobody listened.
    """

    kind: str
    name: str
    place: str
    text: str
    heard: str = ""


Plugs = Callable[[bool], Sequence[Plug]]  # told whether to listen, for some seconds each


def nothing(listen: bool = False) -> Sequence[Plug]:
    """The devices of a computer that nobody looks at."""
    return ()


Choice = tuple[str, str]  # value, words
NOTHING: Choice = ("", "Leave it alone")
CHOICES: dict[str, tuple[Choice, ...]] = {
    "serial": (
        NOTHING,
        ("nmea:4800", "GPS or instruments, NMEA 0183 at 4800"),
        ("nmea:9600", "GPS or instruments, NMEA 0183 at 9600"),
        ("nmea:38400", "GPS or instruments, NMEA 0183 at 38400"),
    ),
    "can": (
        NOTHING,
        ("can:nmea2000", "NMEA 2000: GPS, instruments, battery monitor"),
        ("can:raw", "Battery or motor of another kind: keep its frames, explain them later"),
    ),
    "1-wire": (
        NOTHING,
        ("w1:probe_motor_lug_temp_c", "Probe on the motor's lug"),
        ("w1:motor_temp_c", "Probe on the motor"),
        ("w1:pack_temp_c", "Probe at the battery"),
        ("w1:ambient_temp_c", "Probe in the air"),
    ),
}


def choices(plug: Plug) -> tuple[Choice, ...]:
    """What a device may be; empty where nothing can be made of it here."""
    return CHOICES.get(plug.kind, ())


def likely(plug: Plug) -> str:
    """The choice that what was heard speaks for; empty where nothing does."""
    heard = plug.heard.lower()
    for value, words in CHOICES.get(plug.kind, ()):
        kind, _, rest = value.partition(":")
        if kind == "nmea" and "nmea 0183" in heard and f" {rest} bit/s" in heard:
            return value
        if kind == "can" and words.partition(":")[0].lower() in heard:
            return value
    return ""


def add(document: tomlkit.TOMLDocument, plugs: Sequence[Plug], form: Mapping[str, str]) -> None:
    """Puts a way in into the boat file for each device that was chosen and is not there yet."""
    there = document.unwrap().get("source", [])
    known = {str(v) for one in there for v in one.get("options", {}).values()}
    names = {str(one.get("name", "")) for one in there}
    probes = []
    for plug in plugs:
        chosen = form.get(f"plug.{plug.name}", "")
        if chosen not in dict(choices(plug)) or not chosen or plug.place in known:
            continue
        kind, _, rest = chosen.partition(":")
        if kind == "w1":
            probes.append({"w1": plug.name, "channel": rest})
            continue
        source = _nmea(plug, rest) if kind == "nmea" else _can(plug, rest)
        _append(document, names, source)
    if probes and "board" not in names:
        board = {"name": "board", "kind": "sensors", "options": {"probe": probes}}
        _append(document, names, board)


def _nmea(plug: Plug, baud: str) -> dict[str, Any]:
    options = {"port": plug.place, "baud": int(baud)}
    return {"name": "gps", "kind": "nmea0183", "options": options}


def _can(plug: Plug, speaks: str) -> dict[str, Any]:
    options: dict[str, Any] = {"interface": "socketcan", "channel": plug.place}
    options |= {"raw": True} if speaks == "raw" else {"decode": speaks}
    return {"name": "bus", "kind": "can", "options": options}


def _append(document: tomlkit.TOMLDocument, names: set[str], source: dict[str, Any]) -> None:
    name, number = source["name"], 2
    while source["name"] in names:
        source["name"] = f"{name}_{number}"
        number += 1
    names.add(source["name"])
    if "source" not in document:
        document["source"] = tomlkit.aot()
    item = tomlkit.table()
    item.update(source)
    sources: Any = document["source"]
    sources.append(item)
