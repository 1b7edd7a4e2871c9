"""A release sent from a phone, and what its page says while the pages go away and come back."""

import json
import socket
import threading

import pytest

from analyzer.answers import Log
from analyzer.faces.web.app import create_app
from analyzer.faces.web.set_up.plugged import Board

pytestmark = pytest.mark.browser


@pytest.fixture
def errand(tmp_path):
    """Somebody who takes each act."""
    with socket.socket(socket.AF_UNIX) as listening:
        listening.bind(str(tmp_path / "errand"))
        listening.listen()

        def answer():
            while True:
                try:
                    one, _ = listening.accept()
                except OSError:
                    return
                with one:
                    one.recv(1024)
                    said = {"ok": True, "said": "the release is being looked at"}
                    one.sendall(json.dumps(said).encode() + b"\n")

        threading.Thread(target=answer, daemon=True).start()
        yield tmp_path / "errand"
        listening.shutdown(socket.SHUT_RDWR)


@pytest.mark.parametrize("width", [390, 1280])
def test_a_release_is_followed_while_the_pages_start_again(
    serve, chromium, tmp_path, errand, until, width
):
    told = tmp_path / "changes"
    told.mkdir()
    app = create_app(Log(tmp_path / "log.sqlite"), board=Board(errand=errand, changes=told))
    file = tmp_path / "keelwatt-0.3.0-aarch64.release"
    file.write_bytes(b"x" * 3_000_000)
    page = chromium.new_page(viewport={"width": width, "height": 844})
    line = page.locator("#release")
    with serve(app) as served:
        page.goto(f"{served.url}/set-up/board")
        assert line.inner_text().startswith("Release ")
        page.get_by_label("A release file on this phone").set_input_files(file)
        page.get_by_role("button", name="Take this release").click()
        until(lambda: line.inner_text() == "The release is being looked at.")
        sent = tmp_path / "incoming/keelwatt.release"
        assert sent.read_bytes() == file.read_bytes()
        (told / "busy").touch()
        (told / "said").write_text("the new release is being tried\n")
        until(lambda: line.inner_text() == "The new release is being tried.")
        assert page.evaluate("document.documentElement.scrollWidth") <= width
    until(lambda: "away for a moment" in line.inner_text())
    (told / "busy").unlink()
    (told / "said").write_text("release 0.3.0 is in use: it stayed up\n")
    with serve(app, int(served.url.rpartition(":")[2])):
        until(lambda: line.inner_text() == "Release 0.3.0 is in use: it stayed up.")
    page.close()


def test_without_script_the_form_still_sends_it(serve, chromium, tmp_path, errand):
    app = create_app(Log(tmp_path / "log.sqlite"), board=Board(errand=errand))
    context = chromium.new_context(java_script_enabled=False)
    page = context.new_page()
    file = tmp_path / "a.release"
    file.write_bytes(b"x" * 1000)
    with serve(app) as served:
        page.goto(f"{served.url}/set-up/board")
        page.get_by_label("A release file on this phone").set_input_files(file)
        page.get_by_role("button", name="Take this release").click()
        assert "being looked at" in page.get_by_role("status").first.inner_text()
    assert (tmp_path / "incoming/keelwatt.release").read_bytes() == b"x" * 1000
    context.close()
