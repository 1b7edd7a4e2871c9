"""How a page is made: templates, their words, the look, the headers."""

import hashlib
import mimetypes
import time
from collections.abc import Callable, Hashable
from dataclasses import replace
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

import jinja2
from fastapi import Request
from fastapi.responses import HTMLResponse, Response
from fastapi.staticfiles import StaticFiles
from fastapi.templating import Jinja2Templates
from markupsafe import Markup, escape
from starlette.types import Scope

from analyzer.answers import Log
from analyzer.answers.memory import Memory
from analyzer.errors import AnalyzerError
from analyzer.faces import format, line_breaks, sentences, units
from analyzer.faces.charts import range_svg
from analyzer.faces.web import header_middleware
from logger.errors import LoggerError

_HERE = Path(__file__).parent.parent
LOOKS = ("sun", "day", "night", "contrast")
TYPED_IN_CELSIUS = ("set_up.html", "guide.html")  # the boat file has °C: so has all beside it
CHECK_SUN_S = 60.0  # assumed
TWILIGHT_DEG = -6.0  # below it a lamp is needed: end of civil twilight, by definition


def _sentence(text: str) -> Markup:
    """A sentence; what stands between back quotes is something to type."""
    pieces = format.sentence(text).split("`")
    if len(pieces) % 2 == 0:
        return escape(format.sentence(text))
    marked = (
        Markup("<code>{}</code>").format(p) if k % 2 else escape(p) for k, p in enumerate(pieces)
    )
    return Markup("").join(marked)


def _environment() -> jinja2.Environment:
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(_HERE / "templates"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
    )
    environment.globals.update(
        words=format, sentences=sentences, bars=range_svg.bars, asset=asset, units=units.now
    )
    environment.filters["told"] = units.told
    environment.filters["sentence"] = _sentence
    return environment


@lru_cache
def asset(path: str) -> str:
    """A file's address with a mark of its content, so that a browser keeps it until it changes.

    Args:
        path: "/static/..." or "/assets/bokeh/...".
    """
    mount, _, name = path.removeprefix("/").rpartition("/")
    content = (_FOLDERS[mount]() / name).read_bytes()
    return f"{path}?{_MARK}={hashlib.sha256(content).hexdigest()[:12]}"


def _bokeh() -> Path:
    from bokeh.util.paths import bokehjs_path

    return bokehjs_path() / "js"


_FOLDERS: dict[str, Callable[[], Path]] = {
    "static": lambda: _HERE / "static",
    "assets/bokeh": _bokeh,
}
_MARK = "is"  # the parameter that names a file's content
_KEPT = "public, max-age=31536000, immutable"  # a year, common practice, no source
_ASKED_AGAIN = "no-cache"  # kept, but asked each time whether it is still the same
mimetypes.add_type("application/manifest+json", ".webmanifest")
templates = Jinja2Templates(env=_environment())


class KeptFiles(StaticFiles):
    """Files that browsers keep: by content where the address names it, else by their tag."""

    async def get_response(self, path: str, scope: Scope) -> Response:
        """The file, or that it has not changed."""
        answer = await super().get_response(path, scope)
        named = scope["query_string"].startswith(f"{_MARK}=".encode())
        answer.headers["Cache-Control"] = _KEPT if named else _ASKED_AGAIN
        return answer


def static_files() -> StaticFiles:
    """The pages' own style and scripts."""
    return KeptFiles(directory=_FOLDERS["static"]())


def chart_files() -> StaticFiles:
    """The charts' scripts as the installed bokeh package brings them; nothing from a network."""
    return KeptFiles(directory=_bokeh())


def render(
    request: Request,
    name: str,
    status: int = 200,
    policy: str = header_middleware.STRICT,
    **what: Any,
) -> Response:
    """A page in the chosen look."""
    chosen = request.cookies.get("look", "sun")
    what["chosen"] = chosen if chosen in LOOKS else "sun"
    what["look"] = request.app.state.sun.look() if what["chosen"] == "sun" else what["chosen"]
    what.setdefault("zone", format.zone_name(time.time()))
    headers = {"Content-Security-Policy": policy}
    text = templates.env.get_template(name).render(request=request, **what)
    to = replace(units.now(), fahrenheit=False) if name in TYPED_IN_CELSIUS else units.now()
    return HTMLResponse(worded(text, to), status, headers)


def worded(html: str, to: units.Units | None = None) -> str:
    """A page in its reader's units; no line breaks between a number and its unit."""
    return line_breaks.tied_page(units.told(html, to))


def log_of(request: Request) -> Log:
    """Where this application's questions are put."""
    log: Log = request.app.state.log
    return log


def remembered(request: Request, question: Hashable, answer: Callable[[], Any]) -> Any:
    """A slow answer, asked again only when the log has changed."""
    memory: Memory = request.app.state.memory
    return memory.ask(question, answer)


def safe_path(path: str) -> str:
    """A path on this site; "/" where it leads elsewhere."""
    leads_away = not path.startswith("/") or path.startswith(("//", "/\\"))
    return "/" if leads_away or any(ord(letter) < 32 for letter in path) else path


class Sun:
    """The look by the sun: day, or night where the sun is down where the boat is.

    Args:
        log: Asked for the boat's place, once a minute at most.
    """

    def __init__(self, log: Log) -> None:
        self._log = log
        self._look = "day"
        self._asked_s = -CHECK_SUN_S

    def look(self) -> str:
        """ "day" or "night"; day where the boat's place is not known."""
        if time.monotonic() - self._asked_s >= CHECK_SUN_S:
            self._asked_s = time.monotonic()
            self._look = self._now()
        return self._look

    def _now(self) -> str:
        try:
            place, now_s = self._log.place(), self._log.now_utc_s()
        except (AnalyzerError, LoggerError):
            return "day"
        return "night" if place and dark(place[0], place[1], now_s) else "day"


def dark(latitude_deg: float, longitude_deg: float, utc_s: float) -> bool:
    """Whether the sun stands lower than civil twilight.

    Args:
        latitude_deg, longitude_deg: North and east positive.
        utc_s: Seconds since 1970.
    """
    from astral import Observer
    from astral.sun import elevation

    moment = datetime.fromtimestamp(utc_s, UTC)
    return elevation(Observer(latitude_deg, longitude_deg), moment) < TWILIGHT_DEG
