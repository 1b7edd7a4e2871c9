"""Every answer of the command line on fixed logs, kept as JSON, and two such sets compared.

    python tests/answers_snapshot.py take FOLDER [--only boat_03,demo]
    python tests/answers_snapshot.py compare OLD NEW [--rel 1e-9] [--texts]

For code that is moved and renamed without changing what it answers. Only the command line is used,
so that it works whatever modules lie behind it; `replay/` makes the invented boats.

`take` keeps in FOLDER/logs what was recorded (made once; copy that folder to ask other code the
same) and in FOLDER/LOG/QUESTION.json what was answered, floats in full. Every question is asked of
a working copy, in the same order. The demo's frames cannot be read without its boat file, and then
replaying also looks through them: it is played anew each time. The wall clock stands still, half a
minute after the log's newest reading. The open data are used where they are (KEELWATT_DATA, else
../shared/data), and only their log names are told where they are not.

`compare` lists numbers that differ (in texts too) and answers that are in one set alone, and fails
if there are any. Wording may change: texts whose words alone differ are counted, and listed with
--texts.
"""

import argparse
import contextlib
import importlib
import io
import json
import os
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any
from unittest import mock

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))
os.environ["OPENBLAS_NUM_THREADS"] = "1"  # sums in one order

from tests import snapshot_logs as logs  # noqa: E402 - after the path is set
from tests.snapshot_compare import compare  # noqa: E402

ENTRIES = ("analyzer.faces.cli.main", "analyzer.faces.cli.main.main")
QUESTIONS = {  # in this order: the first looks through what is new; charging is told by cells
    "trips": ["trips"],
    "flags": ["flags"],
    "range": ["range"],
    "range_speed_4": ["range", "--speed", "4"],
    "range_home": ["range", "--home"],
    "range_stream": ["range", "--stream", "1@070", "--wind", "12@240"],
    "plan": ["plan", "ROUTE"],
    "plan_speed_3": ["plan", "ROUTE", "--speed", "3", "--charge", "80"],
    "cells": ["cells"],
    "cables": ["cables"],
    "review": ["review"],
    "hull": ["hull"],
    "hindcast": ["hindcast", "--each", "5"],
    "check": ["check"],
}


def entry() -> Callable[[Sequence[str]], int]:
    """The command line's `main`, in the old layout or the new."""
    for name in ENTRIES:
        try:
            found = getattr(importlib.import_module(name), "main", None)
        except ModuleNotFoundError as error:
            if error.name is None or not name.startswith(error.name):
                raise
            continue
        if callable(found):
            return found
    raise SystemExit(f"none of {', '.join(ENTRIES)} has a main()")


def ask(arguments: Sequence[str]) -> Any:
    """What the command answered: its JSON, or its exit status and its words."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            status = entry()(arguments)
        except SystemExit as end:
            status = end.code
    if status == 0 and "--json" in arguments:
        return json.loads(out.getvalue())
    return {"exit": status, "said": (out.getvalue() + err.getvalue()).strip()}


@contextlib.contextmanager
def clock_at(now_s: float) -> Iterator[None]:
    """The calendar's clock stands still; the monotonic one goes on."""
    with (
        mock.patch("time.time", return_value=now_s),
        mock.patch("time.time_ns", return_value=round(now_s * 1e9)),
    ):
        yield


def take(folder: Path, only: set[str]) -> None:
    """Records what is not there yet, and asks everything of everything."""
    for name, make in logs.recipes(ask, ROOT).items():
        if only and name not in only:
            continue
        log = folder / "logs" / f"{name}.sqlite"
        begun_s = time.monotonic()
        if not logs.facts(log).now.is_file():
            log.parent.mkdir(parents=True, exist_ok=True)
            make(log)
        made_s = time.monotonic()
        ask_all(log, folder / name)
        asked_s = time.monotonic()
        print(f"{name}: recorded {made_s - begun_s:.1f} s, asked {asked_s - made_s:.1f} s")


def ask_all(log: Path, answers: Path) -> None:
    """Puts every question to a copy of a log and keeps the answers."""
    beside = logs.facts(log)
    answers.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as work, clock_at(json.loads(beside.now.read_text("utf-8"))):
        copy = Path(work) / "log.sqlite"
        if log.is_file():
            shutil.copy(log, copy)
        else:
            logs.play_demo(ask, ROOT, copy)
        places = ["--json", "--log", str(copy), "--boat", str(beside.boat)]
        for question, words in QUESTIONS.items():
            words = [str(beside.route) if word == "ROUTE" else word for word in words]
            answer = json.dumps(ask([*words, *places]), indent=1, ensure_ascii=False)
            for path, stands_for in ((work, "WORK"), (str(log.parent), "LOGS")):
                answer = answer.replace(path, stands_for)
            (answers / f"{question}.json").write_text(answer, encoding="utf-8")


def main() -> int:
    """Reads the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    commands = parser.add_subparsers(dest="command", required=True)
    taking = commands.add_parser("take")
    taking.add_argument("folder", type=Path)
    taking.add_argument("--only", default="", help="names of logs, with commas between")
    comparing = commands.add_parser("compare")
    comparing.add_argument("old", type=Path)
    comparing.add_argument("new", type=Path)
    comparing.add_argument("--rel", type=float, default=1e-9)
    comparing.add_argument("--texts", action="store_true", help="list texts that differ, too")
    told = parser.parse_args()
    if told.command == "compare":
        return compare(told.old, told.new, told.rel, told.texts)
    take(told.folder.resolve(), {name for name in told.only.split(",") if name})
    return 0


if __name__ == "__main__":
    sys.exit(main())
