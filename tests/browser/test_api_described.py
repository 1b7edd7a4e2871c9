"""schemathesis asks the API whatever its own description allows, and what it does not."""

import os

import pytest
from hypothesis import HealthCheck, given, settings

schemathesis = pytest.importorskip("schemathesis", reason="schemathesis is not installed")

MANY = 200 if os.environ.get("KEELWATT_FULL") else 15
PATHS = [
    *(
        "range",
        "trips",
        "review/{number}",
        "cells",
        "cables",
        "hull",
        "flags",
        "check",
        "gain",
        "season",
    ),
    *("plot/{number}", "hindcast/{number}", "plan", "schema.json"),
    *("export/{number}.{ending}", "export/log"),
]


def _checks():
    from schemathesis.specs.openapi import checks

    return checks


@pytest.fixture(scope="module")
def described(site):
    return schemathesis.openapi.from_url(f"{site}/api/v1/openapi.json")


def test_every_path_is_asked(described):
    paths = {operation.ok().path for operation in described.get_all_operations()}
    assert paths == {f"/api/v1/{path}" for path in PATHS}


@pytest.mark.parametrize("mode", ["positive", "negative"])
@pytest.mark.parametrize("path", PATHS)
def test_api_answers_as_described_and_never_breaks(described, path, mode):
    operation = described[f"/api/v1/{path}"]["POST" if path == "plan" else "GET"]
    if mode == "negative" and not list(operation.iter_parameters()):
        pytest.skip("takes nothing that could be wrong")

    @settings(max_examples=MANY, deadline=None, suppress_health_check=list(HealthCheck))
    @given(case=operation.as_strategy(generation_mode=schemathesis.GenerationMode(mode)))
    def ask(case):
        answer = case.call()
        assert answer.status_code < 500
        # The description cannot say what makes a GPX file: one that is none may be refused.
        excluded = [_checks().positive_data_acceptance] if path == "plan" else []
        case.validate_response(answer, excluded_checks=excluded)

    ask()
