"""The JSON Schema of what `--json`, the HTTP API and Python's `to_json` give: one for all.

`python -m analyzer.answers.schema` writes the file that is shipped beside this module. Keys may be
added; when one is taken out or changes its meaning, `VERSION` goes up, and with it the field
`schema` of every answer.
"""

import json
from functools import lru_cache
from pathlib import Path
from typing import Any

FILE = Path(__file__).with_name("keelwatt.schema.json")


@lru_cache(maxsize=1)
def shipped() -> dict[str, Any]:
    """The schema; `$defs` holds one for each command by its name (`double_run` for `hull
    --double-run`, `flag_event` for a line of `flags --follow`, `range_what_if` and its
    like for `--what-if`), and one for each shape.
    """
    found: dict[str, Any] = json.loads(FILE.read_text("utf-8"))
    return found


def made() -> dict[str, Any]:
    """The schema, made from the dataclasses of the answers."""
    from analyzer.answers.ahead.passage import PlanAnswer
    from analyzer.answers.flags import FlagEvent
    from analyzer.answers.hull import DoubleRun, HindcastAnswer, HullAnswer
    from analyzer.answers.season.rows import SeasonAnswer
    from analyzer.estimation import json_schema, results
    from logger.account import Account

    shapes: dict[str, Any] = {}
    commands: dict[str, Any] = {
        "range": results.RangeAnswer,
        "plan": PlanAnswer,
        **_other_boats(),
        "trips": list[results.TripRow],
        "review": results.ReviewAnswer,
        "season": SeasonAnswer,
        "hindcast": HindcastAnswer,
        "cells": results.CellsAnswer,
        "cables": results.CablesAnswer,
        "hull": HullAnswer,
        "double_run": DoubleRun,
        "flags": list[results.FlagView],
        "flag_event": FlagEvent,
        "check": results.CheckAnswer,
        "boots": list[results.BootRow],
        "demo": results.RangeAnswer,
        "replay": Account,
    }
    said = {name: json_schema.describe(kind, shapes) for name, kind in commands.items()}
    json_schema.describe(results.Plot, shapes)
    return {
        "$schema": json_schema.DIALECT,
        "$id": f"urn:keelwatt:answers:{results.SCHEMA}",
        "title": "Answers of keelwatt",
        "description": "What `--json` prints: SI units, \u00b0C, Wh and Ah; the unit ends each "
        "name, and _utc_s is seconds since 1970. What is not known is null, with its reason "
        "beside it. Keys may be added within a version.",
        "anyOf": [{"$ref": f"#/$defs/{name}"} for name in said],
        "$defs": {**said, **{name: shapes[name] for name in sorted(shapes)}},
    }


def _other_boats() -> dict[str, Any]:
    """The answers about a boat that is not the one aboard."""
    from analyzer.answers.gain.rows import GainAnswer, PlanWhatIf, RangeWhatIf, TripWhatIf

    return {
        "range_what_if": RangeWhatIf,
        "plan_what_if": PlanWhatIf,
        "review_what_if": TripWhatIf,
        "gain": GainAnswer,
    }


def text(schema: dict[str, Any]) -> str:
    """A schema as the file has it: a line for each shape, and one for each of its fields."""
    rows = []
    for name, shape in schema["$defs"].items():
        fields = shape.get("properties")
        if fields is None:
            rows.append(f"  {_line(name)}: {_line(shape)}")
            continue
        told = ",\n".join(f"    {_line(key)}: {_line(kind)}" for key, kind in fields.items())
        rest = _line({key: value for key, value in shape.items() if key != "properties"})
        rows.append(f'  {_line(name)}: {{{rest[1:-1]}, "properties": {{\n{told}}}}}')
    head = (f" {_line(key)}: {_line(value)}" for key, value in schema.items() if key != "$defs")
    return "{\n" + ",\n".join((*head, ' "$defs": {\n' + ",\n".join(rows) + "}")) + "}\n"


def _line(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False)


if __name__ == "__main__":
    FILE.write_text(text(made()), "utf-8")
