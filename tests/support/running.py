"""A recorder that runs in a thread, and what is sent to it."""

import functools
import operator
import socket
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from logger.boat import Boat
from logger.daemon.recorder import Recorder
from logger.daemon.systemd import Service
from logger.store import Store

EVER = (-(2**62), 2**62)


def sentence(body: str) -> bytes:
    """An NMEA 0183 sentence with its checksum, as a device sends it."""
    total = functools.reduce(operator.xor, body.encode("ascii"), 0)
    return f"${body}*{total:02X}\r\n".encode()


def free_port() -> int:
    """A port of this computer that nothing listens on."""
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        return int(sock.getsockname()[1])


def send_udp(port: int, *datagrams: bytes) -> None:
    """Sends datagrams to this computer."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        for data in datagrams:
            sock.sendto(data, ("127.0.0.1", port))


def boat_table(*sources: dict[str, Any]) -> dict[str, Any]:
    """An invented boat with these sources."""
    return {
        "name": "Test boat",
        "hull": {"waterline_m": 7.0, "beam_waterline_m": 2.2, "draught_m": 1.2,
                 "displacement_kg": 3000.0},
        "pack": {"chemistry": "lfp", "cells_in_series": 16, "rated_capacity_ah": 100.0},
        "motor": {"rated_power_w": 5000.0},
        "flush_s": 0.1,
        "source": list(sources),
    }  # fmt: skip


def gps(**options: object) -> dict[str, Any]:
    """A source of NMEA 0183."""
    return {"name": "gps", "kind": "nmea0183", "options": options}


class Running:
    """A recorder in a thread."""

    def __init__(
        self,
        folder: Path,
        *sources: dict[str, Any],
        service: Service | None = None,
        uid: str = "boot",
    ) -> None:
        self.store = Store.open(folder / "boat.log", write=True)
        self.boat = Boat.model_validate(boat_table(*sources))
        self.recorder = Recorder(self.boat, self.store, service, uid=uid)
        self.error: Exception | None = None
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def _run(self) -> None:
        try:
            self.recorder.run()
        except Exception as error:
            self.error = error

    def values(self, channel: str) -> list[float]:
        """All values of a channel in the log."""
        return [float(v) for v in self.store.read(channel, *EVER)[1]]

    def wait_for(self, test: Callable[[], bool], limit_s: float = 20.0) -> None:
        """Waits until something holds."""
        until = time.monotonic() + limit_s
        while not test():
            assert time.monotonic() < until, [feed.trouble for feed in self.recorder.feeds]
            time.sleep(0.02)

    def wait_until_up(self) -> None:
        """Waits for the first source."""
        self.wait_for(lambda: self.recorder.feeds[0].up)

    def stop(self) -> float:
        """Ends the recorder; how long that took. [s]"""
        begun = time.monotonic()
        self.recorder.stop()
        self._thread.join(20)
        assert not self._thread.is_alive()
        return time.monotonic() - begun

    def close(self) -> None:
        """Ends the recorder and lets the log go."""
        self.stop()
        self.store.close()
