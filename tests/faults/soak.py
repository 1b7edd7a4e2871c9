"""A long run with a fault every while: is every reading that was safe still there, and memory flat?

    python tests/faults/soak.py --minutes 10            a fault every ten seconds
    python tests/faults/soak.py --minutes 1440 --every 60     a day and a night
    python tests/faults/soak.py --without record_killed serve_killed     memory of long runs

A recorder and the pages run on a small disk of their own (it must be possible to mount one).
Numbers come over TCP, ten a second; what was once read back from the log is safe from then on.
The faults: the port is out, the disk is full, a receiver's clock or the system's own is stepped,
the log is held by another program, the recorder or the pages are killed, and once a page of the log
is overwritten. The system's clock is stepped for the two programs alone, as Python's `time` tells
it (a library that moves it for a whole process broke `sleep`, too); monotonic clocks stay.
"""

import argparse
import itertools
import os
import random
import shutil
import socket
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from collections.abc import Callable
from contextlib import closing, suppress
from pathlib import Path

import psutil

from logger.boot_clock import mono_us
from logger.errors import LoggerError
from logger.store import Boot, Store

ALL = -(2**62), 2**62
CHANNEL = "other_soak_count"
PAGE = 4096
BOAT = """
name = "Soak"
flush_s = 1.0
[hull]
waterline_m = 7.0
beam_waterline_m = 2.2
draught_m = 1.2
displacement_kg = 3000.0
[pack]
chemistry = "lfp"
cells_in_series = 16
rated_capacity_ah = 100.0
[motor]
rated_power_w = 5000.0
[[source]]
name = "numbers"
kind = "text"
[source.options]
tcp = "127.0.0.1:{numbers}"
pattern = 'N=(?P<n>[0-9]+)'
[source.options.signals]
n = {{channel = "other_soak_count"}}
[[source]]
name = "gps"
kind = "nmea0183"
options = {{tcp = "127.0.0.1:{gps}"}}
"""


STEPS_S = (86400.0, 4320.0, -4320.0, 3.3e8, -6.2e8)  # a day, 72 minutes both ways, years: assumed


# Python runs this before any program of ours: what its `time` says of the wall clock is moved.
SHIM = """
import time
_real, _off, _due = time.time_ns, 0, 0.0
def _moved():
    global _off, _due
    if time.monotonic() >= _due:
        _due = time.monotonic() + 0.1
        with open({file!r}) as told:
            _off = int(told.read() or 0) * 10**9
    return _real() + _off
time.time_ns, time.time = _moved, lambda: _moved() / 1e9
"""


class SystemClock:
    """The wall clock as our programs see it through Python's `time`, which may be stepped."""

    def __init__(self, folder: Path) -> None:
        self._file = folder / "off"
        self.set(0.0)
        (folder / "sitecustomize.py").write_text(SHIM.format(file=str(self._file)))
        here = str(Path(__file__).parents[2])
        self.environment = {**os.environ, "PYTHONPATH": os.pathsep.join([str(folder), here])}

    def set(self, off_s: float) -> None:
        """How far it is off from now on; the file is never seen half written."""
        made = self._file.with_suffix(".new")
        made.write_text(f"{off_s:.0f}")
        made.replace(self._file)


class Device:
    """Something that sends lines to whoever connects."""

    def __init__(self, line: Callable[[], bytes], every_s: float) -> None:
        self._line, self._every_s = line, every_s
        self._server = socket.create_server(("127.0.0.1", 0))
        self._server.settimeout(0.2)
        self.port = int(self._server.getsockname()[1])
        self.out = threading.Event()
        threading.Thread(target=self._run, daemon=True).start()

    def _run(self) -> None:
        while True:
            with suppress(OSError):
                peer, _ = self._server.accept()
                with peer:
                    while not self.out.is_set():
                        peer.sendall(self._line())
                        time.sleep(self._every_s)
            while self.out.is_set():
                time.sleep(0.05)


class Numbers:
    """Lines with a number that goes up."""

    def __init__(self) -> None:
        self.sent = 0

    def __call__(self) -> bytes:
        self.sent += 1
        return b"N=%d\n" % self.sent


class Receiver:
    """RMC sentences, whose clock may be stepped."""

    def __init__(self) -> None:
        self.off_s = 0.0

    def __call__(self) -> bytes:
        at = time.gmtime(time.time() + self.off_s)
        text = time.strftime("GPRMC,%H%M%S.00,A,4600.0,N,02300.0,W,0.0,0.0,%d%m%y,,,A", at)
        total = 0
        for char in text.encode():
            total ^= char
        return f"${text}*{total:02X}\r\n".encode()


class Program:
    """One of ours, begun anew whenever it has ended."""

    def __init__(self, clock: SystemClock, name: str, *arguments: str) -> None:
        self.name, self.begun, self.memory_mb = name, 0, [0.0]
        self._environment = clock.environment
        self._command = [sys.executable, "-m", "analyzer.faces.cli.main", name, *arguments]
        self._errors = tempfile.TemporaryFile()  # noqa: SIM115 - as long as the program
        self.keep()

    def keep(self) -> None:
        """Begins it where it does not run; looks at its memory."""
        if self.begun and self.process.poll() is None:
            with suppress(psutil.Error):
                self.memory_mb.append(psutil.Process(self.process.pid).memory_info().rss / 1e6)
            return
        self.process = subprocess.Popen(
            self._command, stderr=self._errors, stdout=self._errors, env=self._environment
        )
        self.begun += 1
        self.memory_mb = [0.0]

    def kill(self) -> None:
        self.process.kill()
        self.process.wait()

    def tracebacks(self) -> list[str]:
        """What each ended in, and the line of ours that was nearest to it."""
        self._errors.seek(0)
        text = self._errors.read().decode(errors="replace")
        found = []
        for part in text.split("Traceback (most recent call last):\n")[1:]:
            lines = part.splitlines()
            places = itertools.takewhile(lambda line: line.startswith(" "), lines)
            ours = [line.strip() for line in places if "/logger/" in line or "/analyzer/" in line]
            said = next((line for line in lines if not line.startswith(" ")), "")
            found.append(f"{said} ({ours[-1] if ours else 'not in ours'})")
        return found


class Soak:
    """The whole of it; what was seen, and what is missing."""

    def __init__(self, folder: Path, disk: Path, seed: int, without: list[str]) -> None:
        self.faults = [fault for fault in self.FAULTS if fault.__name__ not in without]
        self.rng, self.log, self.disk = random.Random(seed), disk / "log.sqlite", disk
        self.numbers, self.receiver = Numbers(), Receiver()
        self.devices = [Device(self.numbers, 0.1), Device(self.receiver, 1.0)]
        boat = folder / "boat.toml"
        boat.write_text(BOAT.format(numbers=self.devices[0].port, gps=self.devices[1].port))
        with closing(socket.create_server(("127.0.0.1", 0))) as free:
            self.port = free.getsockname()[1]
        places = ("--boat", str(boat), "--log", str(self.log))
        self.clock = SystemClock(folder)
        self.record = Program(self.clock, "record", *places)
        self.serve = Program(self.clock, "serve", "--port", str(self.port), *places)
        self.safe: set[int] = set()
        self.answers = {True: 0, False: 0}
        self.spoiled = 0

    def look(self) -> None:
        """What can be read back is safe from now on."""
        for program in (self.record, self.serve):
            program.keep()
        with suppress(LoggerError):
            self.safe |= self.there()
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{self.port}/api/v1/flags", timeout=20):
                self.answers[True] += 1
        except OSError:
            self.answers[False] += 1

    def there(self) -> set[int]:
        with Store.open(self.log) as store:
            return {int(n) for n in store.read(CHANNEL, *ALL)[1]}

    # -- faults ---------------------------------------------------------------------------------

    def port_out(self, lasts_s: float) -> None:
        self.devices[0].out.set()
        time.sleep(lasts_s)
        self.devices[0].out.clear()

    def disk_full(self, lasts_s: float) -> None:
        with suppress(OSError), (self.disk / "full").open("wb") as file:
            while True:
                file.write(bytes(65536))
                file.flush()
        time.sleep(lasts_s)
        (self.disk / "full").unlink()

    def system_stepped(self, lasts_s: float) -> None:
        self.clock.set(self.rng.choice(STEPS_S))
        time.sleep(lasts_s)
        self.clock.set(0.0)

    def receiver_stepped(self, lasts_s: float) -> None:
        self.receiver.off_s = self.rng.choice([86400.0, 3.3e8, -6.2e8, 4320.0])
        time.sleep(lasts_s)
        self.receiver.off_s = 0.0

    def log_held(self, lasts_s: float) -> None:
        with suppress(sqlite3.Error), closing(sqlite3.connect(self.log)) as db:
            db.execute("BEGIN IMMEDIATE")
            time.sleep(lasts_s)

    def record_killed(self, _: float) -> None:
        self.record.kill()

    def serve_killed(self, _: float) -> None:
        self.serve.kill()

    def page_damaged(self, _: float) -> None:
        """Once: a page of what is on the disk, while all is at work."""
        pages = self.log.stat().st_size // PAGE
        # In a process of its own: a file closed here would take this process's locks along.
        text = (
            "import os, sys; f = open(sys.argv[1], 'r+b'); f.seek(int(sys.argv[2])); "
            f"f.write(os.urandom({PAGE}))"
        )
        at = self.rng.randrange(1, max(pages, 2)) * PAGE
        subprocess.run([sys.executable, "-c", text, str(self.log), str(at)], check=True)
        self.spoiled += 1
        self.record.kill()  # it looks at all pages when it begins, else once an hour only

    FAULTS = (port_out, disk_full, system_stepped, receiver_stepped, log_held, record_killed,
              serve_killed)  # fmt: skip

    def run(self, minutes: float, every_s: float) -> None:
        """Faults until the time is over, then a quiet while."""
        begun = time.monotonic()
        end, spoil_at = begun + 60 * minutes, begun + 30 * minutes
        while time.monotonic() < end:
            fault = self.rng.choice(self.faults)
            if time.monotonic() > spoil_at and not self.spoiled:
                fault = Soak.page_damaged
            until = time.monotonic() + every_s
            print(f"{time.monotonic() - begun:6.0f} s  {fault.__name__:14} safe {len(self.safe)}",
                  flush=True)  # fmt: skip
            fault(self, self.rng.uniform(0.2, 0.6) * every_s)
            while time.monotonic() < until:
                self.look()
                time.sleep(1.0)
        for _ in range(20):
            self.look()
            time.sleep(1.0)

    def verdict(self) -> int:
        """Prints it; how many safe readings are missing."""
        missing = sorted(self.safe - self.there())
        with Store.open(self.log) as store:
            flags = sorted({flag.kind for flag in store.flags()})
            boots = [(b.utc_source, _off_s(b), b.remark) for b in store.boots()]
        for program in (self.record, self.serve):
            mb = program.memory_mb[1:] or [0.0]
            early, late, most = mb[len(mb) // 4], mb[-1], max(mb)
            found = program.tracebacks()
            print(f"{program.name}: begun {program.begun} times, {len(found)} tracebacks")
            for line in found:
                print(f"    {line}")
            print(f"    memory of its last run, seen {len(mb)} times: {early:.0f} MB after a "
                  f"quarter of it, {late:.0f} MB at the end, {most:.0f} MB at most")  # fmt: skip
        print(f"sent {self.numbers.sent}, safe {len(self.safe)}, of them missing {len(missing)}")
        print(f"missing first: {missing[:10]}")
        print(f"pages answered {self.answers[True]} times, not {self.answers[False]} times")
        print(f"flags {flags}; boots {boots}; files {sorted(p.name for p in self.disk.iterdir())}")
        return len(missing)


def _off_s(boot: Boot) -> int | None:
    """How far a boot of this machine is dated from what is right; None: it is not dated. [s]"""
    if boot.utc_offset_us is None:
        return None
    return round((boot.utc_offset_us - (time.time_ns() // 1000 - mono_us())) / 1e6)


def main() -> int:
    """0 where nothing that was safe is missing."""
    wish = argparse.ArgumentParser(description=__doc__)
    wish.add_argument("--minutes", type=float, default=10.0)
    wish.add_argument("--every", type=float, default=10.0, help="seconds between faults")
    wish.add_argument("--seed", type=int, default=int(time.time()))
    wish.add_argument("--megabytes", type=int, default=64)
    wish.add_argument("--without", nargs="*", default=[], help="faults that do not happen",
                      choices=[fault.__name__ for fault in Soak.FAULTS])  # fmt: skip
    asked = wish.parse_args()
    print(f"seed {asked.seed}", flush=True)
    with tempfile.TemporaryDirectory() as folder:
        disk = Path(folder) / "disk"
        disk.mkdir()
        mount = ["mount", "-t", "tmpfs", "-o", f"size={asked.megabytes}m", "tmpfs", str(disk)]
        if not shutil.which("mount") or subprocess.run(mount, check=False).returncode:
            print("a small disk cannot be mounted here", file=sys.stderr)
            return 2
        try:
            soak = Soak(Path(folder), disk, asked.seed, asked.without)
            try:
                soak.run(asked.minutes, asked.every)
                return 1 if soak.verdict() else 0
            finally:
                soak.record.kill()
                soak.serve.kill()
        finally:
            subprocess.run(["umount", "-l", str(disk)], check=True)


if __name__ == "__main__":
    sys.exit(main())
