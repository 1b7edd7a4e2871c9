"""After the boat file is saved: whether anything is recorded, and the first test at the berth."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from analyzer.estimation.results import ChannelRow
from analyzer.faces.web.page import log_of, render
from analyzer.faces.web.set_up.setup_page import checked

router = APIRouter(include_in_schema=False)
SILENT_S = 30.0  # a channel that came so long ago is not arriving; assumed
INNER = "health_"  # the recorder's own channels


@router.get("/set-up/first-test")
def first_test(request: Request) -> Response:
    """What arrives, what of the wiring is right, and what to do at the berth."""
    log = log_of(request)
    check, trouble = checked(request) if log.is_there() else (None, "")
    rows = [row for row in check.channels if not row.name.startswith(INNER)] if check else []
    age_s = log.age_s() if rows else None
    return render(
        request,
        "first_test.html",
        boat=check.boat if check else "boat.toml",
        check=check,
        trouble=trouble,
        arriving=[row for row in rows if _arrives(row, age_s)],
        silent=[row for row in rows if age_s is not None and not _arrives(row, age_s)],
    )


def _arrives(row: ChannelRow, log_age_s: float | None) -> bool:
    """Whether a channel has just come; its own age counts from the log's newest reading."""
    if row.age_s is None or log_age_s is None:
        return False
    return row.age_s + log_age_s < SILENT_S
