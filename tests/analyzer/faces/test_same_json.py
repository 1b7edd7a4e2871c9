"""The HTTP API's answers are what `--json` prints, question by question, on the demo's log."""

import json

import pytest

from analyzer.answers import Log
from analyzer.faces.cli import main
from analyzer.faces.web.app import create_app

ROUTE = """<gpx version="1.1" creator="a test" xmlns="http://www.topografix.com/GPX/1/1"><rte>
<rtept lat="46.28" lon="-23.87"/><rtept lat="46.30" lon="-23.84"/></rte></gpx>"""
QUESTIONS = {
    "range": ("range", "range"),
    "range at": (
        "range --speed 4 --stream 1@70 --wind 8@225 --home straight",
        "range?speed_kn=4&stream_kn=1&toward_deg=70&wind_kn=8&from_deg=225&home=straight",
    ),
    "trips": ("trips", "trips"),
    "review": ("review 1", "review/1"),
    "cells": ("cells", "cells"),
    "cables": ("cables", "cables"),
    "hull": ("hull", "hull"),
    "gain": ("gain", "gain"),
    "season": ("season", "season"),
    "hindcast": ("hindcast 1 --each 30", "hindcast/1?each_min=30"),
    "check": ("check", "check"),
}
AGES = ("data_age_s", "age_s")  # of the data at the moment of asking


@pytest.fixture
def printed(demo_log, capsys):
    """What a command prints with --json."""

    def ask(words):
        capsys.readouterr()
        assert main.main([*words.split(), "--json", "--log", str(demo_log)]) == 0
        return json.loads(capsys.readouterr().out)

    return ask


def without_ages(answer):
    if isinstance(answer, dict):
        return {k: without_ages(v) for k, v in answer.items() if k not in AGES}
    return [without_ages(v) for v in answer] if isinstance(answer, list) else answer


@pytest.mark.parametrize("question", QUESTIONS)
def test_api_equals_json(question, demo_log, browse, printed):
    command, path = QUESTIONS[question]
    want = printed(command)
    got = browse(create_app(Log(demo_log, None))).get(f"/api/v1/{path}")
    assert got.status_code == 200
    found = without_ages(got.json())
    if question == "check":  # the command also lists this computer's ports
        want.pop("devices")
        found.pop("devices")
    assert found == without_ages(want)


@pytest.mark.filterwarnings("ignore:DatetimeIndex.dayofyear")  # pvlib's, with the newest pandas
def test_plan_equals_json(demo_log, tmp_path, browse, printed):
    route = tmp_path / "route"
    route.write_text(ROUTE)
    when = "2026-05-16T13:00Z"  # the demo's day; date -u -d 2026-05-16T13:00Z +%s
    want = printed(f"plan {route} --depart {when} --speed 4")
    client = browse(create_app(Log(demo_log, None)))
    got = client.post(f"/api/v1/plan?depart_utc_s={1778936400}&speed_kn=4", content=ROUTE)
    assert got.status_code == 200
    assert without_ages(got.json()) == without_ages(want)
