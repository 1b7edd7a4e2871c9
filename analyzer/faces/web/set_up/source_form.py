"""The boat file's [[source]] parts as form fields and back.

What a device is plugged into is a field each; what its lines or frames mean stays TOML, as it is a
table of any size.
"""

from collections.abc import Mapping
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, Table

from analyzer.faces.web.set_up.form_fields import (
    NEW,
    Field,
    Section,
    shown,
    valued,
)
from logger.boat.toml_text import check_toml
from logger.errors import BoatFileError

KINDS = {
    "can": "CAN bus: NMEA 2000, J1939, CANopen, any DBC file",
    "nmea0183": "NMEA 0183 lines",
    "modbus": "Modbus RTU",
    "text": "lines of text",
    "sensors": "sensors of this board",
}
_STREAM = ("port", "baud", "tcp", "udp")
PLAIN = {
    "can": ("interface", "channel", "bitrate", "listen_only", "raw"),
    "nmea0183": (*_STREAM, "raw"),
    "modbus": ("port", "baud", "parity", "stop_bits", "timeout_s"),
    "text": (*_STREAM, "pattern", "delimiter"),
    "sensors": ("period_s",),
}
_NUMBERS = ("baud", "udp", "bitrate", "stop_bits", "timeout_s", "period_s")
_YES_NO = ("raw", "listen_only")
_HELP = {
    "name": "your own short name for it",
    "port": "a serial port, such as /dev/serial/by-id/usb-gps",
    "baud": "4800 or 38400 for most NMEA 0183 devices",
    "tcp": "address and port to connect to, such as 192.168.4.1:10110",
    "udp": "port to listen on",
    "interface": "socketcan, slcan and so on, as python-can names it",
    "channel": "can0, or the adapter's port",
    "bitrate": "250000 for NMEA 2000 and J1939",
    "listen_only": "true disturbs nobody; false where the controller is alone on its bus",
    "raw": "true also keeps what came, as it came",
    "pattern": "with a named group for each value, (?P<volts>[\\d.]+)",
    "parity": "N, E or O",
    "timeout_s": "how long an answer is waited for",
    "period_s": "seconds between readings",
}
MORE_HELP = "which value goes to which channel, as TOML; deploy/README.md has examples"


def sections(table: Mapping[str, Any]) -> list[Section]:
    """A section for each way in, and one for another."""
    sources = table.get("source", [])
    found = []
    for k, source in enumerate(sources if isinstance(sources, list) else []):
        kind = str(source.get("kind", ""))
        options = source.get("options", {})
        options = options if isinstance(options, dict) else {}
        name = f"source.{k}"
        fields = (
            _field(f"{name}.name", "name", source.get("name"), wanted=True),
            *(_field(f"{name}.{key}", key, options.get(key)) for key in PLAIN.get(kind, ())),
            _more(f"{name}.more", _rest(kind, options)),
        )
        title = f"Way in: {source.get('name', k + 1)}, {KINDS.get(kind, kind)}"
        found.append(Section(title, fields, f"{name}.remove", "Take this way in out"))
    return [*found, _another()]


def _another() -> Section:
    keys = ("port", "baud", "tcp", "udp", "channel", "bitrate")
    kind = Field(
        f"source.{NEW}.kind", "Kind", "", "; ".join(f"{k}: {v}" for k, v in KINDS.items()),
        "", tuple(KINDS), False, False,
    )  # fmt: skip
    rest = (_field(f"source.{NEW}.{key}", key, None) for key in keys)
    fields = (_field(f"source.{NEW}.name", "name", None), kind, *rest)
    return Section("Another way in", (*fields, _more(f"source.{NEW}.more", "")))


def put(document: tomlkit.TOMLDocument, form: Mapping[str, str]) -> None:
    """Writes what the form says of the ways in into the boat file.

    Raises:
        BoatFileError: What stands in for TOML is none.
    """
    sources = document.get("source")
    if isinstance(sources, AoT):
        for k, source in enumerate(sources):
            _change(source, k, form)
        for k in reversed(range(len(sources))):
            if form.get(f"source.{k}.remove"):
                del sources[k]
        if not len(sources):
            document.remove("source")
    if any(form.get(f"source.{NEW}.{key}", "").strip() for key in ("name", "kind")):
        _add(document, form)


def _change(source: Table, k: int, form: Mapping[str, str]) -> None:
    kind = str(source.get("kind", ""))
    options = source.get("options", {})
    _set(source, "name", form.get(f"source.{k}.name"))
    for key in PLAIN.get(kind, ()):
        written = form.get(f"source.{k}.{key}")
        if written is not None and written.strip() != shown(options.get(key)):
            _set(_options(source), key, written)
    more = form.get(f"source.{k}.more")
    if more is not None and more.replace("\r\n", "\n") != _rest(kind, _plain(options)):
        _put_rest(_options(source), kind, more, str(source.get("name", k + 1)))


def _add(document: tomlkit.TOMLDocument, form: Mapping[str, str]) -> None:
    source = tomlkit.table()
    kind = form.get(f"source.{NEW}.kind", "").strip()
    for key in ("name", "kind"):
        _set(source, key, form.get(f"source.{NEW}.{key}"))
    for key in ("port", "baud", "tcp", "udp", "channel", "bitrate"):
        if form.get(f"source.{NEW}.{key}", "").strip():
            _set(_options(source), key, form[f"source.{NEW}.{key}"])
    more = form.get(f"source.{NEW}.more", "")
    if more.strip():
        _put_rest(_options(source), kind, more, str(source.get("name", "the new one")))
    if kind == "can" and "interface" not in _options(source):
        _options(source).add("interface", "socketcan")
    if "source" not in document:
        document["source"] = tomlkit.aot()
    sources = document["source"]
    assert isinstance(sources, AoT)
    sources.append(source)


def _options(source: Table) -> Any:
    if "options" not in source:
        source.add("options", tomlkit.table())
    return source["options"]


def _put_rest(options: Any, kind: str, written: str, name: str) -> None:
    try:
        check_toml(written)
        given = tomlkit.parse(written.replace("\r\n", "\n"))
    except (TOMLKitError, ValueError, RecursionError) as error:
        raise BoatFileError(f"source {name}, what is in it: is no TOML: {error}") from error
    for key in [key for key in options if key not in PLAIN.get(kind, ())]:
        options.remove(key)
    for key in list(given):
        options[key] = given[key]


def _set(place: Any, key: str, written: str | None) -> None:
    if written is None or written.strip() == shown(place.get(key)):
        return
    if not written.strip():
        if key in place:
            place.remove(key)
        return
    place[key] = valued(_field("", key, None), written.strip())


def _field(name: str, key: str, value: Any, wanted: bool = False) -> Field:
    choices = ("true", "false") if key in _YES_NO else ()
    label = key.removesuffix("_s").replace("_", " ").capitalize()
    unit = "seconds" if key.endswith("_s") else ""
    return Field(name, label, unit, _HELP.get(key, ""), shown(value), choices, wanted,
                 key in _NUMBERS)  # fmt: skip


def _more(name: str, text: str) -> Field:
    return Field(name, "What is in it", "", MORE_HELP, text, (), False, False, long=True)


def _plain(options: Any) -> dict[str, Any]:
    return dict(options.unwrap()) if hasattr(options, "unwrap") else dict(options)


def _rest(kind: str, options: Mapping[str, Any]) -> str:
    """The options that are no field of their own, as TOML."""
    rest = {k: v for k, v in options.items() if k not in PLAIN.get(kind, ())}
    return tomlkit.dumps(rest).strip() + "\n" if rest else ""
