"""Reading what a page's form sent."""

from urllib.parse import parse_qsl

from fastapi import Request

from analyzer.errors import AnalyzerError

MOST_BYTES = 200_000  # of a form, assumed


class FormError(AnalyzerError, ValueError):
    """A form that cannot be read."""


def check_length(request: Request, most: int = MOST_BYTES) -> None:
    """Refuses what says it is too long, or does not say how long it is.

    Raises:
        FormError: Either of them.
    """
    told = request.headers.get("content-length", "")
    if not told.isdecimal() or int(told) > most:
        raise FormError(f"a form wants at most {most} bytes")


async def read_body(request: Request, most: int) -> bytes:
    """What was sent.

    Raises:
        FormError: It is longer than so many bytes.
    """
    body = bytearray()
    async for piece in request.stream():
        body += piece
        if len(body) > most:
            raise FormError(f"what was sent is longer than {most} bytes")
    return bytes(body)


async def read_form(request: Request) -> dict[str, str]:
    """The fields of a form, the last of each name.

    Raises:
        FormError: It is too long, or no form at all.
    """
    kind = request.headers.get("content-type", "").partition(";")[0]
    if kind != "application/x-www-form-urlencoded":
        raise FormError("what came is no form")
    body = await read_body(request, MOST_BYTES)
    try:
        return dict(parse_qsl(body.decode("utf-8"), keep_blank_values=True, max_num_fields=5000))
    except ValueError as error:
        raise FormError("the form cannot be read") from error
