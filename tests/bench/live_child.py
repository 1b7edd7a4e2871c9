"""The recorder as a process of its own, without the test's libraries, so that its memory counts.

Run by bench_live.py: FOLDER PORT SECONDS. Prints "ready", then what it used as JSON.
"""

import json
import socket
import sys
import threading
import time
from pathlib import Path

from logger.boat.starter import starter_text
from logger.daemon import config
from logger.daemon.process_memory import keep_small
from logger.daemon.recorder import Recorder
from logger.sources.frame_readers import SocketCanReader
from logger.store import Store

MESSAGES = 30  # of 8 signals: 240 channels, of which 40 are kept at full rate
LIMITED = 25


def dbc_text() -> str:
    lines = ['VERSION ""', "NS_ :", "BS_:", "BU_: A"]
    for m in range(MESSAGES):
        lines.append(f"BO_ {256 + m} M{m}: 8 A")
        lines += [f' SG_ S{s} : {8 * s}|8@1+ (0.1,0) [0|0] "" A' for s in range(8)]
    return "\n".join(lines) + "\n"


def duties(folder: Path) -> config.RecorderConfig:
    """The boat file's, read as the recorder reads it."""
    (folder / "bus.dbc").write_text(dbc_text())
    spared = [f"M{m}" for m in range(LIMITED, MESSAGES)]
    source = f"""
[[source]]
name = "bus"
kind = "can"
[source.options]
interface = "socketcan"
channel = "bench0"
max_hz = 10
full_rate = {json.dumps(spared)}
decode = [{{dbc = "bus.dbc"}}]
"""
    (folder / "boat.toml").write_text(starter_text() + source)
    return config.load(folder / "boat.toml")


def child(folder: Path, port: int, seconds: float) -> None:
    """Runs the recorder; prints what it used."""
    sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    sock.bind(("127.0.0.1", port))
    SocketCanReader._open = staticmethod(lambda bus: sock)  # type: ignore[method-assign]
    with Store.open(folder / "live.sqlite", write=True) as store:
        recorder = Recorder(duties(folder), store, uid="bench")
        sizes: list[int] = []
        begun: list[float] = []

        def watch() -> None:
            while not recorder.feeds[0].up:
                time.sleep(0.05)
            print("ready", flush=True)
            time.sleep(3)
            begun.append(time.process_time())
            until = time.monotonic() + seconds
            while time.monotonic() < until:
                sizes.append(resident_bytes())
                time.sleep(0.5)
            begun.append(time.process_time())
            time.sleep(4)
            recorder.stop()

        threading.Thread(target=watch, daemon=True).start()
        recorder.run()
        counts = recorder.feeds[0].counters.as_dict()
    used = {
        "cpu_frac": (begun[1] - begun[0]) / seconds,
        "first": sizes[0],
        "most": max(sizes),
        "last": sizes[-1],
        "course": sizes[:: max(len(sizes) // 10, 1)],
        "counts": counts,
    }
    print(json.dumps(used))


def resident_bytes() -> int:
    """From /proc, in pages of 4096 bytes."""
    return int(Path("/proc/self/statm").read_text().split()[1]) * 4096


if __name__ == "__main__":
    keep_small()  # as `keelwatt record` does
    child(Path(sys.argv[1]), int(sys.argv[2]), float(sys.argv[3]))
