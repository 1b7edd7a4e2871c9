"""boat.toml as a form, and a form back as boat.toml; remarks and order in the file stay.

The fields come from the boat file's own model, their help from the remarks in the file to begin
with, and what is wrong is said by the same sentences as everywhere.
"""

import re
from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT

from analyzer.faces.web.set_up import source_form
from analyzer.faces.web.set_up.form_fields import (
    NEW,
    SIDES,
    Field,
    Section,
    inside,
    sailors_unit,
    sailors_value,
    shown,
    valued,
)
from logger.boat import Boat
from logger.boat.starter import starter_text
from logger.boat.toml_text import check_toml
from logger.boat.vocabulary import noun, split_unit
from logger.errors import BoatFileError

_TITLES = {
    "": "Boat",
    "hull": "Hull",
    "pack": "Battery pack",
    "motor": "Motor, controller and propeller",
    "hotel": "Everything else on board",
    "solar": "Solar panels",
    "home": "Home",
    "reserve": "Reserve",
}
# Where the file's own remark speaks of another unit.
_SAILOR_HELP = {
    "cruising_speed_mps": "usual speed under motor",
    "latitude_deg": "as 46 16.89 N or 46.2815",
    "longitude_deg": "as 23 52.44 W or -23.8740",
}
REST = "rest"  # the form's field for what has no fields of its own, as TOML
_REST_KEYS = ("tell", "fault_text")


def sections(text: str) -> list[Section]:
    """The form for a boat file.

    Args:
        text: TOML; empty: a form to begin with.
    Raises:
        BoatFileError: It is no TOML.
    """
    table = _read(text).unwrap()
    found = [_section(key, title, table) for key, title in _TITLES.items()]
    cables = table.get("cable", [])
    for k, cable in enumerate(cables if isinstance(cables, list) else []):
        fields = _fields("Cable", f"cable.{k}", cable)
        title = f"Cable: {cable.get('name', k + 1)}"
        found.append(Section(title, fields, f"cable.{k}.remove", "Take this cable out"))
    found.append(Section("Another cable", _fields("Cable", f"cable.{NEW}", {}, wanted=False)))
    return [*found, *source_form.sections(table)]


def rest(text: str) -> str:
    """Ways out and fault texts, as the TOML that the file has for them."""
    table = _read(text).unwrap()
    kept = {key: table[key] for key in _REST_KEYS if key in table}
    return tomlkit.dumps(kept).strip() + "\n" if kept else ""


def filled(text: str, form: Mapping[str, str]) -> str:
    """The boat file with what the form says.

    Args:
        text: The file as it is.
        form: Field name -> what was written; an empty one takes the key out. Keys that the form
            does not name stay as they are.
    Raises:
        BoatFileError: The file, or a part of the form that stands for TOML, is none.
    """
    document = _read(text)
    removed = [k for k in range(200) if form.get(f"cable.{k}.remove")]
    added: list[tuple[Field, str]] = []
    fields = (field for section in sections(text) for field in section.fields)
    for field in (field for field in fields if not field.name.startswith("source.")):
        written = form.get(field.name, field.value).strip()
        if field.name.startswith(f"cable.{NEW}."):
            added += [(field, written)] if written else []
        elif written != field.value:
            _put(document, field, written)
    _drop_cables(document, removed)
    if added:
        _add_cable(document, added)
    source_form.put(document, form)
    if REST in form:
        _put_rest(document, form[REST])
    if "home" in document and not document["home"].unwrap():
        document.remove("home")
    return tomlkit.dumps(document)


def _read(text: str) -> tomlkit.TOMLDocument:
    try:
        check_toml(text)
        return tomlkit.parse(text)
    except (TOMLKitError, ValueError, RecursionError) as error:
        raise BoatFileError(f"the boat file is no TOML: {error}") from error


@lru_cache(maxsize=1)
def _schema() -> dict[str, Any]:
    return Boat.model_json_schema()


@lru_cache(maxsize=1)
def _help() -> dict[str, str]:
    """The remark behind each key of the file to begin with: "hull.waterline_m" -> text."""
    said: dict[str, str] = {}
    part = ""
    for line in starter_text().splitlines():
        head = re.match(r"#? ?\[+([a-z]+)\]+", line)
        key = re.match(r"#? ?([a-z0-9_]+) *= *[^#]+?(?:  +# (.*))?$", line)
        if head:
            part = f"{head[1]}."
        elif key and key[2]:
            said.setdefault(part + key[1], key[2].strip())
    return said


def _section(key: str, title: str, table: dict[str, Any]) -> Section:
    if key:
        part = table.get(key, {})
        name = _schema()["properties"][key]
        shape = (name.get("$ref") or name["anyOf"][0]["$ref"]).rpartition("/")[2]
        return Section(title, _fields(shape, key, part if isinstance(part, dict) else {}))
    own = [k for k, v in _schema()["properties"].items() if "type" in v or "anyOf" in v]
    plain = [k for k in own if k not in ("cable", "source", "home", *_REST_KEYS)]
    shape = {"properties": {k: _schema()["properties"][k] for k in plain}}
    required = _schema()["required"]
    return Section(
        title, tuple(_field(k, k, shape["properties"][k], table, k in required) for k in plain)
    )


def _fields(
    shape: str, prefix: str, values: dict[str, Any], wanted: bool = True
) -> tuple[Field, ...]:
    described = _schema()["$defs"][shape]
    required = described.get("required", [])
    must = wanted and prefix != "home"  # home may be left out altogether
    return tuple(
        _field(f"{prefix}.{key}", key, what, values, must and key in required)
        for key, what in described["properties"].items()
    )


def _field(
    name: str, key: str, what: dict[str, Any], values: dict[str, Any], wanted: bool
) -> Field:
    kinds = what.get("anyOf", [what])
    choices = next((tuple(kind["enum"]) for kind in kinds if "enum" in kind), ())
    if any(kind.get("type") == "boolean" for kind in kinds):
        choices = ("true", "false")
    number = any(kind.get("type") in ("number", "integer") for kind in kinds)
    stem = split_unit(key)[0] if noun(key) else key
    part = re.sub(r"\.(\d+|new)", "", name.rpartition(".")[0])
    helped = _help().get(f"{part}.{key}" if part else key, "")
    default = what.get("default")
    if helped == "" and default not in (None, "", [], {}):
        helped = f"{shown(default)} where it is left empty"
    label = stem.replace("_", " ").capitalize()
    helped = _SAILOR_HELP.get(key, helped)
    unit, value = sailors_unit(key) or noun(key), sailors_value(key, values.get(key))
    return Field(name, label, unit, helped, value, choices, wanted, number and key not in SIDES)


def _put(document: tomlkit.TOMLDocument, field: Field, written: str) -> None:
    *path, key = field.name.split(".")
    place: Any = document
    for step in path:
        if isinstance(place, AoT):
            place = place[int(step)]
            continue
        if step not in place:
            if not written:
                return
            place[step] = tomlkit.table()
        place = place[step]
    _set(place, key, field, written)


def _add_cable(document: tomlkit.TOMLDocument, fields: list[tuple[Field, str]]) -> None:
    cable = tomlkit.table()
    for field, written in fields:
        _set(cable, field.name.rpartition(".")[2], field, written)
    if "cable" not in document:
        document["cable"] = tomlkit.aot()
    cables = document["cable"]
    assert isinstance(cables, AoT)
    cables.append(cable)


def _set(place: Any, key: str, field: Field, written: str) -> None:
    if not written:
        if key in place:
            place.remove(key)
        return
    value = _inside_value(key, field, written)
    if key in place:
        place[key] = value
    else:
        place.add(key, value)


def _inside_value(key: str, field: Field, written: str) -> bool | int | float | str:
    """What was written, in the boat file's own unit and kind."""
    turned = inside(key, written)
    number = field if turned == written else replace(field, number=True)
    return valued(number, turned)


def _drop_cables(document: tomlkit.TOMLDocument, numbers: list[int]) -> None:
    cables = document.get("cable")
    if isinstance(cables, AoT):
        for k in reversed([k for k in numbers if k < len(cables)]):
            del cables[k]


def _put_rest(document: tomlkit.TOMLDocument, written: str) -> None:
    given = _read(written.replace("\r\n", "\n"))
    strange = [key for key in given if key not in _REST_KEYS]
    if strange:
        raise BoatFileError(f"ways out hold [[tell]] and [fault_text] only, got {strange[0]!r}")
    now = {k: v for k, v in document.unwrap().items() if k in _REST_KEYS}
    if given.unwrap() == now:
        return
    for key in _REST_KEYS:
        if key in document:
            document.remove(key)
        if key in given:
            document[key] = given[key]
