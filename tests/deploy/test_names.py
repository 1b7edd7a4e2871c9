"""Stable names for plugs, and CAN buses that come up by themselves."""

import configparser
from pathlib import Path

import pytest

from tests.support.board import Board


@pytest.fixture
def board(tmp_path: Path, repository: Path) -> Board:
    return Board(tmp_path, repository)


def rules(board: Board) -> list[str]:
    path = board.root / "etc/udev/rules.d/70-keelwatt.rules"
    return [x for x in path.read_text().split("\n") if x and not x.startswith("#")]


def test_a_serial_port_gets_one_rule_by_its_number(board: Board):
    assert board.run("name-port.sh", "gps", "A5069RR4").returncode == 0
    assert rules(board) == [
        'SUBSYSTEM=="tty", ENV{ID_SERIAL_SHORT}=="A5069RR4", SYMLINK+="keelwatt/gps", '
        'ENV{ID_MM_DEVICE_IGNORE}="1", RUN+="/usr/bin/stty -F /dev/%k -echo -icanon"'
    ]
    assert "udevadm trigger" in board.calls()


def test_naming_again_replaces_name_and_number(board: Board):
    board.run("name-port.sh", "gps", "A1")
    board.run("name-port.sh", "wind", "B2")
    board.run("name-port.sh", "gps", "C3")  # another plug is the GPS now
    board.run("name-port.sh", "depth", "B2")  # and the wind's plug has another task
    assert [r.split('"')[3] for r in rules(board)] == ["C3", "B2"]
    assert [r.split('"')[5] for r in rules(board)] == ["keelwatt/gps", "keelwatt/depth"]
    listed = board.run("name-port.sh").stdout
    assert "/dev/keelwatt/gps: the plug with serial number C3" in listed
    assert "wind" not in listed


def test_a_can_adapter_gets_a_link_file(board: Board):
    assert board.run("name-port.sh", "canmotor", "003A0021").returncode == 0
    link = configparser.ConfigParser(strict=True)
    link.optionxform = str  # type: ignore[assignment,method-assign]
    link.read(board.root / "etc/systemd/network/70-keelwatt-canmotor.link")
    assert link["Match"]["Property"] == "ID_SERIAL_SHORT=003A0021"
    assert link["Link"]["Name"] == "canmotor"


@pytest.mark.parametrize(
    ("name", "number"),
    [
        ("GPS", "A1"),
        ("g p s", "A1"),
        ("../x", "A1"),
        ("gps", 'A1", RUN+="/bin/x'),
        ("gps", ""),
        ("much_too_long_a_name", "A1"),
    ],
)
def test_names_and_numbers_that_could_break_a_rule_are_refused(
    board: Board, name: str, number: str
):
    done = board.run("name-port.sh", name, number)
    assert done.returncode == 1
    assert not (board.root / "etc").exists()


@pytest.mark.parametrize(("option", "listens"), [((), "yes"), (("--acknowledge",), "no")])
def test_can_bus_writes_what_networkd_reads(board: Board, option: tuple[str, ...], listens: str):
    # keys as in systemd.network(5), section [CAN]
    assert board.run("can-bus.sh", "can0", "250000", *option).returncode == 0
    network = configparser.ConfigParser(strict=True)
    network.optionxform = str  # type: ignore[assignment,method-assign]
    network.read(board.root / "etc/systemd/network/70-keelwatt-can0.network")
    assert dict(network["CAN"]) == {
        "BitRate": "250000",
        "ListenOnly": listens,
        "RestartSec": "1s",
    }
    assert network["Match"]["Name"] == "can0"
    # Enabling networkd enables its wait for "online" too (Also= in Debian's unit).
    calls = board.calls()
    last = calls.index("systemctl disable systemd-networkd-wait-online.service")
    assert calls.index("systemctl enable --now systemd-networkd.service") < last


@pytest.mark.parametrize(
    "options", [("can0",), ("can0", "250"), ("can0", "250k"), ("../x", "250000"), ("a", "b", "c")]
)
def test_can_bus_refuses_what_no_bus_has(board: Board, options: tuple[str, ...]):
    assert board.run("can-bus.sh", *options).returncode == 1
    assert not (board.root / "etc").exists()


@pytest.mark.parametrize(
    ("user", "by", "options"),
    [
        ("sailor", "sudo", "--user=keelwatt --preserve-env=KEELWATT_BOAT,KEELWATT_LOG"),
        ("root", "runuser", "-u keelwatt --"),
    ],
)
def test_the_command_on_board_asks_the_boats_log_as_its_owner(
    board: Board, user: str, by: str, options: str
):
    for name, text in ((by, 'echo "$KEELWATT_LOG $KEELWATT_BOAT $*"'), ("id", f"echo {user}")):
        tool = board.root / "bin" / name
        tool.write_text(f"#!/bin/sh\n{text}\n")
        tool.chmod(0o755)
    done = board.run("keelwatt-on-board.sh", "range", "--speed", "4")
    assert done.stdout == (
        f"/var/lib/keelwatt/log.sqlite /var/lib/keelwatt/boat.toml {options} "
        "/opt/keelwatt/current/bin/keelwatt range --speed 4\n"
    )
