"""Does one of a closed list of acts that want root, asked by the pages through a socket.

systemd starts it for each connection (keelwatt-errand.socket), which only the group `keelwatt` may
open; a phone reaches it through the pages alone, and only one that was paired to change settings.
One line of JSON comes in, {"act": "name-plug", "name": "gps", "number": "A5069RR4"}; one goes out,
{"ok": true, "said": "..."}. Whoever asks chooses among these acts and gives words of a checked
form: never a command, a path or an option. Each asking stands in the journal, passwords left out.

Runs on the system's own Python, without anything of the release's.
"""

import json
import os
import re
import select
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from pathlib import Path

import bitrate

HERE = Path(__file__).resolve().parent
ROOT = Path(os.environ.get("KEELWATT_ROOT") or "/")
MOST_BYTES, PATIENCE_S = 1024, 5.0  # of the asking; assumed
MOST_SAID = 500  # letters of an act's last line, so that the answer stays one; assumed
# The answer goes out first: what follows takes the Wi-Fi, or this process, away.
LATER = ("systemd-run", "--quiet", "--collect", "--on-active=5s")
WORK_S = 60.0  # that an act may take; assumed
PLUG = re.compile(r"[a-z][a-z0-9_]{0,12}")  # as name-port.sh wants it
NUMBER = re.compile(r"[A-Za-z0-9_.:-]{1,64}")
BUS = re.compile(r"[a-z][a-z0-9_]{0,14}")  # as can-bus.sh wants it
STICK = re.compile(r"[a-z]{2,8}[0-9]{0,3}")
ZONE = re.compile(r"[A-Za-z][A-Za-z0-9_+-]*(/[A-Za-z0-9_+-]+){0,2}")
# A Wi-Fi's name has 1 to 32 bytes (IEEE 802.11), its WPA2 password 8 to 63 characters; 12 at least
# is common practice, no source. Characters that mean something in the manager's file are left out.
WIFI = re.compile(r"(?=\S)[ -:<-\[\]-~]{1,32}(?<=\S)")
PASSWORD = re.compile(r"(?=\S)[ -:<-\[\]-~]{12,63}(?<=\S)")
NETWORK = """[connection]
id=keelwatt
type=wifi
autoconnect=true

[wifi]
mode=ap
band=bg
ssid={name}

[wifi-security]
key-mgmt=wpa-psk
pmf=2
psk={password}

[ipv4]
method=shared

[ipv6]
method=ignore
"""

Asked = Mapping[str, str]


class RefusedError(ValueError):
    """What was asked cannot be done; its text is for people."""


def word(asked: Asked, key: str, form: re.Pattern[str], wanted: str) -> str:
    """One word of the asking. Raises RefusedError where it is not of its form."""
    value = asked.get(key, "")
    if not form.fullmatch(value):
        raise RefusedError(wanted)
    return value


def run(*command: str) -> str:
    """Runs a command of ours; its last line. Raises RefusedError with that where it fails."""
    try:
        done = subprocess.run(
            command, capture_output=True, text=True, timeout=WORK_S, stdin=subprocess.DEVNULL
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        raise RefusedError(
            f"{Path(command[0]).name} could not be run: {type(error).__name__}"
        ) from None
    told = done.stdout + done.stderr if done.returncode else done.stdout
    lines = told.strip().splitlines() or [""]
    said = lines[-1].removeprefix("keelwatt: ")[:MOST_SAID]
    if done.returncode:
        raise RefusedError(said or f"{Path(command[0]).name} failed")
    return said


def name_plug(asked: Asked) -> str:
    """Gives a plug a name that stays, by its serial number."""
    name = word(
        asked, "name", PLUG, "a name wants a small letter, then at most 12 more, digits or _"
    )
    number = word(asked, "number", NUMBER, "a serial number wants letters, digits and . _ : -")
    return run("sh", str(HERE / "name-port.sh"), name, number)


def set_bus(asked: Asked) -> str:
    """Brings a CAN bus up at a bit rate, listening only, now and at every start."""
    bus = word(asked, "bus", BUS, "a bus wants a name such as can0")
    rate = word(asked, "rate", re.compile("|".join(map(str, bitrate.USUAL))), "no usual bit rate")
    return run("sh", str(HERE / "can-bus.sh"), bus, rate)


def find_rate(asked: Asked) -> str:
    """Listens to a CAN bus at each usual bit rate, and sets the one at which it is understood."""
    bus = word(asked, "bus", BUS, "a bus wants a name such as can0")
    if not bitrate.is_can(ROOT, bus):
        raise RefusedError(f"there is no CAN bus {bus} on this computer")
    rate = bitrate.find(bus, run)
    if rate is None:
        raise RefusedError(
            f"nothing was understood on {bus} at any usual bit rate: is its sender on?"
        )
    return set_bus({"bus": bus, "rate": str(rate)})


def set_zone(asked: Asked) -> str:
    """Sets the time zone that the pages' clock shows."""
    zone = word(asked, "zone", ZONE, "a time zone wants a name such as Europe/Lisbon")
    if not (ROOT / "usr/share/zoneinfo" / zone).is_file():
        raise RefusedError(f"there is no time zone {zone}")
    run("timedatectl", "set-timezone", zone)
    return f"the time zone is {zone}"


def set_wifi(asked: Asked) -> str:
    """Opens the boat's own Wi-Fi under a name, some seconds after the answer went out."""
    name = word(asked, "name", WIFI, "a Wi-Fi's name wants 1 to 32 plain letters, without ; and \\")
    password = word(
        asked, "password", PASSWORD, "a password wants 12 to 63 plain letters, without ; and \\"
    )
    folder = ROOT / "etc/NetworkManager/system-connections"
    if not folder.is_dir():
        raise RefusedError("this computer's Wi-Fi is not kept by NetworkManager")
    # The manager reads only files of root that nobody else may read.
    part = folder / ".keelwatt.part"
    part.unlink(missing_ok=True)
    with open(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
        file.write(NETWORK.format(name=name, password=password))
    part.replace(folder / "keelwatt.nmconnection")
    run("nmcli", "connection", "reload")
    run(*LATER, "nmcli", "connection", "up", "keelwatt")
    return f"the Wi-Fi is {name} in some seconds: join it with the new password"


def _with_stick(act: str, asked: Asked) -> None:
    """Starts what is done with a plugged-in stick; it tells its own end."""
    device = word(asked, "device", STICK, "a stick wants a name such as sda1")
    where = (ROOT / "sys/class/block" / device).resolve()
    if not any(part.startswith("usb") for part in where.parts):
        raise RefusedError(f"there is no stick {device} on this computer")
    run("systemctl", "start", "--no-block", f"keelwatt-stick@{act}-{device}.service")


def restore_stick(asked: Asked) -> str:
    """Brings the log back from a stick, to a computer that has no readings yet."""
    _with_stick("restore", asked)
    return "the log is being read from the stick: leave it in until it is said to be back"


def mark_stick(asked: Asked) -> str:
    """Makes a plugged-in stick one that gets copies of the log, and makes the first."""
    _with_stick("mark", asked)
    return "the stick is marked and gets its first copy: leave it in until it is said to be there"


def fetch_release(asked: Asked) -> str:
    """Takes the newest release that lies on a stick; whether it is one is looked at afterwards."""
    _with_stick("release", asked)
    return "the release is being copied from the stick: leave it in until it is said to be there"


def take_release(asked: Asked) -> str:
    """Takes the release that the pages have laid in the data folder, if it is one."""
    run("systemctl", "start", "--no-block", "keelwatt-update@file.service")
    return "the release is being looked at"


def go_back(asked: Asked) -> str:
    """Goes back to the release before the one in use."""
    run("systemctl", "start", "--no-block", "keelwatt-update@back.service")
    return "going back to the release before"


def restart_recorder(asked: Asked) -> str:
    """Stops the recorder and starts it again."""
    run("systemctl", "restart", "--no-block", "keelwatt-record.service")
    return "the recorder starts again"


def shut_down(asked: Asked) -> str:
    """Ends everything in good order."""
    run(*LATER, "systemctl", "poweroff")
    return "this computer ends its work; its power may go in half a minute"


ACTS: dict[str, tuple[Callable[[Asked], str], frozenset[str]]] = {
    "name-plug": (name_plug, frozenset({"name", "number"})),
    "set-bus": (set_bus, frozenset({"bus", "rate"})),
    "find-rate": (find_rate, frozenset({"bus"})),
    "set-zone": (set_zone, frozenset({"zone"})),
    "set-wifi": (set_wifi, frozenset({"name", "password"})),
    "mark-stick": (mark_stick, frozenset({"device"})),
    "restore-stick": (restore_stick, frozenset({"device"})),
    "fetch-release": (fetch_release, frozenset({"device"})),
    "take-release": (take_release, frozenset()),
    "go-back": (go_back, frozenset()),
    "restart-recorder": (restart_recorder, frozenset()),
    "shut-down": (shut_down, frozenset()),
}


def read(stream: int) -> str:
    """One line, at most so long, within so many seconds. Raises RefusedError."""
    end_s, got = time.monotonic() + PATIENCE_S, b""
    while b"\n" not in got:
        left_s = end_s - time.monotonic()
        if left_s <= 0 or not select.select([stream], [], [], left_s)[0]:
            raise RefusedError("nothing was asked in time")
        piece = os.read(stream, MOST_BYTES + 1 - len(got))
        got += piece
        if not piece or len(got) > MOST_BYTES:
            raise RefusedError("an asking wants one line of at most 1024 bytes")
    return got.partition(b"\n")[0].decode("utf-8", "replace")


def understood(line: str) -> dict[str, str]:
    """The asking: a known act, its words and no others. Raises RefusedError."""
    try:
        asked = json.loads(line)
    except (ValueError, RecursionError):
        raise RefusedError("an asking wants JSON") from None
    if not isinstance(asked, dict) or not all(isinstance(v, str) for v in asked.values()):
        raise RefusedError("an asking wants words by name")
    if asked.get("act") not in ACTS:
        raise RefusedError("no such act")
    wanted = ACTS[asked["act"]][1]
    if asked.keys() - {"act"} != wanted:
        raise RefusedError(f"{asked['act']} wants {', '.join(sorted(wanted)) or 'nothing'}")
    return asked


def answer(line: str) -> tuple[bool, str]:
    """Does what was asked: whether it was done, and a sentence."""
    try:
        asked = understood(line)
        told = {key: "***" if key == "password" else value for key, value in asked.items()}
        log(f"asked: {json.dumps(told)}")
        return True, ACTS[asked["act"]][0](asked)
    except RefusedError as error:
        return False, str(error)


def log(text: str) -> None:
    """A line in the journal."""
    print(text, file=sys.stderr, flush=True)


def main() -> None:
    """One connection: standard input and output are the socket."""
    try:
        done, said = answer(read(0))
    except RefusedError as error:
        done, said = False, str(error)
    log(f"{'done' if done else 'refused'}: {said}")
    os.write(1, json.dumps({"ok": done, "said": said}).encode() + b"\n")


if __name__ == "__main__":
    main()
