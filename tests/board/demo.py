"""The demo's recordings replayed on the board: the same answer on every processor."""

import json
import time

from bench import PYTHON, Bench
from machine import BoardError, switched_on
from page import put_stick_in

FOLDER = "/var/tmp/demo"
ANSWERS = ("distance", "duration", "charge")


def scenario(bench: Bench) -> None:
    """Replays, asks the range, and compares with the other processor's answer."""
    stick = bench.work / f"stick-{bench.arch}.img"
    with switched_on(bench.machine(bench.card("demo"), stick=stick), bench.boot_s) as board:
        put_stick_in(board)
        board.must(
            f"mkdir -p {FOLDER} && cp /media/stick/demo* {FOLDER}/ && chown -R keelwatt: "
            f"{FOLDER} && mv {FOLDER}/demo-boat.toml {FOLDER}/boat.toml"
        )
        where = f"--boat {FOLDER}/boat.toml --log {FOLDER}/log.sqlite"
        program = f"runuser -u keelwatt -- {PYTHON.replace('python', 'keelwatt')}"
        start_s = time.monotonic()
        board.must(
            f"{program} replay {where} {FOLDER}/demo.candump.log.zst {FOLDER}/demo.nmea.gz",
            timeout_s=300 * bench.slow,
        )
        bench.say("replay of the demo's three hours", f"{time.monotonic() - start_s:.0f} s", True)
        start_s = time.monotonic()
        said = board.must(f"{program} range --json {where}", timeout_s=60 * bench.slow)
        bench.say("range asked and answered", f"{time.monotonic() - start_s:.1f} s", True)
    _tell(bench, said)


def _tell(bench: Bench, said: str) -> None:
    answer = json.loads(said)
    kept = {"commit": bench.commit, "answer": answer}
    (bench.work / f"range-{bench.arch}.json").write_text(json.dumps(kept))
    for name in ANSWERS:
        bench.say(name, f"{_four(answer[name])} {answer[name]['unit']} (middle, low, high)")
    other = bench.work / f"range-{'arm64' if bench.arch == 'amd64' else 'amd64'}.json"
    theirs = json.loads(other.read_text()) if other.exists() else {}
    if theirs.get("commit") == bench.commit:  # another program may well answer otherwise
        same = all(_four(answer[n]) == _four(theirs["answer"][n]) for n in ANSWERS)
        bench.say("equal to 4 digits on x86-64 and 64-bit ARM", "yes" if same else "no", same)
    elif bench.arch == "arm64":
        raise BoardError("no answer of x86-64 to compare with: run the scenario `demo` there first")


def _four(estimate: dict[str, float]) -> str:
    return ", ".join(f"{estimate[end]:.4g}" for end in ("mid", "low", "high"))
