"""What is wrong with a boat file, one sentence each: the key, what it wants, what it got."""

import difflib
import re
from functools import lru_cache
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from logger.boat.boat import Boat
from logger.boat.vocabulary import (
    SYNONYMS,
    converted,
    looks_like,
    nearest_choice,
    noun,
    short,
    shown,
    split_unit,
)

Place = tuple[int | str, ...]
Schema = dict[str, Any]
NOWHERE = 10**9  # sorts what has no line last, by definition


def sentences(error: ValidationError, table: dict[str, Any], where: str, text: str) -> list[str]:
    """One sentence for each thing wrong, in the file's order.

    Args:
        error: From `Boat.model_validate(table)`.
        table: What was read.
        where: The file's name.
        text: Its text, to name lines; may be empty.
    """
    lines = lines_of(text)
    said: list[tuple[int, str]] = []
    meant: set[Place] = set()  # right keys that a wrong key stands for: not also "missing"
    details = error.errors(include_url=False)
    for detail in sorted(details, key=lambda d: d["type"] != "extra_forbidden"):
        place = detail["loc"]
        if detail["type"] == "extra_forbidden":
            sentence, right = _unknown(place, detail["input"], table)
            meant.add(right)
        elif place in meant:
            continue
        else:
            sentence = _known(place, detail, table)
        line = lines.get(place, lines.get(place[:-1], NOWHERE))
        at = f", line {line}" if line != NOWHERE else ""
        said.append((line, ended(f"{where}{at}: {sentence}")))
    return [sentence for _, sentence in sorted(said, key=lambda s: s[0])]


def _known(place: Place, detail: ErrorDetails, table: dict[str, Any]) -> str:
    """A key that may stand there, with a wrong value or none."""
    key, schema = _spoken(place, table), _schema_at(place)
    if detail["type"] == "value_error":
        return f"{key}: {detail['ctx']['error']}"
    wants = _wants(place, schema)
    if detail["type"] == "missing":
        return f"{key} is missing; wants {wants}"
    value = detail["input"]
    hint = nearest_choice(value, schema.get("enum", []))
    hint = hint or looks_like(str(place[-1]) if place else "", value, lambda v: _fits(v, schema))
    return f"{key} wants {wants}; got {shown(value)}{hint}"


def _unknown(place: Place, value: object, table: dict[str, Any]) -> tuple[str, Place]:
    """A key that may not stand there, and the place it was evidently meant for."""
    key, parent = str(place[-1]), place[:-1]
    here: Schema = _schema_at(parent).get("properties", {})
    spoken = f"{_spoken((*parent, short(key)), table)}: not a key here"
    right = _meant(key, here)
    if right is not None:
        wanted = _spoken((*parent, right), table)
        unit = f" in {noun(right)}" if noun(right) else ""
        told = converted(key, right, value)
        return f"{spoken}; keelwatt wants {wanted}{unit}{told}", (*parent, right)
    for other in ("", *_schema_at(())["properties"]):
        inside = _schema_at((other,) if other else ()).get("properties", {})
        if any(split_unit(key)[0] == split_unit(name)[0] for name in inside):
            belongs = f"in {_spoken((other,), {})}" if other else "above the first [table]"
            return f"{spoken}; it belongs {belongs}", place
    return f"{spoken}; there are {', '.join(here)}" if here else spoken, place


def _meant(key: str, here: Schema) -> str | None:
    """The key of this table that a wrong one stands for: by stem, synonym or likeness."""
    stem = split_unit(key.lower())[0]
    for word in (stem, SYNONYMS.get(stem), SYNONYMS.get(key.lower())):
        for name in here:
            if word and word in (name, split_unit(name)[0]):
                return name
    stems = {split_unit(name)[0]: name for name in here} | {name: name for name in here}
    near = difflib.get_close_matches(key.lower(), stems, 1, 0.75)
    near = near or difflib.get_close_matches(stem, stems, 1, 0.75)
    return stems[near[0]] if near else None


def _spoken(place: Place, table: dict[str, Any]) -> str:
    """A place as people say it: [pack], hull.waterline_m, cable "lug": length_m."""
    if not place:
        return "the boat file"
    if len(place) > 1 and isinstance(place[1], int):
        rest = ".".join(str(p) for p in place[2:])
        return f"{place[0]} {_which(place, table)}" + (f": {rest}" if rest else "")
    schema = _schema_at(place)
    if len(place) == 1 and schema.get("type") in ("object", "array"):
        return f"[{place[0]}]" if schema["type"] == "object" else f"[[{place[0]}]]"
    return ".".join(str(p) for p in place)


def _which(place: Place, table: dict[str, Any]) -> str:
    """An array's entry, by its name where it has one, else by its number from 1."""
    entries, number = table.get(str(place[0])), int(place[1])
    entry = entries[number] if isinstance(entries, list | tuple) and number < len(entries) else {}
    name = entry.get("name") if isinstance(entry, dict) else None
    return f'"{short(name)}"' if isinstance(name, str) else f"no. {number + 1}"


def _wants(place: Place, schema: Schema) -> str:
    """What a key wants, in words."""
    key = str(place[-1]) if place else ""
    if "enum" in schema:
        return "one of " + ", ".join(f'"{c}"' for c in schema["enum"])
    kind = schema.get("type")
    if kind == "number":
        unit = noun(key)
        number = f"a number of {unit}" if unit and not unit.startswith("a ") else unit or "a number"
        return f"{number}{_bounds(schema)}"
    if kind == "integer":
        return f"a whole number{_bounds(schema)}"
    if kind == "string":
        return _wanted_text(schema)
    if kind == "array":
        return f"entries that each begin with [[{key}]], in double brackets"
    words = {"boolean": "true or false", "object": "a table with keys of its own"}
    return words.get(str(kind), "another value")


def _wanted_text(schema: Schema) -> str:
    pattern = schema.get("pattern", "")
    if "/0" in pattern:
        return 'a size such as "2" or "2/0"'
    if pattern:
        return "a name of small letters, digits and _, in quotes"
    return (
        f"words in quotes, at most {schema['maxLength']} letters" if schema else "words in quotes"
    )


def _bounds(schema: Schema) -> str:
    low, above = schema.get("minimum"), schema.get("exclusiveMinimum")
    high, below = schema.get("maximum"), schema.get("exclusiveMaximum")
    if above is not None and below is not None:
        return f" between {above:.10g} and {below:.10g}"
    ends = (
        (" from {:.10g}", low),
        (" above {:.10g}", above),
        (" to {:.10g}", high),
        (" to below {:.10g}", below),
    )
    return "".join(words.format(end) for words, end in ends if end is not None)


def _fits(value: object, schema: Schema) -> bool:
    """Whether a number lies within a key's limits."""
    if not isinstance(value, int | float) or schema.get("type") not in ("number", "integer"):
        return False
    low: Any = schema.get("minimum", schema.get("exclusiveMinimum", value))
    high: Any = schema.get("maximum", schema.get("exclusiveMaximum", value))
    return bool(low <= value <= high)


@lru_cache(maxsize=1)
def _schema() -> Schema:
    return Boat.model_json_schema()


def _schema_at(place: Place) -> Schema:
    """The JSON schema of a place in the file; {} where nothing may stand."""
    node = _resolved(_schema())
    for step in place:
        inside = node.get("items") if isinstance(step, int) else None
        node = _resolved(inside or node.get("properties", {}).get(step, {}))
    return node


def _resolved(node: Schema) -> Schema:
    """Follows references and leaves "or null" out."""
    if "$ref" in node:
        found: Schema = _schema()["$defs"][node["$ref"].rpartition("/")[2]]
        return _resolved(found)
    for choice in node.get("anyOf", ()):
        if choice.get("type") != "null":
            return _resolved(choice)
    return node


def lines_of(text: str) -> dict[Place, int]:
    """The line each key and table of a TOML text first stands on, counted from 1.

    Tables of one line and strings of many lines are not looked into.
    """
    lines: dict[Place, int] = {}
    entries: dict[str, int] = {}
    table: Place = ()
    for number, line in enumerate(text.splitlines(), 1):
        if header := re.match(r"\s*(\[\[?)([\w.\s\"'-]+)\]", line):
            first, *rest = _keys(header[2])
            if header[1] == "[[" and not rest:
                entries[first] = entries.get(first, -1) + 1
            table = (first, entries[first], *rest) if first in entries else (first, *rest)
            lines.setdefault(table, number)
        elif pair := re.match(r"\s*([\w.\s\"'-]+?)\s*=", line):
            lines.setdefault((*table, *_keys(pair[1])), number)
    return lines


def _keys(dotted: str) -> list[str]:
    return [part.strip().strip("\"'") for part in dotted.split(".")]


def syntax_sentence(error: Exception, text: str, where: str) -> str:
    """One sentence for text that is no TOML: where, what stands there, what helps most often."""
    found = re.search(r"\(at line (\d+), column (\d+)\)", str(error))
    reason = re.sub(r"\s*\(at [^)]*\)", "", str(error)).strip().rstrip(".")
    if isinstance(error, RecursionError):
        reason = "brackets nested too deeply"
    reason = short(reason[:1].lower() + reason[1:], 100)
    if found is None:
        return f"{where}: cannot be read as TOML: {reason}."
    number, column = int(found[1]), int(found[2])
    lines = text.splitlines()
    line = lines[number - 1].strip() if number <= len(lines) else ""
    twice = _said_twice(reason, line, lines[: number - 1])
    if twice:
        return f"{where}, line {number}: {twice}."
    got = f'; got "{short(line)}"' if line else ""
    at = f"line {number}, column {column}"
    return f"{where}, {at}: cannot be read as TOML: {reason}{got}{_syntax_hint(line)}."


def ended(sentence: str) -> str:
    """A sentence with its full stop, unless it ends in a question."""
    return sentence if sentence.endswith("?") else f"{sentence}."


def _said_twice(reason: str, line: str, before: list[str]) -> str:
    """Of a table or key that stands there a second time; empty where it is another fault."""
    if not re.search(r"twice|overwrite", reason):
        return ""
    name = line if line.startswith("[") else line.partition("=")[0].strip()
    starts = [n for n, text in enumerate(before, 1) if text.strip().startswith(name)]
    first = f", first in line {starts[-1]}" if starts else ""
    return f"{short(name)} stands here a second time{first}; it wants to stand once"


# What stands in a line that is no TOML -> what to write instead; the first that fits is told.
_HINTS = (
    (r"[\u2018-\u201f]", "quotation marks want to be the straight kind, as on a keyboard"),
    (r"=\s*(true|yes|on|false|no|off)\s*(#.*)?$", "write true or false, in small letters alone"),
    (r"=\s*-?\d+,\d{3}\b(?!\.)", "thousands want no comma, decimals a point"),
    (r"=\s*-?\d+,\d", "decimals want a point, not a comma"),
    (r"=\s*[1-4]/0", 'a gauge wants quotes, as in size_awg = "1/0"'),
    (r"=\s*-?[\d.]+\s*[a-z°%]", "a number stands alone, as its unit is in the key's name"),
    (r"=\s*\"[^\"]*$|=\s*'[^']*$", "a quotation mark is missing at the end"),
    (r"=\s*[a-z]", 'words want quotes, as in kind = "fin_keel"'),
    (r"[\w. -]+(:.*)?$", "a line wants the form key = value"),
)


def _syntax_hint(line: str) -> str:
    for pattern, hint in _HINTS:
        if re.match(rf"(.*?)({pattern})", line, re.IGNORECASE):
            return f"; {hint}"
    return ""
