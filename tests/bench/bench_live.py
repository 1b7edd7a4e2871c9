"""The daemon on a full bus.

    pytest tests/bench/bench_live.py -s                      # 15 s
    KEELWATT_FULL=1 pytest tests/bench/bench_live.py -s      # 10 minutes

A UDP socket on loopback stands for a SocketCAN socket, which test machines seldom have: the
frames have the kernel's layout and are taken one system call each, by the same code.
"""

import json
import os
import socket
import struct
import subprocess
import sys
import threading
import time
from pathlib import Path

import can
import pytest

from logger.decode.counters import Counters
from logger.sources import can_bus
from logger.sources.options import Options
from logger.store import Store

sys.path.insert(0, str(Path(__file__).parent))
from live_child import LIMITED, MESSAGES, dbc_text

FULL = os.environ.get("KEELWATT_FULL") == "1"
SECONDS = float(os.environ.get("KEELWATT_SECONDS", 600 if FULL else 15))
RATE = 8600  # frames a second of 8 bytes: a full bus of 1 Mbit/s
EVER = (-(2**62), 2**62)
HERE = Path(__file__).resolve().parents[2]


def send(port: int, seconds: float) -> int:
    layout = struct.Struct("=IB3x8s")
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.connect(("127.0.0.1", port))
        return _send(sock, layout, seconds)


def _send(sock: socket.socket, layout: struct.Struct, seconds: float) -> int:
    begun, sent = time.monotonic(), 0
    while (now := time.monotonic() - begun) < seconds:
        while sent < now * RATE:
            value = (sent // MESSAGES).to_bytes(8, "little")
            sock.send(layout.pack(256 + sent % MESSAGES, 8, value))
            sent += 1
        time.sleep(0.005)
    return sent


def test_full_bus_is_recorded_whole(tmp_path: Path):
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [sys.executable, str(HERE / "tests/bench/live_child.py"), str(tmp_path), str(port)]
    with subprocess.Popen(
        [*command, str(SECONDS)],
        cwd=HERE,
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(HERE)},
    ) as process:
        assert process.stdout
        process.stdout.readline()
        sent = send(port, SECONDS + 4)
        out, _ = process.communicate(timeout=60)
    used = json.loads(out)
    with Store.open(tmp_path / "live.sqlite") as store:
        full = len(store.read(f"other_m{LIMITED}_s0_count", *EVER)[0])
        limited = len(store.read("other_m0_s0_count", *EVER)[0])
    size = sum(p.stat().st_size for p in tmp_path.glob("live.sqlite*"))
    print(
        f"\n{RATE} frames/s for {SECONDS} s: {100 * used['cpu_frac']:.1f} % of a core; "
        f"{sent - used['counts']['frames']} of {sent} frames lost; memory "
        f"{used['first'] / 1e6:.1f} to {used['last'] / 1e6:.1f} MB, most {used['most'] / 1e6:.1f}; "
        f"log {size / 1e6:.1f} MB; course {[round(s / 1e6, 1) for s in used['course']]}"
    )
    assert used["counts"]["frames"] == sent
    assert "dropped" not in used["counts"]
    assert abs(full - sent / MESSAGES) <= 1
    assert limited <= (SECONDS + 5) * 10 + 2
    assert limited >= (SECONDS + 2) * 9
    assert used["cpu_frac"] <= 0.30
    assert used["most"] <= 60e6


def test_live_costs_no_more_than_python_cans_own_writer(tmp_path: Path):
    """Same virtual bus, same frames; theirs decodes nothing. CPU without the sending thread's."""
    count, used = 200_000 if FULL else 60_000, {}
    for label in ("theirs", "ours"):
        sender = can.Bus(interface="virtual", channel=f"bench-{label}")
        receiver = can.Bus(interface="virtual", channel=f"bench-{label}")
        spent = [0.0]

        def transmit(bus: can.BusABC = sender, spent: list[float] = spent) -> None:
            begun = time.thread_time()
            for k in range(count):
                data = (k // MESSAGES).to_bytes(8, "little")
                bus.send(can.Message(arbitration_id=256 + k % MESSAGES, is_extended_id=False,
                                     data=data))  # fmt: skip
                if k % 100 == 99:
                    time.sleep(0.005)
            spent[0] = time.thread_time() - begun

        thread = threading.Thread(target=transmit)
        begun = time.process_time()
        if label == "theirs":
            writer = can.SqliteWriter(tmp_path / "theirs.sqlite")
            notifier = can.Notifier(receiver, [writer])
            thread.start()
            thread.join()
            time.sleep(1)
            notifier.stop()
            receiver.shutdown()
        else:
            record_virtual(tmp_path, receiver, thread, count)
        used[label] = time.process_time() - begun - spent[0]
        sender.shutdown()
    print(
        f"\nlive, 8 signals a frame, all kept: {used['ours'] / count * 1e6:.1f} against "
        f"{used['theirs'] / count * 1e6:.1f} µs of CPU a frame (which stores bytes undecoded)"
    )
    assert used["ours"] <= used["theirs"]


def record_virtual(tmp_path: Path, bus: can.BusABC, thread: threading.Thread, count: int) -> None:
    from logger.decode.can import bus as decode_bus
    from logger.sources.frame_readers import LibraryReader

    (tmp_path / "bus.dbc").write_text(dbc_text())
    counters = Counters("bus")
    options = Options("bus", {"decode": [{"dbc": "bus.dbc"}]}, tmp_path)
    decoder = decode_bus.from_options("bus", options.table, tmp_path, counters)
    source = can_bus.CanSource("bus", LibraryReader(bus, "bus", counters), decoder)
    with Store.open(tmp_path / "ours.sqlite", write=True) as store, store.writer("x") as writer:
        thread.start()
        while counters["frames"] < count:
            for item in source.read(0.2) or []:
                writer.add(item)
        thread.join()
        source.close()
    with Store.open(tmp_path / "ours.sqlite") as store:
        kept = sum(len(store.read(f"other_m{m}_s0_count", *EVER)[0]) for m in range(MESSAGES))
    assert kept == count


if __name__ == "__main__":
    pytest.main([__file__, "-s", "-q"])
