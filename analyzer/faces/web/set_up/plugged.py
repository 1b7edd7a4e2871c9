"""What is plugged in, as something to choose from, and the boat file's ways in that this makes."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol

import tomlkit

from analyzer.faces.web.set_up.errands import SOCKET
from analyzer.faces.web.set_up.incoming import TOLD


@dataclass(frozen=True)
class Plug:
    """One device.

    Args:
        kind: "serial", "can", "1-wire" or another that nothing is made of here.
        name: As the system has it.
        place: As a boat file names it: the name that stays, where there is one.
        text: One line for people.
        heard: The same with what it speaks; empty where nobody listened.
        serial_number: The maker's; empty where it has none.
    """

    kind: str
    name: str
    place: str
    text: str
    heard: str = ""
    serial_number: str = ""


Plugs = Callable[[bool], Sequence[Plug]]  # told whether to listen, for some seconds each


def nothing(listen: bool = False) -> Sequence[Plug]:
    """The devices of a computer that nobody looks at."""
    return ()


class Slot(Protocol):
    """A channel that a device's names may fill."""

    @property
    def channel(self) -> str: ...
    @property
    def text(self) -> str: ...
    @property
    def choices(self) -> Sequence[tuple[str, str]]: ...
    @property
    def likely(self) -> str: ...


class Told(Protocol):
    """A value that would be recorded now."""

    @property
    def text(self) -> str: ...
    @property
    def value(self) -> float: ...
    @property
    def unit(self) -> str: ...


class Trials(Protocol):
    """Tries a device before it stands in the boat file; raises LoggerError where it cannot."""

    def files(self) -> Sequence[str]: ...
    def slots(self, place: str, speaks: str) -> Sequence[Slot]: ...
    def way_in(self, place: str, speaks: str, signals: Mapping[str, Any]) -> dict[str, Any]: ...
    def told(self, kind: str, options: Mapping[str, Any]) -> Sequence[Told]: ...


class NoTrials:
    """Of a computer that nobody looks at."""

    def files(self) -> Sequence[str]:
        """None."""
        return ()

    def slots(self, place: str, speaks: str) -> Sequence[Slot]:
        """None."""
        return ()

    def way_in(self, place: str, speaks: str, signals: Mapping[str, Any]) -> dict[str, Any]:
        """None."""
        return {}

    def told(self, kind: str, options: Mapping[str, Any]) -> Sequence[Told]:
        """Nothing."""
        return ()


@dataclass(frozen=True)
class Board:
    """The computer that serves the pages, as far as they set it up.

    Args:
        plugs: Finds what is plugged in.
        trials: Tries it.
        errand: The socket of what acts as root there; nothing there: no act is offered.
        changes: Where it tells what becomes of another release.
    """

    plugs: Plugs = nothing
    trials: Trials = field(default_factory=NoTrials)
    errand: Path = SOCKET
    changes: Path = TOLD


Choice = tuple[str, str]  # value, words
NOTHING: Choice = ("", "Leave it alone")
CHOICES: dict[str, tuple[Choice, ...]] = {
    "serial": (
        NOTHING,
        ("nmea:4800", "NMEA 0183 at 4800: GPS, instruments"),
        ("nmea:9600", "NMEA 0183 at 9600: GPS, instruments"),
        ("nmea:38400", "NMEA 0183 at 38400: GPS, instruments"),
        ("text:9600", "Text at 9600: battery, motor"),
        ("text:19200", "Text at 19200: battery, motor"),
        ("text:115200", "Text at 115200: battery, motor"),
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


def choices(plug: Plug, files: Sequence[str] = ()) -> tuple[Choice, ...]:
    """What a device may be; empty where nothing can be made of it here.

    Args:
        files: The DBC files beside the boat file.
    """
    found = CHOICES.get(plug.kind, ())
    if plug.kind == "can":
        found += tuple((f"can:dbc:{name}", f"{name}: battery, motor") for name in files)
    return found


def has_names(chosen: str) -> bool:
    """Whether what a device tells is chosen by name."""
    return chosen.startswith(("can:dbc:", "text:"))


def likely(plug: Plug) -> str:
    """The choice that what was heard speaks for; empty where nothing does."""
    heard = plug.heard.lower()
    for value, words in CHOICES.get(plug.kind, ()):
        kind, _, rest = value.partition(":")
        speaks = {"nmea": "nmea 0183", "text": "text lines"}.get(kind)
        if speaks and speaks in heard and f" {rest} bit/s" in heard:
            return value
        if kind == "can" and words.partition(":")[0].lower() in heard:
            return value
    return ""


def mapped(plug: Plug, form: Mapping[str, str]) -> dict[str, Any]:
    """The signals that were chosen for a device: name -> {channel, unit, sign}.

    A field is "plug.NAME|CHANNEL" and holds "SIGNAL|UNIT"; "plug.NAME|turned" is "yes" where the
    current counts up when the battery is charged.
    """
    begins = f"plug.{plug.name}|"
    turned = form.get(f"{begins}turned") == "yes"
    found: dict[str, Any] = {}
    for key, written in form.items():
        name, _, unit = written.rpartition("|")
        if not key.startswith(begins) or not name:
            continue
        channel = key.removeprefix(begins)
        found[name] = {"channel": channel, "unit": unit}
        if turned and channel == "pack_current_a":
            found[name]["sign"] = -1
    return found


def source_of(plug: Plug, form: Mapping[str, str], chosen: str, trials: Trials) -> dict[str, Any]:
    """The boat file's way in for a device; empty where none is made of it alone."""
    kind, _, rest = chosen.partition(":")
    if has_names(chosen):
        signals = mapped(plug, form)
        if kind == "text" and not signals:
            return {}
        options = trials.way_in(plug.place, chosen, signals)
        return {"name": "battery", "kind": kind, "options": options}
    if kind == "nmea":
        return _nmea(plug, rest)
    if kind == "w1":
        options = {"probe": [{"w1": plug.name, "channel": rest}]}
        return {"name": "board", "kind": "sensors", "options": options}
    return _can(plug, rest) if kind == "can" else {}


def add(
    document: tomlkit.TOMLDocument,
    plugs: Sequence[Plug],
    form: Mapping[str, str],
    trials: Trials | None = None,
) -> None:
    """Puts a way in into the boat file for each device that was chosen and is not there yet."""
    trials = trials or NoTrials()
    there = document.unwrap().get("source", [])
    known = {str(v) for one in there for v in one.get("options", {}).values()}
    names = {str(one.get("name", "")) for one in there}
    probes = []
    for plug in plugs:
        chosen = form.get(f"plug.{plug.name}", "")
        offered = dict(choices(plug, trials.files()))
        if chosen not in offered or not chosen or plug.place in known:
            continue
        kind, _, rest = chosen.partition(":")
        if kind == "w1":
            probes.append({"w1": plug.name, "channel": rest})
        elif source := source_of(plug, form, chosen, trials):
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
