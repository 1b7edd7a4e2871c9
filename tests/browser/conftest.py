"""Debian's Chromium, driven; a page that writes an error to the console fails its test."""

import importlib.util
import os
import shutil
import socket
import sys
import threading
import time
from contextlib import contextmanager
from pathlib import Path

import pytest

_INVENTED = Path(__file__).parent.parent / "analyzer" / "faces" / "invented.py"
_SWITCHES = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
WIDTHS = {"phone": (390, 844), "table": (1280, 900)}


def _chromium():
    return os.environ.get("KEELWATT_CHROMIUM") or shutil.which("chromium")


@pytest.fixture(scope="session")
def invented_answers():
    """The module of invented answers that the faces' tests use."""
    spec = importlib.util.spec_from_file_location("invented_for_pages", _INVENTED)
    module = importlib.util.module_from_spec(spec)
    sys.modules["invented_for_pages"] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def chromium():
    """The running browser; for one file of tests, as the driver's event loop runs all the while,
    and other files' tests have loops of their own."""
    path = _chromium()
    if not path:
        pytest.skip("no chromium here: apt install chromium, or name one in KEELWATT_CHROMIUM")
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=_SWITCHES)
        yield browser
        browser.close()


class Served:
    """An application on a local port, a free one unless told, in a thread."""

    def __init__(self, app, port=0):
        import uvicorn

        self._socket = socket.socket()
        self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self._socket.bind(("127.0.0.1", port))
        self.url = f"http://127.0.0.1:{self._socket.getsockname()[1]}"
        config = uvicorn.Config(
            app, log_level="warning", lifespan="on", timeout_graceful_shutdown=1
        )
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(
            target=self._server.run, kwargs={"sockets": [self._socket]}, daemon=True
        )

    def __enter__(self):
        self._thread.start()
        until = time.monotonic() + 20
        while not self._server.started:
            assert time.monotonic() < until, "the application did not start"
            time.sleep(0.02)
        return self

    def __exit__(self, *_):
        self._server.should_exit = True
        self._thread.join(15)
        self._socket.close()


@pytest.fixture(scope="session")
def serve():
    """Puts an application on a local port: `with serve(app) as served: served.url`."""
    return Served


@pytest.fixture(scope="session")
def site(serve, invented_answers):
    """The pages over invented answers."""
    from analyzer.faces.api import create_app

    with serve(create_app(None, None, desk=invented_answers.InventedDesk())) as served:
        yield served.url


@pytest.fixture(scope="session")
def until():
    """Waits for something to become true. The pages' own policy forbids the driver's way of it."""

    def wait(test, limit_s=20.0):
        end = time.monotonic() + limit_s
        while not test():
            assert time.monotonic() < end, "it did not become true in time"
            time.sleep(0.1)

    return wait


@contextmanager
def looked_at(chromium, width):
    """A page; whatever it complains of, or asks of another computer, fails the test."""
    across, up = WIDTHS[width]
    context = chromium.new_context(viewport={"width": across, "height": up})
    page = context.new_page()
    complaints, strangers = [], []
    page.on("console", lambda m: complaints.append(m.text) if m.type == "error" else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("request", lambda r: strangers.append(r.url) if "127.0.0.1" not in r.url else None)
    yield page
    context.close()
    assert complaints == []
    assert [url for url in strangers if not url.startswith("data:")] == []


@pytest.fixture(params=list(WIDTHS))
def page(request, chromium):
    """A page, once at phone and once at table width."""
    with looked_at(chromium, request.param) as page:
        yield page


@pytest.fixture
def phone(chromium):
    """A page at phone width."""
    with looked_at(chromium, "phone") as page:
        yield page
