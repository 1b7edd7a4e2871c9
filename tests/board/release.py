"""A newer release, the way back, and one that does not stay up."""

import hashlib
import re
import shutil
import subprocess
import sys
from pathlib import Path

import image
import page
from bench import PYTHON, Bench
from machine import Machine, switched_on

FALLS = '\n\ndef main(boat_path: object, log_path: object) -> int:\n    raise SystemExit("falls")\n'


def _wheels(bench: Bench, version: str, falls: bool = False) -> Path:
    """The stick's wheels with another version of keelwatt among them."""
    folder = bench.work / f"stick-{version}" / "keelwatt"
    shutil.rmtree(folder.parent, ignore_errors=True)
    shutil.copytree(bench.work / f"stick-{bench.arch}" / "keelwatt", folder)
    project = page.taken_out(bench)
    described = project / "pyproject.toml"
    text = re.sub(r'(?m)^version = ".*"', f'version = "{version}"', described.read_text())
    described.write_text(text)
    if falls:
        with (project / "logger/daemon/recorder.py").open("a") as out:
            out.write(FALLS)
    for old in folder.glob("keelwatt-*.whl"):
        old.unlink()
    pip = [sys.executable, "-m", "pip", "-q", "wheel", "--no-deps", "-w", str(folder)]
    subprocess.run([*pip, str(project)], check=True)
    sums = [
        f"{hashlib.sha256(w.read_bytes()).hexdigest()}  ./{w.name}"
        for w in sorted(folder.glob("*.whl"))
    ]
    (folder / "SHA256SUMS").write_text("\n".join(sums) + "\n")
    stick = bench.work / f"stick-{version}.img"
    image.make_stick(folder.parent, stick)
    return stick


def scenario(bench: Bench) -> None:
    """Update, back, and an update that is undone by itself; the log through all of it."""
    newer, bad = _wheels(bench, "99.1"), _wheels(bench, "99.2", falls=True)
    card = bench.card("release")
    with switched_on(bench.machine(card, stick=newer), bench.boot_s) as board:
        gps = bench.gps(board)
        page.put_stick_in(board)
        bench.wait_for_both(board)
        old, before = _version(board), bench.look(board)
        _do(bench, board, f"sudo sh {page.STICK}/deploy/update.sh {page.STICK}")
        after = bench.look(board)
        bench.say("updated", f"{old} -> {_version(board)}", _version(board) == "99.1")
        _tell_data(bench, board, before, after)
        _do(bench, board, "sudo sh /opt/keelwatt/current/share/rollback.sh")
        back = bench.look(board)
        bench.say("back", f"-> {_version(board)}", _version(board) == old)
        _tell_data(bench, board, after, back)
        gps.close()
    with switched_on(bench.machine(card, stick=bad), bench.boot_s) as board:
        gps = bench.gps(board)
        page.put_stick_in(board)
        bench.wait_for_both(board)
        before = bench.look(board)
        done = board.run(
            f"sudo sh {page.STICK}/deploy/update.sh {page.STICK}",
            "skipper",
            timeout_s=300 * bench.slow,
        )
        undone = done.code == 1 and "the update was undone" in done.err
        bench.say("a release that falls is taken back", done.err.strip().split("\n")[-1], undone)
        bench.say("then in use", _version(board), _version(board) == old)
        bench.wait_for_both(board)
        # Undoing takes the log as it was before the update: what came meanwhile lies beside it.
        _tell_data(bench, board, before, bench.look(board), 5)
        gps.close()


def _do(bench: Bench, board: Machine, command: str) -> None:
    said = board.must(command, "skipper", timeout_s=300 * bench.slow)
    bench.wait_for_both(board)
    bench.say(command.split("/")[-1].split()[0], said.strip().split("\n")[-1], True)


def _version(board: Machine) -> str:
    ask = 'import importlib.metadata as m; print(m.version("keelwatt"))'
    return board.must(f"{PYTHON} -c '{ask}'").strip()


def _tell_data(
    bench: Bench,
    board: Machine,
    before: dict[str, object],
    after: dict[str, object],
    fewer: int = 0,
) -> None:
    was, now = int(str(before["readings"])), int(str(after["readings"]))
    whole = after["integrity"] == "ok" and now + fewer >= was
    bench.say("log", f"{was} readings, then {now}; integrity_check {after['integrity']}", whole)
