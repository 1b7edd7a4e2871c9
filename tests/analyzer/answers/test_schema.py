"""The shipped JSON Schema, held against what the commands print on the demo's log.

The judge is the library jsonschema-rs (draft 2020-12); shapes are made strict for it, so that a key
nobody described is found too.
"""

import copy
import json

import jsonschema_rs
import pytest

from analyzer.answers.schema import made, shipped
from analyzer.estimation.ground import STANDINGS
from analyzer.faces.cli import main

# Of pvlib, in another library's name for the day of the year.
pytestmark = pytest.mark.filterwarnings("ignore:DatetimeIndex.dayofyear")
ROUTE = """<gpx version="1.1" creator="a test" xmlns="http://www.topografix.com/GPX/1/1"><rte>
<rtept lat="46.28" lon="-23.87"/><rtept lat="46.30" lon="-23.84"/></rte></gpx>"""
QUESTIONS = {
    "range": "range --home",
    "plan": "plan {route} --depart 2026-05-16T13:00Z --speed 4",
    "range_what_if": "range --home --what-if pack.rated_capacity_ah=200",
    "plan_what_if": "plan {route} --depart 2026-05-16T13:00Z --speed 4 --what-if solar.peak_w=500",
    "review_what_if": "review --what-if pack.rated_capacity_ah=200",
    "trips": "trips",
    "review": "review",
    "hindcast": "hindcast --each 30",
    "cells": "cells",
    "cables": "cables",
    "hull": "hull",
    "gain": "gain",
    "season": "season",
    "double_run": "hull --double-run",
    "flags": "flags",
    "boots": "boots",
    "check": "check",
}
WITH_GROUNDS = ("range", "plan", "trips", "review", "season", "cells", "cables", "check")


def strict(schema):
    """The schema, refusing every key that it does not name."""
    found = copy.deepcopy(schema)
    for shape in found["$defs"].values():
        if "properties" in shape:
            shape["additionalProperties"] = False
    return found


def judge(name):
    return jsonschema_rs.validator_for(strict(shipped()) | {"anyOf": [{"$ref": f"#/$defs/{name}"}]})


@pytest.fixture(scope="module")
def said():
    """What each command printed."""
    return {}


def ask(said, name, demo_log, tmp_path, capsys):
    if name not in said:
        (tmp_path / "way.gpx").write_text(ROUTE)
        words = QUESTIONS[name].format(route=tmp_path / "way.gpx").split()
        assert main.main([*words, "--json", "--log", str(demo_log)]) == 0
        said[name] = json.loads(capsys.readouterr().out)
    return said[name]


def test_the_shipped_schema_is_the_one_that_the_answers_make():
    """`python -m analyzer.answers.schema` writes it anew."""
    assert shipped() == made()


def test_it_is_a_json_schema():
    jsonschema_rs.meta.validate(shipped())


@pytest.mark.parametrize("name", QUESTIONS)
def test_what_a_command_prints_is_as_described(said, name, demo_log, tmp_path, capsys):
    answer = ask(said, name, demo_log, tmp_path, capsys)
    errors = [f"{e.instance_path}: {e.message}" for e in judge(name).iter_errors(answer)]
    assert not errors
    for one in answer if isinstance(answer, list) else [answer]:
        assert one["schema"] == 1


@pytest.mark.parametrize("name", WITH_GROUNDS)
def test_every_answer_says_how_its_inputs_stand(said, name, demo_log, tmp_path, capsys):
    """The demo measures its pack: whatever else is not there, its current is said to be."""
    answer = ask(said, name, demo_log, tmp_path, capsys)
    for one in answer if isinstance(answer, list) else [answer]:
        stands = {row["input"]: row["standing"] for row in one["grounds"]}
        assert stands["pack current"] == "measured now"
        assert set(stands.values()) <= set(STANDINGS)


def test_a_wrong_answer_is_found(said, demo_log, tmp_path, capsys):
    answer = ask(said, "range", demo_log, tmp_path, capsys)
    assert judge("range").is_valid(answer)
    for key, value in (("charge", "64 %"), ("about", "tomorrow"), ("schema", 0), ("new", 1)):
        assert not judge("range").is_valid(answer | {key: value})
    assert not judge("range").is_valid({k: v for k, v in answer.items() if k != "distance"})


def test_every_field_of_an_answer_with_a_comment_is_described():
    ground = shipped()["$defs"]["Ground"]["properties"]
    assert ground["by"]["description"].startswith("What bridges")
    assert "most often" in shipped()["$defs"]["RangeAnswer"]["properties"]["limit"]["description"]


def test_every_command_with_json_is_described():
    groups = (value for value in vars(main).values() if hasattr(value, "COMMANDS"))
    names = {command.name for group in groups for command in group.COMMANDS if command.json}
    assert len(names) >= 11
    assert names <= set(shipped()["$defs"])
