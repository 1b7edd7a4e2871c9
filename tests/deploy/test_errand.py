"""Acts that want root: a closed list, words of a checked form, and nothing else gets through.

Written as an attacker who has taken over the pages' process would try it.
"""

import importlib.util
import json
import os
import socket
import subprocess
import sys
import time
from pathlib import Path
from types import ModuleType

import pytest

TOOLS = ("systemctl", "timedatectl", "nmcli", "systemd-run", "udevadm", "networkctl", "ip", "sh")


@pytest.fixture
def root(tmp_path: Path) -> Path:
    """A make-believe board: tools that write down what they were asked."""
    (tmp_path / "bin").mkdir()
    for name in TOOLS[:-1]:
        tool = tmp_path / "bin" / name
        tool.write_text(f'#!/bin/sh\nprintf "%s" "{name}" >>"$CALLS"\nfor w; do printf " [%s]" "$w"'
                        ' >>"$CALLS"; done\necho >>"$CALLS"\n')  # fmt: skip
        tool.chmod(0o755)
    (tmp_path / "usr/share/zoneinfo/Europe").mkdir(parents=True)
    (tmp_path / "usr/share/zoneinfo/Europe/Lisbon").write_text("TZif")
    (tmp_path / "etc/NetworkManager/system-connections").mkdir(parents=True)
    bus = tmp_path / "sys/class/net/can0"
    bus.mkdir(parents=True)
    (bus / "type").write_text("280\n")
    (tmp_path / "sys/class/block").mkdir(parents=True)
    for name, place in (("sda1", "usb1/1-1/sda/sda1"), ("mmcblk0p2", "mmc/mmcblk0/mmcblk0p2")):
        (tmp_path / "sys/devices" / place).mkdir(parents=True)
        (tmp_path / "sys/class/block" / name).symlink_to(tmp_path / "sys/devices" / place)
    return tmp_path


def ask(root: Path, repository: Path, line: bytes | dict[str, object]) -> tuple[dict, str]:
    """What one connection is told, and what stands in the journal."""
    ours, theirs = socket.socketpair()
    env = {"PATH": f"{root}/bin:/usr/bin:/bin", "KEELWATT_ROOT": str(root),
           "CALLS": str(root / "calls")}  # fmt: skip
    with ours, theirs:
        ours.sendall(line if isinstance(line, bytes) else json.dumps(line).encode() + b"\n")
        ours.shutdown(socket.SHUT_WR)
        done = subprocess.run(
            [sys.executable, "-E", "-s", str(repository / "deploy/errand.py")],
            stdin=theirs, stdout=theirs, stderr=subprocess.PIPE, env=env, timeout=60, check=True,
        )  # fmt: skip
        return json.loads(ours.recv(4096)), done.stderr.decode()


def calls(root: Path) -> list[str]:
    path = root / "calls"
    return path.read_text().splitlines() if path.exists() else []


@pytest.mark.parametrize(
    ("asked", "called"),
    [
        (
            {"act": "shut-down"},
            "systemd-run [--quiet] [--collect] [--on-active=5s] [systemctl] [poweroff]",
        ),
        (
            {"act": "restart-recorder"},
            "systemctl [restart] [--no-block] [keelwatt-record.service]",
        ),
        (
            {"act": "set-zone", "zone": "Europe/Lisbon"},
            "timedatectl [set-timezone] [Europe/Lisbon]",
        ),
        (
            {"act": "mark-stick", "device": "sda1"},
            "systemctl [start] [--no-block] [keelwatt-stick@mark-sda1.service]",
        ),
        (
            {"act": "restore-stick", "device": "sda1"},
            "systemctl [start] [--no-block] [keelwatt-stick@restore-sda1.service]",
        ),
        (
            {"act": "fetch-release", "device": "sda1"},
            "systemctl [start] [--no-block] [keelwatt-stick@release-sda1.service]",
        ),
        (
            {"act": "take-release"},
            "systemctl [start] [--no-block] [keelwatt-update@file.service]",
        ),
        ({"act": "go-back"}, "systemctl [start] [--no-block] [keelwatt-update@back.service]"),
        ({"act": "name-plug", "name": "gps", "number": "A5069RR4"}, "udevadm [control] [--reload]"),
        ({"act": "set-bus", "bus": "can0", "rate": "250000"}, "networkctl [reload]"),
    ],
)
def test_each_act_does_what_it_says_and_stands_in_the_journal(root, repository, asked, called):
    told, journal = ask(root, repository, asked)
    assert told["ok"], told
    assert called in calls(root)
    assert f"asked: {json.dumps(asked)}" in journal


def test_what_is_said_is_what_the_act_said_not_a_tool_s_chatter(root, repository):
    (root / "bin/systemctl").write_text('#!/bin/sh\necho "Created symlink" >&2\n')
    told, _ = ask(root, repository, {"act": "set-bus", "bus": "can0", "rate": "250000"})
    assert told == {"ok": True, "said": "can0 comes up at 250000 bit/s, listening only"}


def test_a_plug_gets_its_name_and_a_bus_listens_only(root, repository):
    ask(root, repository, {"act": "name-plug", "name": "gps", "number": "A5069RR4"})
    ask(root, repository, {"act": "set-bus", "bus": "can0", "rate": "250000"})
    rule = (root / "etc/udev/rules.d/70-keelwatt.rules").read_text()
    assert 'ENV{ID_SERIAL_SHORT}=="A5069RR4", SYMLINK+="keelwatt/gps"' in rule
    assert "ListenOnly=yes" in (root / "etc/systemd/network/70-keelwatt-can0.network").read_text()


HOSTILE = [
    b"",
    b"\n",
    b"shut-down\n",
    b"null\n",
    b"[" * 900 + b"\n",
    b'{"act": "shut-down"}' + b" " * 2000 + b"\n",
    {"act": "sh"},
    {"act": "__class__"},
    {"act": ["shut-down"]},
    {"act": "shut-down", "also": "this"},
    {"act": "name-plug", "name": "gps"},
    {"act": "name-plug", "name": "--help", "number": "A1"},
    {"act": "name-plug", "name": "../../etc/x", "number": "A1"},
    {"act": "name-plug", "name": "gps\n", "number": "A1"},
    {"act": "name-plug", "name": "gps", "number": 'A1", RUN+="/bin/sh'},
    {"act": "name-plug", "name": "gps", "number": "A1\nRUN"},
    {"act": "name-plug", "name": "gps", "number": "$(reboot)"},
    {"act": "set-bus", "bus": "can0", "rate": "250000 --acknowledge"},
    {"act": "set-bus", "bus": "can0", "rate": "--acknowledge"},
    {"act": "set-bus", "bus": "../x", "rate": "250000"},
    {"act": "set-bus", "bus": "can0", "rate": 250000},
    {"act": "find-rate", "bus": "eth0"},
    {"act": "find-rate", "bus": ".."},
    {"act": "set-zone", "zone": "../../../etc/shadow"},
    {"act": "set-zone", "zone": "--help"},
    {"act": "mark-stick", "device": "mmcblk0p2"},
    {"act": "mark-stick", "device": "sdb1"},
    {"act": "mark-stick", "device": "../block/sda1"},
    {"act": "mark-stick", "device": "sda1.service"},
    {"act": "fetch-release", "device": "mmcblk0p2"},
    {"act": "fetch-release", "device": "sda1 file"},
    {"act": "fetch-release", "device": "file"},
    {"act": "take-release", "file": "/tmp/mine"},
    {"act": "take-release", "device": "sda1"},
    {"act": "go-back", "to": "r0001"},
    {"act": "set-zone", "zone": "/etc/shadow"},
    {"act": "set-zone", "zone": "Europe/Nowhere"},
    {"act": "set-wifi", "name": "boat", "password": "short"},
    {"act": "set-wifi", "name": "boat", "password": "long enough 12\n[ipv4]\nx=1"},
    {"act": "set-wifi", "name": "x\n[connection]", "password": "long enough 12"},
    {"act": "set-wifi", "name": "98;111;", "password": "long enough 12"},
    {"act": "set-wifi", "name": "b" * 33, "password": "long enough 12"},
    {"act": "set-wifi", "name": "boat", "password": "back\\slash is one"},
]


@pytest.mark.parametrize("asked", HOSTILE, ids=range(len(HOSTILE)))
def test_whatever_else_is_asked_is_refused_and_does_nothing(root, repository, asked):
    before = sorted(p for p in root.rglob("*") if p.is_file())
    told, journal = ask(root, repository, asked)
    assert told["ok"] is False
    assert "Traceback" not in journal
    assert calls(root) == []
    assert sorted(p for p in root.rglob("*") if p.is_file()) == before


def test_the_wifi_is_written_for_root_alone_and_its_password_told_to_nobody(root, repository):
    asked = {"act": "set-wifi", "name": "Blue boat", "password": "twelve letters"}
    told, journal = ask(root, repository, asked)
    assert told["ok"], told
    file = root / "etc/NetworkManager/system-connections/keelwatt.nmconnection"
    assert file.stat().st_mode & 0o777 == 0o600
    assert "\nssid=Blue boat\n" in file.read_text()
    assert "\npsk=twelve letters\n" in file.read_text()
    assert "twelve letters" not in journal + str(told) + "".join(calls(root))
    # The phone that asked is on that Wi-Fi: the answer goes out first.
    assert calls(root)[-1].startswith("systemd-run [--quiet] [--collect] [--on-active=5s] [nmcli]")


def test_who_says_nothing_is_let_go(root, repository):
    ours, theirs = socket.socketpair()
    start_s = time.monotonic()
    with ours, theirs:
        subprocess.run(
            [sys.executable, str(repository / "deploy/errand.py")], stdin=theirs, stdout=theirs,
            stderr=subprocess.PIPE, env=dict(os.environ), timeout=60, check=True,
        )  # fmt: skip
        assert json.loads(ours.recv(4096)) == {"ok": False, "said": "nothing was asked in time"}
    assert time.monotonic() - start_s >= 5.0


@pytest.fixture
def bitrate(repository: Path) -> ModuleType:
    spec = importlib.util.spec_from_file_location("bitrate", repository / "deploy/bitrate.py")
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("true_rate", [250000, 1000000, 20000])
def test_the_rate_is_found_by_listening_only(bitrate, true_rate):
    done: list[tuple[str, ...]] = []

    def listen(bus: str, seconds: float) -> tuple[int, int]:
        # ISO 11898-1: at another bit rate a receiver sees stuff and form errors, no frame
        at = int(done[-1][done[-1].index("bitrate") + 1])
        return (40, 0) if at == true_rate else (0, 12)

    found = bitrate.find("can0", lambda *command: done.append(command), listen)
    assert found == true_rate
    raised = [command for command in done if "up" in command]
    assert all(command[-2:] == ("listen-only", "on") for command in raised)
    assert done[-1] == ("ip", "link", "set", "can0", "down")


def test_a_quiet_or_broken_bus_has_no_rate(bitrate):
    assert bitrate.find("can0", lambda *command: None, lambda bus, seconds: (0, 0)) is None
    assert bitrate.find("can0", lambda *command: None, lambda bus, seconds: (2, 0)) is None
    assert bitrate.find("can0", lambda *command: None, lambda bus, seconds: (5, 900)) is None
