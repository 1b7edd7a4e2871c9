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
    entry, key = _ENTRY.match(text), _KEY.match(text)
    names = _of_entry(entry, fields, form) if entry else [key[0]] if key else []
    rest = text[entry.end() if entry else key.end() if key else 0 :].lstrip(" :")
    for name in names:
        if name in fields:
            section, field = fields[name]
            return Fault(_worded(rest, fields), name, f"{section.title}: {field.label}")
    return Fault(_worded(text, fields))


def _worded(text: str, fields: Mapping[str, tuple[Section, Field]]) -> str:
    """The text with the labels of other fields in the place of their keys."""
    for name in sorted((name for name in fields if "." in name), key=len, reverse=True):
        text = text.replace(name, f"“{fields[name][1].label.lower()}”")
    return text


def _of_entry(
    entry: re.Match[str], fields: Mapping[str, object], form: Mapping[str, str]
) -> list[str]:
    """The form's names that an entry of a list may have, the one with its own name first."""
    kind, key = entry[1], entry["key"]
    numbers = [name.split(".")[1] for name in fields if name.startswith(f"{kind}.")]
    if entry["number"]:
        order = [str(int(entry["number"]) - 1), NEW]
    else:
        told = entry["name"]
        order = [k for k in dict.fromkeys(numbers) if form.get(f"{kind}.{k}.name") == told]
    return [f"{kind}.{k}.{key}" for k in order]
