"""Ports and buses from a made-up /sys and /dev, laid out as the kernel's documentation has it."""

from dataclasses import dataclass
from pathlib import Path

import pytest

from logger.discover.ports import found


@dataclass
class FakePort:
    device: str
    description: str = "n/a"
    serial_number: str | None = None


@pytest.fixture
def root(tmp_path: Path) -> Path:
    def put(path: str, text: str) -> None:
        (tmp_path / path).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / path).write_text(text)

    put("sys/class/net/can0/type", "280\n")  # ARPHRD_CAN, linux/if_arp.h
    put("sys/class/net/can0/operstate", "up\n")
    put("sys/class/net/can0/flags", "0x40081\n")
    put("sys/class/net/can1/type", "280\n")
    put("sys/class/net/can1/operstate", "down\n")
    put("sys/class/net/eth0/type", "1\n")  # ARPHRD_ETHER
    put("sys/bus/w1/devices/28-0316a2794c1f/temperature", "21500\n")
    put("sys/bus/w1/devices/w1_bus_master1/w1_master_name", "x\n")
    put("sys/bus/iio/devices/iio:device0/name", "ads1015\n")
    put("sys/class/hwmon/hwmon0/name", "cpu_thermal\n")
    put("dev/ttyUSB0", "")
    put("dev/ttyUSB1", "")
    for folder, name, target in [
        ("by-id", "usb-Maker_Cable_AB12-if00", "ttyUSB0"),
        ("by-id", "usb-Maker_Cable_CD34-if00", "ttyUSB1"),
    ]:
        link = tmp_path / "dev/serial" / folder / name
        link.parent.mkdir(parents=True, exist_ok=True)
        link.symlink_to(tmp_path / "dev" / target)
    (tmp_path / "dev/keelwatt").mkdir()
    (tmp_path / "dev/keelwatt/gps").symlink_to(tmp_path / "dev/ttyUSB1")
    return tmp_path


def test_found_lists_every_kind_once(root: Path):
    ports = [FakePort("/dev/ttyUSB1", "Cable", "CD34"), FakePort("/dev/ttyUSB0", "Cable", "AB12")]
    assert [d.sentence for d in found(root, ports)] == [
        "serial port /dev/ttyUSB0, Cable, serial number AB12, also "
        "/dev/serial/by-id/usb-Maker_Cable_AB12-if00",
        "serial port /dev/ttyUSB1, Cable, serial number CD34, also /dev/keelwatt/gps",
        "CAN bus can0, up",
        "CAN bus can1, down",
        "1-wire probe 28-0316a2794c1f, temperature",
        "analogue inputs iio:device0, ads1015",
        "board sensor hwmon0, cpu_thermal",
    ]


def test_found_knows_the_computers_own_console(root: Path):
    (root / "proc").mkdir()  # as proc(5) and Documentation/admin-guide/serial-console have it
    (root / "proc/consoles").write_text(
        "tty0                 -WU (E  p  )    4:1\nttyS0                -W- (EC p a)    4:64\n"
    )
    ports = [FakePort("/dev/ttyS0", "ttyS0"), FakePort("/dev/ttyS1", "ttyS1")]
    assert [d.sentence for d in found(root, ports)][:2] == [
        "this computer's own console /dev/ttyS0, left alone",
        "serial port /dev/ttyS1, ttyS1",
    ]


def test_found_of_a_computer_with_nothing(tmp_path: Path):
    assert found(tmp_path, []) == ()


def test_found_looks_at_this_computer_without_harm():
    assert isinstance(found(), tuple)
