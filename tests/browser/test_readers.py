"""Many readers of the live stream at once, while the recorder writes the same log.

Each gets a beat a second, none holds up another, and no reading is lost. Recorder and server run
as on board: two processes of their own. Short runs have a few readers; KEELWATT_FULL=1 has a
hundred for ten minutes and holds the server to 250 MB.
"""

import asyncio
import math
import os
import shutil
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path

import httpx
import psutil
import pytest

from logger.store import Store

FULL = bool(os.environ.get("KEELWATT_FULL"))
READERS, SECONDS = (100, 600) if FULL else (20, 6)
LINES_PER_S = 5
MOST_BYTES = 250e6
ROOT = Path(__file__).resolve().parent.parent.parent
CHANNELS = (
    *("pack_voltage_v", "pack_current_a", "controller_voltage_v", "shaft_speed_rps"),
    *("motor_temp_c", "controller_temp_c", "probe_battery_negative_temp_c", "ambient_temp_c"),
    *("speed_water_mps", "speed_ground_mps", "cell_01_voltage_v", "cell_02_voltage_v"),
)


class Device(threading.Thread):
    """A device on the network that sends lines to whoever connects; counts what it sent."""

    def __init__(self):
        super().__init__(daemon=True)
        self._server = socket.create_server(("127.0.0.1", 0))
        self._server.settimeout(60)
        self.port = self._server.getsockname()[1]
        self.sent = 0
        self.stop = threading.Event()

    def run(self):
        peer, _ = self._server.accept()
        with peer, self._server:
            while not self.stop.wait(1 / LINES_PER_S):
                k = self.sent
                amps = 30 + 10 * math.sin(k / 40)
                values = (52.5 - amps / 100, amps, 52.3 - amps / 90, 12, 40, 35, 30 + k % 7, 20,
                          2.3, 2.1, 3.28, 3.27)  # fmt: skip
                peer.sendall((",".join(f"{v:.3f}" for v in values) + "\n").encode())
                self.sent += 1


def boat_file(folder, port):
    """The demo's boat with the device as its only way in."""
    told = (ROOT / "replay" / "demo" / "boat.toml").read_text("utf-8")
    columns = ", ".join(f'"{name}"' for name in CHANNELS)
    signals = "\n".join(f'{name} = {{ channel = "{name}" }}' for name in CHANNELS)
    source = (
        f'[[source]]\nname = "device"\nkind = "text"\n[source.options]\n'
        f'tcp = "127.0.0.1:{port}"\ndelimiter = ","\ncolumns = [{columns}]\n'
        f"[source.options.signals]\n{signals}\n"
    )
    path = folder / "boat.toml"
    path.write_text(told.split("[[source]]")[0] + source, "utf-8")
    return path


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@pytest.fixture(scope="module")
def on_board(tmp_path_factory):
    """Device, recorder and server, with the recorder writing."""
    folder = tmp_path_factory.mktemp("board")
    device = Device()
    device.start()
    boat, log, port = boat_file(folder, device.port), folder / "log.sqlite", free_port()
    there = ["--boat", str(boat), "--log", str(log)]
    program = [sys.executable, "-m", "analyzer.faces.cli.main"]
    env = os.environ | {"XDG_DATA_HOME": str(folder)}
    record = subprocess.Popen([*program, "record", *there], cwd=ROOT, env=env)
    _wait_for(lambda: device.sent > 10)
    _wait_for(log.is_file)
    serve = subprocess.Popen([*program, "serve", *there, "--port", str(port)], cwd=ROOT, env=env)
    url = f"http://127.0.0.1:{port}"
    _wait_for(lambda: _answers(url))
    yield device, record, serve, url, log
    for process in (serve, record):
        process.terminate()
        process.wait(20)
    shutil.rmtree(folder)


def _wait_for(test, limit_s=60.0):
    until = time.monotonic() + limit_s
    while not test():
        assert time.monotonic() < until, "it did not become true in time"
        time.sleep(0.1)


def _answers(url):
    try:
        return httpx.get(f"{url}/api/v1/range", timeout=20).status_code == 200
    except httpx.TransportError:
        return False


async def _read(client, url):
    beats, first = 0, None
    async with client.stream("GET", f"{url}/live") as answer:
        assert answer.headers["content-type"].startswith("text/event-stream")
        async for line in answer.aiter_lines():
            beats += line.startswith("data:")
            first = first or (time.monotonic() if beats else None)
            if first and time.monotonic() - first > SECONDS:
                return beats


async def _read_all(url):
    limits = httpx.Limits(max_connections=None)
    async with httpx.AsyncClient(timeout=60, limits=limits) as client:
        return await asyncio.gather(*(_read(client, url) for _ in range(READERS)))


def in_a_thread(work):
    """What `asyncio.run(work)` gives; here another test's event loop may be running."""
    found = []
    thread = threading.Thread(target=lambda: found.append(asyncio.run(work)))
    thread.start()
    thread.join()
    return found[0]


def test_every_reader_gets_its_beats_and_no_reading_is_lost(on_board):
    device, record, serve, url, log = on_board
    server, sizes, over = psutil.Process(serve.pid), [], threading.Event()

    def weigh():
        while not over.wait(1.0):
            sizes.append(server.memory_info().rss)

    weigher = threading.Thread(target=weigh)
    weigher.start()
    beats = in_a_thread(_read_all(url))
    over.set()
    weigher.join()
    used_s = sum(server.cpu_times()[:2])
    device.stop.set()
    device.join(10)
    record.terminate()
    assert record.wait(20) == 0
    with Store.open(log) as store:
        stored = len(store.read("pack_voltage_v", -(2**62), 2**62)[1])
    print(
        f"\n{READERS} readers, {SECONDS} s: {min(beats)} to {max(beats)} beats; "
        f"{device.sent} lines sent, {stored} stored; serve at most {max(sizes) / 1e6:.0f} MB, "
        f"{used_s:.0f} s of processor"
    )
    assert len(beats) == READERS
    assert min(beats) >= 0.8 * SECONDS
    assert max(beats) <= SECONDS + 3
    assert stored == device.sent
    assert max(sizes) <= MOST_BYTES
