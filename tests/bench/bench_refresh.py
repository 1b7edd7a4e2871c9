"""Where looking through a log spends its time: by hand, `python tests/bench/bench_refresh.py`.

    python tests/bench/bench_refresh.py [FOLDER]

The demo's log and two invented boats' (recorded into FOLDER once, else into a temporary one),
looked through as by a first question: processor time as times real time a core, and each stage's
share of it. Then the commands, each as its own process on the demo's log, and processor time of a
command that imports nothing as the yardstick; at last a log of a quarter of an hour a month over
two years, in one boot. Time is the processor's, so that other programs
matter little; what is measured apart runs some per cent slower.
"""

import functools
import os
import resource
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
os.environ["OPENBLAS_NUM_THREADS"] = "1"  # time of one core

from analyzer.answers import Log, refresh
from analyzer.cells.monitor import CellMonitor
from analyzer.flags import monitor
from analyzer.flags.detectors import ColdCharge, Fault, Quiet
from analyzer.flags.flag import FlagBook
from analyzer.flags.limit import Limits
from analyzer.flags.reserve import Reserve
from analyzer.flags.turn_back import Turning
from analyzer.learned import cable_history, sag_history
from analyzer.series import log as series_log
from analyzer.thermal.cables import CableGroup
from analyzer.thermal.drive import DriveHeat
from tests import snapshot_logs
from tests.answers_snapshot import ask
from tests.support.odd_logs import odd_log

ROOT = Path(__file__).resolve().parents[2]
BOATS = {"boat_03": 103, "boat_07": 107}  # two outings without revolutions; one, all measured
COMMANDS = ("trips", "range", "cells", "cables", "review", "hindcast")
STAGES: dict[str, list[tuple[object, str]]] = {
    "readings loaded": [(monitor, "load"), (series_log, "load"), (cable_history, "load")],
    "trips, charge, points": [(refresh, "_keep")],
    "sag at trips' ends": [(sag_history, "gather")],
    "the newest moment": [(refresh, "keep_here")],
    "watch: limits": [
        (kind, name)
        for kind in (Limits, ColdCharge, Fault, Quiet)
        for name in ("update", "detections")
    ],
    "watch: motor and controller": [(DriveHeat, "update")],
    "watch: charge and reserve": [(Reserve, "update")],
    "watch: way home": [(Turning, "update")],
    "cells, in the watch and at trips' ends": [(CellMonitor, "update")],
    "watch: cells' findings": [(CellMonitor, "detections")],
    "watch: cables": [(CableGroup, "update")],
    "cables, trip by trip": [(CableGroup, "warm")],
    "watch: cables' findings": [(CableGroup, "detections")],
    "watch: flags": [(FlagBook, "see")],
}


class Stopwatch:
    """Processor time of stages; a stage within another counts for itself alone."""

    def __init__(self) -> None:
        self.spent_s: dict[str, float] = defaultdict(float)
        self._within: list[float] = []

    def watch(self, stage: str, owner: object, name: str) -> None:
        """Measures a function wherever it is called by its owner's name for it."""
        function: Callable[..., object] = getattr(owner, name)

        @functools.wraps(function)
        def measured(*given: object, **named: object) -> object:
            self._within.append(0.0)
            begun_s = time.process_time()
            try:
                return function(*given, **named)
            finally:
                all_s = time.process_time() - begun_s
                self.spent_s[stage] += all_s - self._within.pop()
                if self._within:
                    self._within[-1] += all_s

        setattr(owner, name, measured)


def recorded(folder: Path) -> dict[str, tuple[Path, Path]]:
    """Logs that nothing was looked for in, and their boat files."""
    found = {}
    demo = folder / "demo.sqlite"
    if not demo.is_file():
        snapshot_logs.play_demo(ask, ROOT, demo)
        # closed at once, so that the file alone holds it when it is copied
        with closing(sqlite3.connect(demo)) as db, db:
            for table in ("learned", "flag", "trip"):
                db.execute(f"DELETE FROM {table}")
    found["demo"] = demo, ROOT / "replay" / "demo" / "boat.toml"
    for name, seed in BOATS.items():
        log = folder / f"{name}.sqlite"
        if not log.is_file():
            snapshot_logs.make_boat(ask, seed, log)
        found[name] = log, snapshot_logs.facts(log).boat
    return found


def look_through(log: Path, boat: Path) -> tuple[float, float, int]:
    """Processor time of a first look, hours that were recorded, and how many channels."""
    with Log(log, boat, write=True) as held:
        times_us, _ = held.store.read("pack_voltage_v", -(2**62), 2**62)
        hours = len({t // 10_000_000 for t in times_us.tolist()}) / 360
        begun_s = time.process_time()
        held.refresh()
        return time.process_time() - begun_s, hours, len(held.channels())


def long_silences(log: Path) -> None:
    """Processor time of a first look through two years of which almost nothing was recorded."""
    begun_s = time.process_time()
    odd_log(log, "24 months")
    taken_s = time.process_time() - begun_s
    print(f"24 months, 6 h of them recorded: {taken_s:.1f} s with their recording")


def commands(log: Path, boat: Path) -> None:
    """Processor time of each command as its own process, its modules compiled before."""
    program = "import sys; from analyzer.faces.cli.main import main; sys.exit(main())"
    asked = {"nothing": ["--version"]}
    asked |= {name: [name, "--log", str(log), "--boat", str(boat)] for name in COMMANDS}
    yardstick_s = 0.0
    for name, words in asked.items():
        taken = min(_taken_s([sys.executable, "-c", program, *words]) for _ in range(3))
        yardstick_s = yardstick_s or taken
        print(f"  {name:12} {taken:5.2f} s, {taken / yardstick_s:4.1f} times that of nothing")


def _taken_s(words: list[str]) -> float:
    def spent_s() -> float:
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        return used.ru_utime + used.ru_stime

    before_s = spent_s()
    compiled = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    subprocess.run(words, cwd=ROOT, check=True, stdout=subprocess.DEVNULL, env=compiled)
    return spent_s() - before_s


def main() -> None:
    """Prints times, ratios and shares."""
    with tempfile.TemporaryDirectory() as passing:
        work = Path(passing)
        folder = Path(sys.argv[1]) if len(sys.argv) > 1 else work / "recorded"
        folder.mkdir(parents=True, exist_ok=True)
        logs = recorded(folder)
        watch = Stopwatch()
        for stage, places in STAGES.items():
            for owner, name in places:
                watch.watch(stage, owner, name)
        for name, (log, boat) in logs.items():
            copy = work / "log.sqlite"
            shutil.copy(log, copy)
            watch.spent_s.clear()
            taken_s, hours, channels = look_through(copy, boat)
            pace = 3600 * hours / taken_s
            print(f"{name}: {hours:.1f} h, {channels} channels: {pace:.0f} times real time a core")
            for stage, spent_s in sorted(watch.spent_s.items(), key=lambda one: -one[1]):
                print(f"  {stage:38} {spent_s / taken_s:5.1%}")
            rest_s = taken_s - sum(watch.spent_s.values())
            print(f"  {'the rest':38} {rest_s / taken_s:5.1%}")
            if name == "demo":
                commands(copy, boat)
        long_silences(work / "long.sqlite")
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(f"most memory: {peak:.0f} MB")


if __name__ == "__main__":
    main()
