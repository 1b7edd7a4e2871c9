"""What this computer tells of itself: supply, warmth, card, system. Looks only."""

import os
import platform
import shutil
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Computer:
    """None wherever this computer does not tell.

    Args:
        supply_low: Whether the supply's voltage is or was lower than the board wants, since it
            was last looked at.
        processor_temp_c: Its warmest place. [°C]
        room_bytes, size_bytes: Left, and in all, where the log lies.
        card_used_frac: Share of the card's life that is used at most, as the card itself says.
        faults: What the log's file system found wrong with itself.
        model, system, kernel, python: Names and versions.
    """

    supply_low: bool | None
    processor_temp_c: float | None
    room_bytes: int
    size_bytes: int
    card_used_frac: float | None
    faults: int | None
    model: str
    system: str
    kernel: str
    python: str


def look(folder: Path, root: Path = Path("/")) -> Computer:
    """Reads it.

    Args:
        folder: Where the log lies, or will lie.
        root: Where /sys, /proc and /etc are looked for; tests make their own tree.
    """
    usage = shutil.disk_usage(folder)
    return Computer(
        supply_low=_supply_low(root),
        processor_temp_c=_warmest_c(root),
        room_bytes=usage.free,
        size_bytes=usage.total,
        card_used_frac=_card_used(root),
        faults=_faults(root, folder),
        model=_text(root / "sys/firmware/devicetree/base/model").strip("\0")
        or _text(root / "sys/class/dmi/id/product_name"),
        system=_system(root),
        kernel=platform.release(),
        python=platform.python_version(),
    )


def sticks(root: Path = Path("/")) -> tuple[str, ...]:
    """Partitions, or whole devices without any, of what is plugged in over USB and holds files."""
    found = {path.name: path.resolve() for path in (root / "sys/class/block").glob("sd*")}
    over_usb = {
        name: where
        for name, where in found.items()
        if any(part.startswith("usb") for part in where.parts)
    }
    parts = {name for name, where in over_usb.items() if (where / "partition").exists()}
    wholes = {n for n in over_usb if n not in parts and not any(p.startswith(n) for p in parts)}
    return tuple(sorted(parts | wholes))


def _supply_low(root: Path) -> bool | None:
    """Source: Linux, Documentation/hwmon/sysfs-interface: inN_lcrit_alarm, lower than critical."""
    said = [_text(path) for path in (root / "sys/class/hwmon").glob("hwmon*/in*_lcrit_alarm")]
    return "1" in said if said else None


def _warmest_c(root: Path) -> float | None:
    """Source: Linux, Documentation/driver-api/thermal: temp in thousandths of a degree."""
    said = [_whole(path) for path in (root / "sys/class/thermal").glob("thermal_zone*/temp")]
    known = [value / 1000 for value in said if value is not None]
    return max(known) if known else None


def _card_used(root: Path) -> float | None:
    """Source: JEDEC eMMC 5.1, DEVICE_LIFE_TIME_EST: 1 to 10, each a tenth of life used; 11 over."""
    for path in (root / "sys/block").glob("mmcblk*/device/life_time"):
        tenths = [int(word, 16) for word in _text(path).split()[:2] if word.startswith("0x")]
        if any(tenths):
            return max(tenths) / 10
    return None


def _faults(root: Path, folder: Path) -> int | None:
    """Source: Linux, Documentation/ABI/testing/sysfs-fs-ext4: errors_count."""
    try:
        device = os.stat(folder).st_dev
    except OSError:
        return None
    name = (root / f"sys/dev/block/{os.major(device)}:{os.minor(device)}").resolve().name
    return _whole(root / "sys/fs/ext4" / name / "errors_count")


def _system(root: Path) -> str:
    """Source: os-release(5)."""
    for line in _text(root / "etc/os-release").splitlines():
        if line.startswith("PRETTY_NAME="):
            return line.partition("=")[2].strip('"')
    return ""


def _whole(path: Path) -> int | None:
    text = _text(path)
    return int(text) if text.lstrip("-").isdecimal() else None


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8", errors="replace").strip()
    except OSError:
        return ""
