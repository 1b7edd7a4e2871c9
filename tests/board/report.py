"""The report: a table made of what was measured, kept from run to run in the work folder."""

import fcntl
import json
import os
import platform
import subprocess
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path

from bench import Bench, Line

WORDS = {True: "pass", False: "**FAIL**", None: ""}
TITLES = {
    "page": "From bare board to the first answered `range`, by deploy/'s page",
    "demo": "The demo's recordings replayed on the board, and the range asked",
    "cold_boot": "Cold boot",
    "wrong_clock": "Wrong clock at boot, GPS fix after 90 s",
    "plugs": "GPS pulled out and plugged in again",
    "neighbour": "A hostile neighbour on the boat's network",
    "release": "Update, going back, and a release that does not stay up",
    "card_full": "The card full",
    "bus_load": "CAN at 80 % of a 500 kbit/s bus",
    "forgets": "What the card does not flush it forgets at a power cut",
    "power_cuts": "The emulator killed while recording",
}

READY = {
    "ready_table": "The power cut between any two writes while the ready card's table grows",
    "ready_first_start": "The ready card's first start",
    "ready_recording": "The ready card records",
    "ready_first_cuts": "The power cut during the ready card's first start",
}
ON_ARM = ("page", "demo", "power_cuts")


def keep(bench: Bench) -> None:
    """Puts the run's lines into the work folder; a scenario run again replaces its lines.

    Runs may go on side by side.
    """
    with (bench.work / f"results-{bench.arch}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        _keep(bench, bench.work / f"results-{bench.arch}.json")


def commit_now() -> str:
    """What is checked out."""
    command = ["git", "-C", str(Path(__file__).parent), "rev-parse", "--short", "HEAD"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    return done.stdout.strip()


def _keep(bench: Bench, path: Path) -> None:
    known = json.loads(path.read_text()) if path.exists() else {}
    kernel = bench.kernel.name.removeprefix("vmlinuz-") if bench.kernel else "the card's own"
    for scenario in dict.fromkeys(line.scenario for line in bench.lines):
        lines = [asdict(line) for line in bench.lines if line.scenario == scenario]
        known[scenario] = {
            "lines": lines,
            "accel": bench.accel,
            "kernel": kernel,
            "day": datetime.now(UTC).strftime("%Y-%m-%d"),
            "commit": bench.commit,
        }
    path.write_text(json.dumps(known, indent=1))


def write(work: Path, to: Path) -> None:
    """The report of all that was run in a work folder."""
    parts = [f"# The whole board, {datetime.now(UTC):%Y-%m-%d}", ""]
    parts += [
        "Made by `sh tests/board/run.sh --report FILE` from what it measured. A real Debian with "
        "Debian's own kernel in an emulator: 1 GB of memory, 2 cores, a card that forgets at a "
        "power cut a random half of what it was not told to flush.",
        "",
        f"Machine: {platform.machine()}, {os.cpu_count()} cores, shared with other work.",
        "",
    ]
    for arch, name in (("amd64", "x86-64"), ("arm64", "64-bit ARM")):
        path = work / f"results-{arch}.json"
        known = json.loads(path.read_text()) if path.exists() else {}
        wanted = set(ON_ARM if arch == "arm64" else TITLES)
        parts += _table(name, known, wanted)
    to.write_text("\n".join(parts))


def _table(name: str, known: dict[str, dict[str, object]], wanted: set[str]) -> list[str]:
    accels = {str(k["accel"]) for k in known.values()}
    kernels = sorted({f", {k['kernel']}" for k in known.values()})
    parts = [f"## {name}{''.join(kernels)}", ""]
    if "tcg" in accels:
        parts += [
            "The processor is emulated in software: seconds are many times those of a real board, "
            "more where other work took this machine's processors, and limits meant for a real "
            "processor count where they are kept and are not judged where they are not.",
            "",
        ]
    parts += ["| scenario | what | measured | |", "|---|---|---|---|"]
    for scenario in TITLES:
        if scenario not in known:
            if scenario in wanted:
                parts.append(f"| {TITLES[scenario]} | not run to its end yet | | |")
            continue
        entry = known[scenario]
        title = f"{TITLES[scenario]} ({entry['day']}, {entry['commit']})"
        for raw in entry["lines"]:  # type: ignore[attr-defined]
            line = Line(**raw)
            figure = line.figure.replace("|", "/").replace("\n", " ")
            parts.append(f"| {title} | {line.what} | {figure} | {WORDS[line.ok]} |")
            title = ""
    return [*parts, ""]
