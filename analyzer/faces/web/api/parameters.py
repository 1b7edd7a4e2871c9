"""What the HTTP API's questions share: parameters with their limits, and what a refusal is."""

from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import Path, Query

ManyPoints = Annotated[int, Query(ge=10, le=20_000, description="at most so many times")]
TripNumber = Annotated[int, Path(ge=1, le=1_000_000, description="as /api/v1/trips lists it")]


@dataclass(frozen=True)
class Refusal:
    """Why there is no answer, in one sentence."""

    error: str


ERRORS: dict[int | str, dict[str, Any]] = {
    401: {"model": Refusal, "description": "This device is not paired."},
    404: {"model": Refusal, "description": "There is no such trip or channel."},
    422: {"model": Refusal, "description": "The question was not understood."},
    503: {"model": Refusal, "description": "The log cannot answer now."},
}
