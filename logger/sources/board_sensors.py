"""Sensors that the board's kernel reads: 1-wire probes, IIO converters, hwmon. From /sys.

    [[source]]
    name = "board"
    kind = "sensors"
    [source.options]
    root = "/sys"              # where to look; for tests
    period_s = 1.0
    [[source.options.probe]]   # 1-wire temperature, by the number printed on or found for it
    w1 = "28-0316a2794eff"
    channel = "probe_motor_lug_temp_c"
    [[source.options.probe]]   # IIO: device by name or number, one of its channels
    iio = "ads1115"
    input = "in_voltage0"      # raw * the device's own scale is millivolts
    factor = 16.0              # divider ratio; for a shunt: 1 / ohms, and unit = "mA"
    offset = 0.0               # added after factor, in `unit`
    unit = "mV"
    channel = "pack_voltage_v"
    [[source.options.probe]]   # hwmon: device by name, one of its inputs
    hwmon = "cpu_thermal"
    input = "temp1"
    channel = "other_board_temp_c"

A 1-wire probe's check sum must be right; 85 °C, which a probe says after it lost its power, is
refused.
"""

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from logger.boot_clock import mono_us
from logger.decode.counters import Counters
from logger.decode.signal_map import Target
from logger.errors import SourceError
from logger.reading import (
    EXACT,
    Group,
    Item,
    Quantum,
    Row,
)
from logger.sources.options import Options
from logger.sources.raw_copy import RawFile

KEYS = {"root", "period_s", "probe"}
PROBE_KEYS = ("w1", "iio", "hwmon", "input", "factor", "offset", "unit", "channel", "sign")
POWER_ON_C = 85.0  # DS18B20 data sheet: the register's content after power-up
HWMON_UNITS = {"temp": ("degC", 1e-3), "in": ("mV", 1.0), "curr": ("mA", 1.0), "power": ("W", 1e-6)}


@dataclass(frozen=True, slots=True)
class Probe:
    """One value to read: number * factor + offset, in the target's unit.

    read: Gives the number; None where the sensor has none now. Raises OSError, ValueError.
    """

    words: str
    target: Target
    factor: float
    offset: float
    step: float
    read: Callable[[], float | None]


class SensorSource:
    """Polls the board's sensors as a `Source`.

    Args:
        name: The source's name.
        probes: What to read.
        period_s: How often.
        counters: Takes frames, missing, out_of_limits, lost.
    """

    def __init__(self, name: str, probes: list[Probe], period_s: float, counters: Counters) -> None:
        self.name = name
        self._probes, self._period_s, self._counters = probes, period_s, counters
        self._groups = [
            Group(f"{name}/{p.words}", (p.target.channel,), (Quantum(p.step) if p.step else EXACT,))
            for p in probes
        ]
        self._due_s = time.monotonic()

    def read(self, timeout_s: float) -> list[Item] | None:
        """Reads all probes when they are due."""
        wait_s = self._due_s - time.monotonic()
        if wait_s > timeout_s:
            time.sleep(timeout_s)
            return []
        if wait_s > 0:
            time.sleep(wait_s)
        self._due_s = max(self._due_s + self._period_s, time.monotonic())
        rows: list[Item] = []
        for probe, group in zip(self._probes, self._groups, strict=True):
            value = self._value(probe)
            if value is not None:
                rows.append(Row(group, mono_us(), (value,)))
        return rows

    def _value(self, probe: Probe) -> float | None:
        self._counters.add("frames")
        try:
            number = probe.read()
        except (OSError, ValueError, IndexError):
            self._counters.add("lost")
            return None
        if number is None:
            self._counters.add("missing")
            return None
        return probe.target.value(number * probe.factor + probe.offset, self._counters)

    def close(self) -> None:
        """Nothing is held open."""


def open_source(options: Options, counters: Counters, raw: RawFile | None) -> SensorSource:
    """Opens the source. Raises BoatFileError, SourceError."""
    options.only(KEYS)
    root = Path(options.text("root", "/sys"))
    probes = [
        _probe(Options(f"{options.source}, probe {number}", entry, options.folder), root)
        for number, entry in enumerate(options.tables("probe"), 1)
    ]
    period_s = options.number("period_s", 1.0, 0.05, 86400)
    return SensorSource(options.source, probes, period_s, counters)


def _probe(entry: Options, root: Path) -> Probe:
    entry.only(PROBE_KEYS)
    kinds = [kind for kind in ("w1", "iio", "hwmon") if kind in entry.table]
    if len(kinds) != 1:
        raise entry.wrong("w1", "exactly one of w1, iio and hwmon")
    factor = entry.number("factor", 1.0, -1e9, 1e9)
    offset = entry.number("offset", 0.0, -1e9, 1e9)
    if kinds == ["w1"]:
        return _one_wire(entry, root, factor, offset)
    if kinds == ["iio"]:
        return _iio(entry, root, factor, offset)
    return _hwmon(entry, root, factor, offset)


def _one_wire(entry: Options, root: Path, factor: float, offset: float) -> Probe:
    number = entry.text("w1")
    device = root / "bus/w1/devices" / number

    def read() -> float | None:
        quick = device / "temperature"
        slave = device / "w1_slave"
        if slave.exists():
            first, _, second = slave.read_text().partition("\n")
            if not first.rstrip().endswith("YES"):
                return None
            celsius = int(second.rpartition("t=")[2]) / 1000
        else:
            celsius = int(quick.read_text()) / 1000
        return None if celsius == POWER_ON_C else celsius

    return Probe(number, entry.target("degC"), factor, offset, 0.001 * abs(factor), read)


def _named(folder: Path, name: str, entry: Options) -> Path:
    """The device of this name, or of this folder's name."""
    for device in sorted(folder.glob("*")):
        if device.name == name:
            return device
        label = device / "name"
        try:
            if label.is_file() and label.read_text().strip() == name:
                return device
        except OSError:
            continue
    raise SourceError(f"source {entry.source}: no device {name!r} in {folder}")


def _iio(entry: Options, root: Path, factor: float, offset: float) -> Probe:
    device = _named(root / "bus/iio/devices", entry.text("iio"), entry)
    base = entry.text("input")
    kind = base.rstrip("0123456789")

    def first_number(*names: str) -> float:
        for name in names:
            path = device / name
            if path.is_file():
                return float(path.read_text())
        return 1.0 if "scale" in names[0] else 0.0

    def read() -> float | None:
        raw = int((device / f"{base}_raw").read_text())
        own_offset = first_number(f"{base}_offset", f"{kind}_offset")
        return (raw + own_offset) * first_number(f"{base}_scale", f"{kind}_scale")

    unit = "mV" if kind == "in_voltage" else "mA" if kind == "in_current" else "count"
    words = f"{device.name}.{base}"
    return Probe(words, entry.target(unit), factor, offset, 0.0, read)


def _hwmon(entry: Options, root: Path, factor: float, offset: float) -> Probe:
    device = _named(root / "class/hwmon", entry.text("hwmon"), entry)
    base = entry.text("input")
    kind = base.rstrip("0123456789")
    if kind not in HWMON_UNITS:
        raise entry.wrong("input", f"one of {', '.join(HWMON_UNITS)} and a number")
    unit, own = HWMON_UNITS[kind]

    def read() -> float | None:
        return int((device / f"{base}_input").read_text()) * own

    words = f"{device.name}.{base}"
    return Probe(words, entry.target(unit), factor, offset, 0.0, read)
