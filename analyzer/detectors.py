"""Detectors of the live watch: each takes the log piece by piece and says what holds now."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from analyzer.flags import Sighting
from analyzer.pack import chemistry
from analyzer.series import Series
from analyzer.thresholds import Threshold
from logger.boat import Boat
from logger.channels import block_voltage, cell_voltage, probe_temp

QUIET_LEAST_S = 30.0
# A receiver loses its fix for a minute under a bridge or a hand (common practice, no source).
QUIET_OTHER_S = 90.0
VITAL = ("pack_voltage_v", "pack_current_a")
QUIET_INTERVALS = 10.0
HOT_PACK_C = {"lfp": 55.0, "nmc": 55.0, "lead_acid": 50.0}  # of makers' sheets; the boat's wins


class Detector(Protocol):
    """Takes pieces in time order; says what holds at the end of the last."""

    def update(self, chunk: Series) -> list[Sighting]:
        """Takes the next piece of the log."""


@dataclass
class Level:
    """One channel against two limits; the second may be missing."""

    channel: str
    key: str
    kind: str
    subject: str
    unit: str
    warn: Threshold
    act: Threshold | None = None
    low_level: str = "warning"

    def update(self, chunk: Series) -> list[Sighting]:
        """Takes the next piece of the log."""
        if self.channel not in chunk.values:
            return []
        t_s, values = chunk.t_utc_s, chunk.values[self.channel]
        warned = self.warn.see(t_s, values)
        acted = self.act.see(t_s, values) if self.act else False
        if not (warned or acted):
            return []
        limit = self.act if acted and self.act else self.warn
        past = "above" if limit.sign > 0 else "below"
        evidence = (
            f"{self.subject} at {limit.value:.2f} {self.unit}, {past} {limit.sign * limit.trip:.2f}"
            f" {self.unit} for {limit.hold_s:.0f} s."
        )
        level = "act now" if acted else self.low_level
        return [Sighting(self.key, self.kind, self.subject, level, evidence, (self.channel,))]


@dataclass
class Cells:
    """Many alike levels, skipped together while all are well inside."""

    levels: list[Level]
    lowest: float
    highest: float

    def update(self, chunk: Series) -> list[Sighting]:
        """Takes the next piece of the log."""
        busy = [
            lv
            for lv in self.levels
            if lv.channel in chunk.values and (_pending(lv) or self._outside(chunk, lv.channel))
        ]
        return [s for lv in busy for s in lv.update(chunk)]

    def _outside(self, chunk: Series, channel: str) -> bool:
        v = chunk.values[channel]
        return bool(np.any((v < self.lowest) | (v > self.highest)))


def _pending(level: Level) -> bool:
    limits = [level.warn, *([level.act] if level.act else [])]
    return any(x.active or x.busy for x in limits)


class ColdCharge:
    """Charge going into cells that are too cold for it."""

    def __init__(self, boat: Boat) -> None:
        self.limit_c = chemistry(boat.pack.chemistry).no_charge_below_c
        self.least_a = 0.02 * boat.pack.rated_capacity_ah
        self.hold = Threshold(0.5, 0.5, above=True, hold_s=20.0, clear_s=30.0)
        self._temp_c = float("nan")

    def update(self, chunk: Series) -> list[Sighting]:
        """Takes the next piece of the log."""
        names = [n for n in chunk.values if n == "pack_temp_c" or n.startswith("cell_")]
        names = [n for n in names if n.endswith("_temp_c")]
        if self.limit_c is None or not names or "pack_current_a" not in chunk.values:
            return []
        coldest = np.min([chunk.get(n) for n in names], axis=0)
        bad = (coldest < self.limit_c) & (chunk.get("pack_current_a") < -self.least_a)
        known = np.isfinite(coldest) & np.isfinite(chunk.get("pack_current_a"))
        if known.any():
            self._temp_c = float(coldest[known][-1])
        if not self.hold.see(chunk.t_utc_s, np.where(known, bad, np.nan)):
            return []
        evidence = f"Charge current flows with the coldest cells at {self._temp_c:.1f} °C."
        channels = ("pack_current_a", *names[:1])
        return [Sighting("pack/cold", "cold_charge", "pack", "act now", evidence, channels)]


class Quiet:
    """Channels that came regularly and stopped while others went on. Those that stopped together
    make one flag.
    """

    def __init__(self) -> None:
        self._last: dict[str, float] = {}
        self._usual: dict[str, float] = {}
        self._count: dict[str, int] = {}

    def update(self, chunk: Series) -> list[Sighting]:
        """Takes the next piece of the log."""
        t_s = chunk.t_utc_s
        for name, values in chunk.values.items():
            at = t_s[np.isfinite(values)]
            if len(at):
                self._note(name, float(at[0]), float(at[-1]), len(at), chunk.step_s)
        if not self._last:
            return []
        newest = max(self._last.values())
        silent = [n for n, s in self._last.items() if self._is_quiet(n, newest - s)]
        return self._grouped(silent, newest)

    def _note(self, name: str, first: float, last: float, count: int, step_s: float) -> None:
        spacing = (last - first) / (count - 1) if count > 1 else step_s
        if name in self._last:
            spacing = max(spacing, min(first - self._last[name], 600.0))
        held = self._usual.get(name, spacing)
        self._usual[name] = max(0.98 * held, min(spacing, 3 * held))
        self._last[name], self._count[name] = last, self._count.get(name, 0) + count

    def _is_quiet(self, name: str, silence_s: float) -> bool:
        regular = self._count[name] >= 20
        least_s = QUIET_LEAST_S if name in VITAL else QUIET_OTHER_S
        return regular and silence_s > max(least_s, QUIET_INTERVALS * self._usual[name])

    def _grouped(self, silent: list[str], newest: float) -> list[Sighting]:
        groups: dict[int, list[str]] = {}
        for name in sorted(silent):
            groups.setdefault(round(self._last[name] / QUIET_LEAST_S), []).append(name)
        out = []
        for names in groups.values():
            first = names[0]
            more = f" and {len(names) - 1} more" if len(names) > 1 else ""
            text = first.rsplit("_", 1)[0].replace("_", " ") + more
            age = newest - self._last[first]
            vital = any(n in VITAL for n in names)
            evidence = f"Last reading {age:.0f} s ago, while others go on: {', '.join(names[:8])}."
            level = "warning" if vital else "notice"
            out.append(Sighting(f"quiet/{first}", "quiet", text, level, evidence, tuple(names[:4])))
        return out


class Fault:
    """The controller's own fault number, seen for two seconds or more."""

    def __init__(self) -> None:
        self.hold = Threshold(0.5, 0.5, above=True, hold_s=2.0, clear_s=10.0)

    def update(self, chunk: Series) -> list[Sighting]:
        """Takes the next piece of the log."""
        name = "controller_fault_code"
        if name not in chunk.values or not self.hold.see(chunk.t_utc_s, chunk.values[name]):
            return []
        text = f"Fault number {self.hold.value:.0f}."
        return [Sighting("controller/fault", "controller_fault", "controller", "warning", text,
                         (name,))]  # fmt: skip


def levels(boat: Boat) -> list[Detector]:
    """All detectors that come from limits in the boat file and the chemistry."""
    out: list[Detector] = [_cells(boat), *_pack(boat), *_drive(boat), *_probes(boat)]
    return [*out, ColdCharge(boat), Quiet(), Fault()]


def _cells(boat: Boat) -> Cells:
    pack = boat.pack
    kind = chemistry(pack.chemistry)
    cutoff, full = pack.cell_cutoff_v or kind.cutoff_v, pack.cell_full_v or kind.full_v
    over = (0.05, 0.12) if pack.cell_full_v else (0.1, 0.2)
    usable = float(kind.ocv_v(0.5)) - cutoff
    found: list[Level] = []
    inside = pack.cells_in_series // (pack.blocks_in_series or pack.cells_in_series)
    named = [(cell_voltage(i), f"cell {i}", 1) for i in range(1, pack.cells_in_series + 1)]
    blocks = range(1, (pack.blocks_in_series or 0) + 1)
    named += [(block_voltage(i), f"block {i}", inside) for i in blocks]
    for channel, name, count in named:
        low = _below(count * (cutoff + 0.25 * usable), count * 0.05 * usable, 10.0)
        least = _below(count * (cutoff + 0.1 * usable), count * 0.05 * usable, 5.0)
        found.append(Level(channel, f"cell/{name}", "cell_low", name, "V", low, least))
        high = _above(count * (full + over[0]), count * 0.03, 5.0)
        most = _above(count * (full + over[1]), count * 0.03, 3.0)
        found.append(Level(channel, f"cell/{name}/high", "cell_high", name, "V", high, most))
    if inside > 1:  # blocks are many cells: the shared quick limits would not fit both
        return Cells(found, np.inf, -np.inf)
    return Cells(found, cutoff + 0.3 * usable, full + over[0])


def _pack(boat: Boat) -> list[Level]:
    pack = boat.pack
    kind = chemistry(pack.chemistry)
    cutoff, full = pack.cell_cutoff_v or kind.cutoff_v, pack.cell_full_v or kind.full_v
    count, usable = pack.cells_in_series, float(kind.ocv_v(0.5)) - cutoff
    cutback = boat.motor.cutback_v or count * (cutoff + 0.2 * usable)
    stop = boat.motor.shutdown_v or count * (cutoff + 0.1 * usable)
    hot = pack.max_temp_c or HOT_PACK_C[pack.chemistry]
    step = 0.02 * cutback
    out = [
        Level("pack_voltage_v", "pack/low", "pack_low", "pack", "V",
              _below(cutback + step, step, 10.0), _below(stop + step, step, 5.0)),
        Level("controller_voltage_v", "pack/low", "pack_low", "controller", "V",
              _below(cutback, step, 10.0), _below(stop + step, step, 5.0)),
        Level("pack_voltage_v", "pack/high", "pack_high", "pack", "V",
              _above(count * (full + 0.06), 0.02 * count, 5.0),
              _above(count * (full + 0.12), 0.02 * count, 3.0)),
        Level("pack_temp_c", "pack/hot", "pack_hot", "pack", "°C",
              _above(hot - 5, 2.0, 60.0), _above(hot, 2.0, 30.0)),
    ]  # fmt: skip
    if pack.max_discharge_a:
        most = _above(1.05 * pack.max_discharge_a, 0.1 * pack.max_discharge_a, 30.0)
        out.append(Level("pack_current_a", "pack/over", "over_current", "pack", "A", most))
    if pack.max_charge_a:
        least = _below(-1.05 * pack.max_charge_a, 0.1 * pack.max_charge_a, 30.0)
        out.append(Level("pack_current_a", "pack/overc", "over_charge_current", "pack", "A", least))
    return out


def _drive(boat: Boat) -> list[Level]:
    out = []
    for part, limit in (
        ("motor", boat.motor.motor_max_temp_c),
        ("controller", boat.motor.controller_max_temp_c),
    ):
        if limit is not None:
            warn, act = _above(limit - 8, 3.0, 30.0), _above(limit, 3.0, 15.0)
            kind = f"{part}_hot"
            out.append(Level(f"{part}_temp_c", f"{part}/hot", kind, part, "°C", warn, act))
    return out


def _probes(boat: Boat) -> list[Level]:
    from analyzer import joints

    out = []
    for cable in boat.cable:
        if cable.probe:
            limit = joints.limit_c(cable)
            warn, act = _above(limit - 8, 3.0, 30.0), _above(limit, 3.0, 15.0)
            channel, key = probe_temp(cable.probe), f"joint/{cable.name}"
            name = joints.place(cable)
            out.append(Level(channel, key, "lug_hot", name, "°C", warn, act))
    return out


def _above(trip: float, step: float, hold_s: float) -> Threshold:
    return Threshold(trip, trip - step, above=True, hold_s=hold_s)


def _below(trip: float, step: float, hold_s: float) -> Threshold:
    return Threshold(trip, trip + step, above=False, hold_s=hold_s)
