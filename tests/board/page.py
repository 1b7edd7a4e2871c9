"""The page "from bare board to first trip", done to the letter."""

import json
import re
import shlex
import shutil
import subprocess
import time
from pathlib import Path

import boat
import image
import power
from bench import Bench
from feeds import Gps
from machine import BOARD_IP, BoardError, Machine, switched_on

PROJECT = Path(__file__).parents[2]
README = PROJECT / "deploy/by-hand.md"
STICK = "/media/stick/keelwatt"
# What the page wants done that an emulator has not got, and why.
NOT_HERE = {"nmcli": "no radio", "nano": "the boat file comes from the stick instead"}
INTERFACES = f"""auto lo
iface lo inet loopback
allow-hotplug eth0
iface eth0 inet static
    address {BOARD_IP}/24
"""
VCAN = f"[NetDev]\nName={boat.BUS}\nKind=vcan\n"


def commands() -> list[str]:
    """The page's own commands, in order, without the remarks behind them."""
    found = re.findall(r"(?m)^\$ (.*)$", README.read_text())
    return [re.split(r"\s{3,}", line)[0].strip() for line in found]


def taken_out(bench: Bench) -> Path:
    """The project as it is committed, in a folder of its own."""
    folder = bench.work / f"project-{bench.arch}"
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    packed = subprocess.run(
        ["git", "-C", str(PROJECT), "archive", "HEAD"], stdout=subprocess.PIPE, check=True
    )
    subprocess.run(["tar", "-x", "-C", str(folder)], input=packed.stdout, check=True)
    return folder


def fill_stick(bench: Bench, wheels_command: str, python: str) -> Path:
    """At home: the page's wheelhouse, for this processor and Python."""
    home = bench.work / f"stick-{bench.arch}"
    shutil.rmtree(home, ignore_errors=True)
    (home / "keelwatt").mkdir(parents=True)
    words = shlex.split(wheels_command)
    processor = {"amd64": "x86_64", "arm64": "aarch64"}[bench.arch]
    words[2:] = [str(home / "keelwatt"), processor, python]
    done = subprocess.run(words, cwd=taken_out(bench), capture_output=True, text=True, check=False)
    if done.returncode:
        raise BoardError(f"{' '.join(words)}: {done.stderr[-600:]}")
    shutil.copy(PROJECT / "replay/demo/demo.dbc", home)
    for path in (PROJECT / "replay/demo").glob("demo.*"):
        shutil.copy(path, home)
    (home / "boat.toml").write_text(boat.boat_file())
    (home / "demo-boat.toml").write_text((PROJECT / "replay/demo/boat.toml").read_text())
    stick = bench.work / f"stick-{bench.arch}.img"
    image.make_stick(home, stick)
    return stick


def put_stick_in(board: Machine) -> None:
    """As a board without desktop does it: by hand."""
    board.must("modprobe -a usb_storage uas vfat nls_ascii; sleep 2")
    board.must("mkdir -p /media/stick && mount -o ro,umask=022 /dev/sda /media/stick")


def scenario(bench: Bench) -> None:
    """Bare board to the first answered `range`."""
    card = bench.card("page", bench.work / f"card-{bench.arch}.img")
    todo = commands()
    at_home = list(todo[: todo.index(_first(todo, "wheelhouse.sh"))])
    with switched_on(bench.machine(card, net="home"), bench.boot_s) as board:
        for command in at_home:
            board.must(command, "skipper", typed="Y\n", timeout_s=400 * bench.slow)
        python = board.must("python3 -c 'import sys; print(\"%d.%d\" % sys.version_info[:2])'")
        # Back on the boat: its own network, and a CAN adapter (a virtual one).
        board.must(f"cat >/etc/network/interfaces <<'X'\n{INTERFACES}X")
        board.must(f"cat >/etc/systemd/network/60-vcan.netdev <<'X'\n{VCAN}X")
    bench.say("at home", f"{len(at_home)} commands of the page", True)
    wheels = _first(todo, "wheelhouse.sh")
    stick = fill_stick(bench, wheels, python.strip())
    bench.say("wheels from home", wheels, True)
    with switched_on(bench.machine(card, stick=stick), bench.boot_s) as board:
        put_stick_in(board)
        gps = bench.gps(board)
        try:
            opening = _on_board(bench, board, todo[todo.index(wheels) + 1 :], gps)
        finally:
            gps.close()
        power.tell_heard(bench, opening, gps.heard_bytes - opening)
        board.must("umount /media/stick")
    shutil.move(card, bench.installed)


def _first(todo: list[str], word: str) -> str:
    return next(command for command in todo if word in command)


def _on_board(bench: Bench, board: Machine, todo: list[str], gps: Gps) -> int:
    """Bytes that the receiver had heard when the recorder had its port."""
    start_s = time.monotonic()
    done = opening = 0
    transcript = (bench.work / f"transcript-{bench.arch}.txt").open("w")
    for command in todo:
        reason = next((why for word, why in NOT_HERE.items() if word in command), "")
        if "nano" in command:
            board.must("sh -c 'cp /media/stick/boat.toml /media/stick/demo.dbc /var/lib/keelwatt/'")
            board.must("chown keelwatt: /var/lib/keelwatt/boat.toml")
        if reason:
            continue
        if "can-bus.sh" in command and bench.arch == "arm64":
            command = command.replace("can0", boat.BUS)
        if "copy-log" in command:
            board.must("mount -o remount,rw,umask=022 /media/stick")
        transcript.write(f"$ {command}\n")
        transcript.flush()
        answer = board.run(command, "skipper", timeout_s=200 * bench.slow)
        transcript.write(f"{answer.out}{answer.err}[{answer.code}]\n\n")
        # `check` finds fault with the example boat and its quiet sources; it must answer, though.
        if answer.code and not command.startswith("keelwatt check"):
            raise BoardError(
                f"{command}: status {answer.code}: {(answer.err or answer.out)[-600:]}"
            )
        if answer.code not in (0, 1, 2) or "Traceback" in answer.err:
            raise BoardError(f"{command}: {answer.err[-600:]}")
        done += 1
        if "can-bus.sh" in command and bench.arch != "arm64":
            _check_controller(bench, board)
            board.must(command.replace("can0", boat.BUS), "skipper")
        if "name-port.sh gps" in command:
            named = board.run("sleep 1; readlink /dev/keelwatt/gps").out.strip()
            bench.say("the GPS has its name", f"/dev/keelwatt/gps -> {named}", "ttyUSB" in named)
        if "systemctl enable" in command:
            bench.wait_for_both(board)
            opening = gps.heard_bytes
            bench.say("first answered range", _first_range(bench, board, start_s), True)
    bench.say("commands of the page on board", f"{done} done as they stand", True)
    left = ", ".join(f"{word} ({why})" for word, why in NOT_HERE.items())
    bench.say("of the page not done", left)
    found = bench.look(board, "probe_motor_lug_temp_c", "other_converter_voltage_v")
    probe = found["channels"].get("probe_motor_lug_temp_c") or [0, 0, 0]
    volts = found["channels"].get("other_converter_voltage_v") or [0, 0, 0]
    right = probe[2] == 23.0 and abs(volts[2] - 52.8) < 1e-9  # 1650 * 2 mV * 16
    bench.say("imitated 1-wire probe, converter", f"{probe[2]} °C, {volts[2]:.2f} V", right)
    bench.say("log after the first hour's steps", f"{found['readings']} readings", True)
    return opening


def _check_controller(bench: Bench, board: Machine) -> None:
    """The controller on the board's own bus came up by networkd at its bit rate, listening."""
    time.sleep(3)
    said = board.run("ip -details link show can0").out
    good = "bitrate 250000" in said and "LISTEN-ONLY" in said and ",UP" in said
    bench.say("CAN controller up by networkd", "250 kbit/s, listening only", good)


def _first_range(bench: Bench, board: Machine, start_s: float) -> str:
    """Asks until there is an answer."""
    reason = ""

    def answered() -> bool:
        nonlocal reason
        got = board.run("keelwatt range --json", "skipper", timeout_s=60 * bench.slow)
        if got.code:
            reason = got.err
            return False
        distance = json.loads(got.out)["distance"]
        reason = distance["reason"]
        return distance["mid"] is not None

    try:
        bench.until("range", answered, 120 * bench.slow, 5.0)
    except BoardError as error:
        raise BoardError(f"{error}; it says: {reason}") from None
    minutes = (time.monotonic() - start_s) / 60
    said = board.run("keelwatt range", "skipper", timeout_s=60 * bench.slow).out.strip()
    return f"{minutes:.1f} min after the first step on board: {said.splitlines()[0]}"
