"""Talking to systemd: ready, alive, stopping, what is going on. Silent where there is none."""

import os
import socket
import time


class Service:
    """Sends notifications to the socket that NOTIFY_SOCKET names."""

    def __init__(self, address: str | None = None, watchdog_us: str | None = None) -> None:
        """Args are for tests; None takes them from the environment."""
        self._address = address if address is not None else os.environ.get("NOTIFY_SOCKET", "")
        limit = watchdog_us if watchdog_us is not None else os.environ.get("WATCHDOG_USEC", "")
        self._every_s = int(limit) / 2e6 if limit.isdigit() else 0.0
        self._last_s = time.monotonic()

    def ready(self) -> None:
        """Recording has begun."""
        self._send("READY=1")

    def status(self, text: str) -> None:
        """One line for `systemctl status`."""
        self._send(f"STATUS={text}")

    def stopping(self) -> None:
        """The end has begun."""
        self._send("STOPPING=1")

    def alive(self) -> None:
        """Feeds the watchdog, at half its time."""
        now = time.monotonic()
        if self._every_s and now - self._last_s >= min(self._every_s, 10.0):
            self._last_s = now
            self._send("WATCHDOG=1")

    def _send(self, text: str) -> None:
        if not self._address:
            return
        name = "\0" + self._address[1:] if self._address.startswith("@") else self._address
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as sock:
                sock.sendto(text.encode(), name)
        except OSError:
            return  # nobody listens; recording goes on
