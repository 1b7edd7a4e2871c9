"""How the board fares, to be read to somebody on the telephone, and one file to send for help."""

import io
from collections.abc import Sequence

from fastapi import APIRouter, Request
from fastapi.responses import PlainTextResponse, Response

from analyzer.answers.transfer import help_file, status
from analyzer.faces.web.page import log_of, render
from analyzer.faces.web.set_up.plugged import Plug

router = APIRouter(include_in_schema=False)


@router.get("/set-up/status")
def how(request: Request) -> Response:
    """The board, line by line."""
    lines = status.status(log_of(request).path, _devices(request))
    return render(request, "status.html", lines=lines, may_change=_may_change(request))


@router.get("/set-up/help.zip")
def send(request: Request, positions: str = "", codes: str = "") -> Response:
    """One file; what is not ticked stays out."""
    if not _may_change(request):
        return PlainTextResponse("This phone may look only.\n", 403)
    file = io.BytesIO()
    wishes = help_file.Wishes(positions == "yes", codes == "yes")
    help_file.write(log_of(request), file, wishes, _devices(request))
    headers = {"Content-Disposition": 'attachment; filename="keelwatt-help.zip"'}
    return Response(file.getvalue(), media_type="application/zip", headers=headers)


def _devices(request: Request) -> tuple[str, ...]:
    plugs: Sequence[Plug] = request.app.state.plugs(False)
    return tuple(plug.text for plug in plugs)


def _may_change(request: Request) -> bool:
    return bool(request.state.right == "change")
