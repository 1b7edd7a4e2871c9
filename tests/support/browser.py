"""Debian's Chromium and an application on a local port, for page tests and pictures."""

import os
import shutil
import socket
import threading
import time

SWITCHES = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
UNFOLD = "document.querySelectorAll('main details').forEach((d) => { d.open = true; })"
WIDTHS = {"phone": (390, 844), "table": (1280, 900)}


def chromium_path():
    return os.environ.get("KEELWATT_CHROMIUM") or shutil.which("chromium")


class Served:
    """An application on a local port, a free one unless told, in a thread."""

    def __init__(self, app, port=0):
        import uvicorn

        from analyzer.faces.web.front_door import PatientProtocol

        self._socket = socket.socket()
        self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self._socket.bind(("127.0.0.1", port))
        self.url = f"http://127.0.0.1:{self._socket.getsockname()[1]}"
        config = uvicorn.Config(
            app, log_level="warning", lifespan="on", timeout_graceful_shutdown=1,
            http=PatientProtocol,
        )  # fmt: skip
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
