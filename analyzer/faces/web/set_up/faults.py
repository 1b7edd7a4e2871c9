"""What is wrong with a boat file, said at the fields of its form and without the file's own words.

The file's sentences name a line and a key; who fills in a form sees neither.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from analyzer.faces.web.set_up.form_fields import NEW, Field, Section

_LINE = re.compile(r"^[^:]*?(?:, line \d+)?: (?=\S)")  # "boat.toml, line 7: "
_ENTRY = re.compile(r'(cable|source) (?:"(?P<name>[^"]*)"|no\. (?P<number>\d+)): (?P<key>\w+)')
_KEY = re.compile(r"[a-z_]+\.[a-z0-9_]+|[a-z_]+")


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong. field: the form's name of the field, or empty."""

    text: str
    field: str = ""
    label: str = ""


def faults(said: str, sections: Sequence[Section], form: Mapping[str, str]) -> list[Fault]:
    """The sentences of an error, each with the field that it is about where there is one.

    Args:
        said: A sentence a line.
        sections: The form.
        form: What was written.
    """
    fields = {field.name: (section, field) for section in sections for field in section.fields}
    return [_fault(line, fields, form) for line in said.splitlines() if line.strip()]


def _fault(
    line: str, fields: Mapping[str, tuple[Section, Field]], form: Mapping[str, str]
) -> Fault:
    text = _LINE.sub("", line, count=1)
    names, rest = _named(text, fields, form)
    for name in names:
        if name in fields:
            section, field = fields[name]
            label = f"{section.title}: {field.label}"
            return Fault(_worded(rest, fields), name, label)
    return Fault(_worded(text, fields))


def _named(
    text: str, fields: Mapping[str, object], form: Mapping[str, str]
) -> tuple[list[str], str]:
    """The fields that a sentence may begin with, and what it says of them."""
    entry = _ENTRY.match(text)
    if entry:
        return _of_entry(entry, fields, form), text[entry.end() :].lstrip(" :")
    key = _KEY.match(text)
    if key:
        return [key[0]], text[key.end() :].lstrip(" :")
    return [], text


def _worded(text: str, fields: Mapping[str, tuple[Section, Field]]) -> str:
    """The text with the labels of other fields in the place of their keys."""
    keys = [name for name in fields if "." in name]
    for name in sorted(keys, key=len, reverse=True):
        _, field = fields[name]
        text = text.replace(name, f"“{field.label.lower()}”")
    return text


def _of_entry(
    entry: re.Match[str], fields: Mapping[str, object], form: Mapping[str, str]
) -> list[str]:
    """The form's names that an entry of a list may have, the one with its own name first."""
    kind, key = entry[1], entry["key"]
    if entry["number"]:
        index = int(entry["number"]) - 1
        return [f"{kind}.{index}.{key}", f"{kind}.{NEW}.{key}"]
    own = [name for name in fields if name.startswith(f"{kind}.")]
    stems = dict.fromkeys(name.rpartition(".")[0] for name in own)
    told = entry["name"]
    return [f"{stem}.{key}" for stem in stems if form.get(f"{stem}.name") == told]
