"""The package on a system that runs: systemd-nspawn boots the folder, nothing reaches a network."""

import json
import os
import signal
import subprocess
import time
from collections.abc import Callable
from pathlib import Path

from system import System

BOOT_S = 60.0
INSIDE = Path(__file__).parent / "inside_booted.py"
PATH = "PATH=/usr/sbin:/usr/bin:/sbin:/bin"
Say = Callable[[str, bool, object], None]


class Booted:
    """A system from its start to its end."""

    def __init__(self, bare: System) -> None:
        self._boot = subprocess.Popen(
            ["systemd-nspawn", "--quiet", "--private-network", "--register=no", "--keep-unit",
             "--boot", "-D", str(bare.root)],
            stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        end_s = time.monotonic() + BOOT_S
        while time.monotonic() < end_s and self.run("systemctl", "is-system-running", "--wait"):
            time.sleep(1)

    def run(self, *words: str) -> int:
        """A command's exit status."""
        return self.ask(*words).returncode

    def ask(self, *words: str) -> subprocess.CompletedProcess[str]:
        """Runs a command inside."""
        children = Path(f"/proc/{self._boot.pid}/task/{self._boot.pid}/children")
        (first, *_) = children.read_text().split() or ["0"]
        inside = ["nsenter", "-t", first, "-m", "-u", "-i", "-n", "-p", "-r", "-w"]
        return subprocess.run(
            [*inside, "/usr/bin/env", PATH, "DEBIAN_FRONTEND=noninteractive", *words],
            capture_output=True, text=True, check=False,
        )  # fmt: skip

    def cut(self) -> None:
        """The power goes: nothing is told, nothing is waited for."""
        children = Path(f"/proc/{self._boot.pid}/task/{self._boot.pid}/children")
        for child in children.read_text().split():
            os.kill(int(child), signal.SIGKILL)
        self._boot.wait(30)

    def ended(self, within_s: float) -> bool:
        """Whether it has ended by itself."""
        try:
            self._boot.wait(within_s)
        except subprocess.TimeoutExpired:
            self._boot.terminate()
            self._boot.wait(30)
            return False
        return True


def live(bare: System, package: Path, say: Say) -> None:
    """Installs, asks for acts as the pages and as a stranger would, and shuts down."""
    for file in (package, INSIDE):
        (bare.root / "srv" / file.name).write_bytes(file.read_bytes())
    booted = Booted(bare)
    done = booted.ask("apt-get", "install", "-y", "-q", "--no-install-recommends",
                      f"/srv/{package.name}")  # fmt: skip
    say("running: installs", done.returncode == 0, done.stderr[-200:])
    told = booted.ask("python3", f"/srv/{INSIDE.name}")
    for what, fine, more in json.loads(told.stdout or "[]"):
        say(f"running: {what}", fine, more)
    say("running: was asked through", told.returncode == 0, told.stderr[-200:])
    bus = bare.root / "etc/systemd/network/70-keelwatt-can0.network"
    say("running: the bus listens only", bus.exists() and "ListenOnly=yes" in bus.read_text(), "")
    say("running: shuts down from the page", booted.ended(30), "")
