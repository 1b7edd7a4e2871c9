"""Debian's Chromium, driven; a page that writes an error to the console fails its test."""

import time
from contextlib import contextmanager

import pytest

from tests.support import invented
from tests.support.browser import SWITCHES, WIDTHS, Served, chromium_path


@pytest.fixture(scope="session")
def invented_answers():
    """The module of invented answers that the faces' tests use."""
    return invented


@pytest.fixture(scope="module")
def chromium():
    """The running browser; for one file of tests, as the driver's event loop runs all the while,
    and other files' tests have loops of their own."""
    path = chromium_path()
    if not path:
        pytest.skip("no chromium here: apt install chromium, or name one in KEELWATT_CHROMIUM")
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=SWITCHES)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def serve():
    """Puts an application on a local port: `with serve(app) as served: served.url`."""
    return Served


@pytest.fixture(scope="session")
def site(serve, invented_answers):
    """The pages over invented answers."""
    from analyzer.faces.web.app import create_app

    with serve(create_app(invented_answers.InventedLog())) as served:
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
