"""Releases from the phone on a system that runs: taken, refused, taken back, cut off by power."""

import json
import time
from collections.abc import Callable
from pathlib import Path

from booted import Booted
from system import System
from variants import release

INSIDE = Path(__file__).parent / "inside_release.py"
SERVE = "analyzer/faces/cli/serve.py"
# Its pages fall after some seconds, again and again.
FALLING = """

def serve(log: object, options: object) -> int:
    import time

    time.sleep(8)
    raise SystemExit("falls")
"""
FALLS = {SERVE: (Path(__file__).parents[2] / SERVE).read_text() + FALLING}
Say = Callable[[str, bool, object], None]


def live(bare: System, package: Path, say: Say) -> None:
    """One system through four changes and a power cut in a trial."""
    for file in (package, INSIDE):
        (bare.root / "srv" / file.name).write_bytes(file.read_bytes())
    machine = Booted(bare)
    machine.ask("apt-get", "install", "-y", "-q", "--no-install-recommends", f"/srv/{package.name}")
    first = bare.release
    start_s = time.monotonic()
    heard = _send(machine, bare, release(package, "9.1", {"replay/newer.txt": "newer"}))
    second = bare.release
    say("a release from the phone is taken", "is in use" in heard[-1] and second != first,
        f"{time.monotonic() - start_s:.0f} s; {' | '.join(heard)}")  # fmt: skip
    heard = _send(machine, bare, release(package, "9.0", {"replay/newer.txt": "older"}))
    say("an older one is refused", "older" in heard[-1] and bare.release == second, heard)
    bad = release(package, "9.2", FALLS)
    heard = _send(machine, bare, bad)
    say("one that falls is taken back", "was undone" in heard[-1] and bare.release == second, heard)
    _cut_in_trial(machine, bare, bad, second, say)


def _cut_in_trial(machine: Booted, bare: System, bad: Path, good: str, say: Say) -> None:
    """The power goes while a release that falls is tried; the next start takes it back."""
    _send(machine, bare, bad, "--leave")
    changing = bare.root / "opt/keelwatt/changing"
    for _ in range(900):
        if changing.exists() and bare.release != good:
            break
        time.sleep(1)
    machine.cut()
    say("the power goes in the trial", bare.release != good, bare.release)
    machine = Booted(bare)
    for _ in range(300):
        if not changing.exists():
            break
        time.sleep(1)
    say("the next start takes it back", bare.release == good and not changing.exists(), "")
    heard = json.loads(machine.ask("python3", f"/srv/{INSIDE.name}", "back").stdout or '[""]')
    say(
        "and back by the button",
        heard[-1].startswith("Back to release") and bare.release != good,
        heard,
    )
    machine.run("systemctl", "poweroff")
    machine.ended(60)


def _send(machine: Booted, bare: System, file: Path, *more: str) -> list[str]:
    (bare.root / "srv" / file.name).write_bytes(file.read_bytes())
    done = machine.ask("python3", f"/srv/{INSIDE.name}", "send", f"/srv/{file.name}", *more)
    return [str(one) for one in json.loads(done.stdout or "[]")] or [done.stderr[-300:]]
