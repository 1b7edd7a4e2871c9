"""Which ports, buses and board sensors this computer has. Looks only; opens nothing."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

ARPHRD_CAN = "280"  # linux/if_arp.h: what /sys/class/net/*/type says of a CAN interface


class Port(Protocol):
    """What is used of a pyserial `ListPortInfo`."""

    device: str
    description: str
    serial_number: str | None


@dataclass(frozen=True, slots=True)
class Device:
    """One way in that is there.

    Args:
        kind: "serial", "console" (a serial port that the computer speaks on itself), "can",
            "1-wire", "adc" or "hwmon".
        name: As a source's options name it: "/dev/ttyUSB0", "can0", "28-0316a2794c1f".
        text: What it is, for people.
        stable_name: A name that stays when other plugs move; None where there is none.
        serial_number: The maker's, of a USB device; tells two alike ones apart.
    """

    kind: str
    name: str
    text: str
    stable_name: str | None = None
    serial_number: str | None = None

    @property
    def sentence(self) -> str:
        """One line for people."""
        parts = [f"{_SPOKEN[self.kind]} {self.name}"]
        parts += [self.text] if self.text else []
        parts += [f"serial number {self.serial_number}"] if self.serial_number else []
        parts += [f"also {self.stable_name}"] if self.stable_name else []
        return ", ".join(parts)


_SPOKEN = {
    "serial": "serial port",
    "console": "this computer's own console",
    "can": "CAN bus",
    "1-wire": "1-wire probe",
    "adc": "analogue inputs",
    "hwmon": "board sensor",
}


def found(root: Path = Path("/"), ports: Iterable[Port] | None = None) -> tuple[Device, ...]:
    """Everything that a source could read on this computer.

    Args:
        root: Where /sys and /dev are looked for; tests make their own tree.
        ports: Serial ports; None: those that pyserial lists.
    """
    if ports is None:
        from serial.tools.list_ports import comports

        ports = comports()
    return (
        *_serial(root, ports),
        *_can(root),
        *_one_wire(root),
        *_named(root / "sys/bus/iio/devices", "iio:device*", "adc"),
        *_named(root / "sys/class/hwmon", "hwmon*", "hwmon"),
    )


def _serial(root: Path, ports: Iterable[Port]) -> Iterator[Device]:
    stable, consoles = _stable_names(root), _consoles(root)
    for port in sorted(ports, key=lambda p: p.device):
        own = Path(port.device).name
        if own in consoles:
            yield Device("console", port.device, "left alone")
            continue
        text = port.description if port.description not in ("n/a", "") else ""
        yield Device("serial", port.device, text, stable.get(own), port.serial_number or None)


def _consoles(root: Path) -> set[str]:
    """The ports that the kernel and its log-in use: opening one would disturb them.

    Source: proc(5), /proc/consoles: a line for each, its name first.
    """
    return {line.split()[0] for line in _text(root / "proc/consoles").splitlines() if line.strip()}


def _stable_names(root: Path) -> dict[str, str]:
    """Device's own name -> a link to it: keelwatt's own rule first, else the system's."""
    names: dict[str, str] = {}
    for folder in ("dev/serial/by-id", "dev/keelwatt"):
        for link in _listed(root / folder):
            target = link.resolve().name
            names[target] = f"/{folder}/{link.name}"
    return names


def _can(root: Path) -> Iterator[Device]:
    for interface in _listed(root / "sys/class/net"):
        if _text(interface / "type") == ARPHRD_CAN:
            state = _text(interface / "operstate")
            up = "up" if state in ("up", "unknown") and _is_up(interface) else "down"
            yield Device("can", interface.name, up)


def _is_up(interface: Path) -> bool:
    flags = _text(interface / "flags")
    return bool(int(flags, 16) & 1) if flags.startswith("0x") else True


def _one_wire(root: Path) -> Iterator[Device]:
    for probe in _listed(root / "sys/bus/w1/devices"):
        if (probe / "temperature").exists() or (probe / "w1_slave").exists():
            yield Device("1-wire", probe.name, "temperature")


def _named(folder: Path, pattern: str, kind: str) -> Iterator[Device]:
    for device in sorted(folder.glob(pattern)):
        yield Device(kind, device.name, _text(device / "name"))


def _listed(folder: Path) -> list[Path]:
    try:
        return sorted(folder.iterdir())
    except OSError:
        return []


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8", errors="replace").strip()
    except OSError:
        return ""
