"""What the HTTP API's questions share: parameters with their limits, and what a refusal is."""

from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Annotated, Any

from fastapi import Path, Query, Request
from fastapi.exceptions import RequestValidationError

from analyzer.answers import Log
from analyzer.errors import AnalyzerError, NoChannel

ManyPoints = Annotated[int, Query(ge=10, le=20_000, description="at most so many times")]
TripNumber = Annotated[int, Path(ge=1, le=1_000_000, description="as /api/v1/trips lists it")]


@dataclass(frozen=True)
class Refusal:
    """Why there is no answer, in one sentence."""

    error: str


ERRORS: dict[int | str, dict[str, Any]] = {
    400: {"model": Refusal, "description": "The form that was sent cannot be read."},
    401: {"model": Refusal, "description": "This device is not paired."},
    404: {"model": Refusal, "description": "There is no such trip or channel."},
    422: {"model": Refusal, "description": "The question was not understood."},
    503: {"model": Refusal, "description": "The log cannot answer now."},
}


class WrongQuestion(AnalyzerError, ValueError):  # noqa: N818 - reads as the sentence it makes
    """A question that is put in words nobody knows."""


def known_only(request: Request) -> None:
    """Refuses parameters that the question does not take, by what its description lists.

    Raises:
        WrongQuestion: There is one.
    """
    route = request.scope["route"]
    calls = request.app.openapi()["paths"].get(route.path_format, {})
    listed = calls.get(request.method.lower(), {}).get("parameters", ())
    takes = [given["name"] for given in listed if given["in"] == "query"]
    for name in request.query_params:
        if name not in takes:
            raise WrongQuestion(f"there is no parameter {name!r} here{_instead(name, takes)}")


def _instead(name: str, takes: Sequence[str]) -> str:
    near = get_close_matches(name, takes, n=1)
    if near:
        return f": did you mean {near[0]!r}?"
    return f": it takes {', '.join(takes)}" if takes else ": it takes none"


def channels_of(log: Log, text: str) -> tuple[str, ...]:
    """The channels of a text with commas between.

    Raises:
        NoChannel: The log holds none of that name.
    """
    names = tuple(name.strip() for name in text.split(",") if name.strip())
    held = log.channels() if names else ()
    for name in names:
        if name not in held:
            near = get_close_matches(name, held, n=1)
            meant = f": did you mean {near[0]!r}?" if near else ""
            raise NoChannel(f"the log holds no channel {name!r}{meant}")
    return names


# pydantic's kinds of refusal, in our words; from its own list of error types.
_WANTS = {
    "int_parsing": "wants a whole number",
    "int_from_float": "wants a whole number",
    "float_parsing": "wants a number",
    "finite_number": "wants a number that is not infinite",
    "greater_than_equal": "wants {ge:g} or more",
    "greater_than": "wants more than {gt:g}",
    "less_than_equal": "wants {le:g} or less",
    "less_than": "wants less than {lt:g}",
    "literal_error": "wants {expected}",
    "date_parsing": "wants a day as year-month-day, 2026-05-01",
    "date_from_datetime_parsing": "wants a day as year-month-day, 2026-05-01",
    "date_from_datetime_inexact": "wants a day as year-month-day, 2026-05-01",
    "enum": "wants {expected}",
    "missing": "is wanted and not there",
}


def refusal(error: RequestValidationError) -> str:
    """Why a question was not understood, in a sentence of ours."""
    first = error.errors()[0]
    name, kind, told = first["loc"][-1], first["type"], first.get("ctx", {})
    if kind == "value_error":
        return str(told["error"])
    wants = _WANTS.get(kind, "cannot be read").format(**told)
    return f"{name} {wants}" if kind == "missing" else f"{name} {wants}, got {first['input']!r}"
