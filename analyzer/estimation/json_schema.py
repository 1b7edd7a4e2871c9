"""JSON Schema of what `to_json` makes of an answer's dataclasses (draft 2020-12).

Descriptions come from the source: a class's docstring, and behind each field its comment or its
line in the docstring. A float may be null wherever it stands: `to_json` writes what is not known,
or not finite, as null.
"""

import dataclasses
import inspect
import re
import types
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

Json = dict[str, Any]
DIALECT = "https://json-schema.org/draft/2020-12/schema"
FIELDS = re.compile(r"^(?:Args|Attributes):\n", re.MULTILINE)
NULL: Json = {"type": "null"}
PLAIN: dict[Any, Json] = {
    float: {"anyOf": [{"type": "number"}, NULL]},
    int: {"type": "integer"},
    bool: {"type": "boolean"},
    str: {"type": "string"},
    type(None): NULL,
    Any: {},
}


def describe(hint: Any, shapes: dict[str, Json]) -> Json:
    """The schema of a type; what it names is added to `shapes`.

    Args:
        hint: A type as a field has it.
        shapes: Schemas of dataclasses by their names.
    Raises:
        TypeError: JSON has no such kind.
    """
    if hint in PLAIN:
        return PLAIN[hint]
    if dataclasses.is_dataclass(hint) and isinstance(hint, type):
        if hint.__name__ not in shapes:
            shapes[hint.__name__] = {}  # one that holds itself finds its name taken
            shapes[hint.__name__] = _object(hint, shapes)
        return {"$ref": f"#/$defs/{hint.__name__}"}
    kind, inside = get_origin(hint), get_args(hint)
    if kind is Literal:
        return {"type": "string", "enum": list(inside)}
    if kind in (Union, types.UnionType):
        found = [describe(one, shapes) for one in inside]
        flat = [part for one in found for part in one.get("anyOf", [one])]
        return {"anyOf": [part for k, part in enumerate(flat) if part not in flat[:k]]}
    if kind is dict:
        return {"type": "object", "additionalProperties": describe(inside[1], shapes)}
    if kind is list or (kind is tuple and inside[-1] is Ellipsis):
        return {"type": "array", "items": describe(inside[0], shapes)}
    if kind is tuple:
        parts = [describe(one, shapes) for one in inside]
        return {"type": "array", "prefixItems": parts, "minItems": len(parts),
                "maxItems": len(parts)}  # fmt: skip
    raise TypeError(f"no JSON Schema for {hint!r}")


def _object(shape: type, shapes: dict[str, Json]) -> Json:
    """The schema of a dataclass: its fields, all of which are always there."""
    hints = get_type_hints(shape)
    told = _told(shape)
    properties = {}
    for field in dataclasses.fields(shape):
        if not field.metadata.get("json", True):
            continue
        found = dict(describe(hints[field.name], shapes))
        if field.name in told:
            found["description"] = told[field.name]
        if field.name == "schema":
            found["const"] = field.default
        properties[field.name] = found
    about = " ".join(FIELDS.split(inspect.getdoc(shape) or "")[0].split())
    return {
        "type": "object",
        "description": about,
        "properties": properties,
        "required": list(properties),
    }


def _told(shape: type) -> dict[str, str]:
    """What the source says of each field: its line in the docstring, else its comment."""
    source = inspect.getsource(shape)
    said = dict(re.findall(r"^    (\w+): [^#\n]*?  # (.+)$", source, re.M))
    args = "".join(FIELDS.split(inspect.getdoc(shape) or "")[1:])
    for name, text in re.findall(r"^ {4}(\w+): ((?:.|\n {8})+)", args, re.M):
        said[name] = " ".join(text.split())
    return said
