"""The HTTP API's own page: its OpenAPI description as HTML, without a script and offline."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from analyzer.faces.web.page import render

router = APIRouter(include_in_schema=False)


@router.get("/api")
def reference(request: Request) -> Response:
    """Every question with its parameters, and what the answers hold."""
    described: dict[str, Any] = request.app.openapi()
    shapes = described["components"]["schemas"]
    return render(
        request, "api.html", paths=described["paths"], shapes=shapes, kind=kind, answers=answers
    )


@router.get("/openapi.json")
def usual_place(request: Request) -> Any:
    """The description where tools look for it."""
    return request.app.openapi()


def answers(call: dict[str, Any]) -> str:
    """What a call answers with, in words."""
    content = call["responses"].get("200", {}).get("content", {})
    for name, what in content.items():
        return kind(what["schema"]) if what.get("schema") else str(name)
    return ""


def kind(what: dict[str, Any]) -> str:
    """A field's kind in words."""
    if "$ref" in what:
        return str(what["$ref"]).rpartition("/")[2]
    if "anyOf" in what:
        return " or ".join(kind(one) for one in what["anyOf"])
    if what.get("type") == "array":
        return f"list of {kind(what.get('items', {}))}"
    if isinstance(what.get("additionalProperties"), dict):
        return f"by name: {kind(what['additionalProperties'])}"
    return str(what.get("type", "anything"))
