"""Detectors of the live watch: each takes the log chunk by chunk and says what holds now."""

import numpy as np

from analyzer.estimation.detection import Detection, Watcher
from analyzer.estimation.estimate import Estimate
from analyzer.flags.limit import Limit, Limits
from analyzer.flags.threshold import Threshold
from analyzer.pack.chemistry import LEAD, chemistry
from analyzer.series.series import Series
from analyzer.thermal import joints
from logger.boat import Boat, Cable, Pack
from logger.channels import block_voltage, cell_voltage, probe_temp

# The pack is asked about first: three readings of a device that sends every ten seconds; assumed.
QUIET_LEAST_S = 30.0
# A receiver loses its fix for a minute under a bridge or a hand (common practice, no source).
QUIET_OTHER_S = 90.0
VITAL = ("pack_voltage_v", "pack_current_a")
QUIET_INTERVALS = 10.0
# Per cell, above what chargers end at: 3.65, 4.2 and 2.47 V; common practice, no source.
OVER_V = {"lfp": (3.68, 3.75), "nmc": (4.23, 4.28), **dict.fromkeys(LEAD, (2.50, 2.65))}
OVER_FULL_V = (0.05, 0.12)  # the same above a full voltage that the boat file gives
# Of makers' sheets; the boat's wins.
HOT_PACK_C = {"lfp": 55.0, "nmc": 55.0, **dict.fromkeys(LEAD, 50.0)}


class ColdCharge:
    """Charge going into cells that are too cold for it."""

    def __init__(self, boat: Boat) -> None:
        self.limit_c = chemistry(boat.pack.chemistry).no_charge_below_c
        self.least_a = 0.02 * boat.pack.rated_capacity_ah
        self.hold = Threshold(0.5, 0.5, above=True, hold_s=20.0, clear_s=30.0)
        self._temp_c = float("nan")
        self._channels: tuple[str, ...] = ()

    def update(self, chunk: Series) -> None:
        """Takes the next chunk of the log."""
        names = [n for n in chunk.names if _is_cell_temp(n)]
        least = chunk.lowest.get("pack_current_a", np.nan)
        if self.limit_c is None or not names:
            return
        cold = any(chunk.lowest[n] < self.limit_c for n in names)
        if not (self.hold.live or (cold and least < -self.least_a)):
            return
        amps = chunk.get("pack_current_a")
        coldest = np.min([chunk.get(n) for n in names], axis=0)
        bad = (coldest < self.limit_c) & (amps < -self.least_a)
        known = np.isfinite(coldest) & np.isfinite(amps)
        if known.any():
            self._temp_c = float(coldest[known][-1])
        self.hold.see(chunk.t_utc_s, np.where(known, bad, np.nan))
        self._channels = ("pack_current_a", *names[:1])

    def detections(self) -> list[Detection]:
        """That charge goes into cells that are too cold."""
        if not self.hold.active:
            return []
        text = f"Charge current flows with the coldest cells at {self._temp_c:.1f} °C."
        return [
            Detection(
                "pack",
                "cold_charge",
                text,
                size=Estimate(self._temp_c, None, None, "degC"),
                level="act now",
                key="pack/cold",
                channels=self._channels,
            )
        ]


class Quiet:
    """Channels that came regularly and stopped while others went on. Those that stopped together
    make one flag.
    """

    def __init__(self) -> None:
        self._names: tuple[str, ...] = ()
        self._last = np.empty(0)
        self._usual = np.empty(0)
        self._count = np.empty(0)

    def update(self, chunk: Series) -> None:
        """Takes the next chunk of the log."""
        at = self._places(chunk.names)
        first, last, count = chunk.ages()
        before = self._last[at]
        usual = self._usual[at]
        within = (last - first) / np.maximum(count - 1, 1)
        spacing = np.where(count > 1, within, np.nan)
        spacing = np.fmax(spacing, np.minimum(first - before, 600.0))
        eased = np.fmax(0.98 * usual, np.fmin(spacing, 3 * usual))
        fresh = np.where(np.isfinite(usual), eased, spacing)
        self._usual[at] = np.where(np.isfinite(spacing), fresh, usual)
        self._last[at] = np.where(count > 0, last, before)
        self._count[at] += count

    def detections(self) -> list[Detection]:
        """Channels that are silent, one for each group that stopped together."""
        if not np.isfinite(self._last).any():
            return []
        newest = float(np.nanmax(self._last))
        least = np.where([n in VITAL for n in self._names], QUIET_LEAST_S, QUIET_OTHER_S)
        limit = np.fmax(least, QUIET_INTERVALS * self._usual)
        silent = (self._count >= 20) & (newest - self._last > limit)
        names = [self._names[k] for k in np.flatnonzero(silent)]
        return self._grouped(names, newest)

    def _places(self, names: tuple[str, ...]) -> list[int]:
        """Where these channels are kept; new ones get a place."""
        if names != self._names[: len(names)]:
            new = [n for n in names if n not in self._names]
            self._names = (*self._names, *new)
            more = np.full(len(new), np.nan)
            self._last = np.concatenate([self._last, more])
            self._usual = np.concatenate([self._usual, more])
            self._count = np.concatenate([self._count, np.zeros(len(new))])
        return [self._names.index(n) for n in names]

    def _grouped(self, silent: list[str], newest: float) -> list[Detection]:
        groups: dict[float, list[str]] = {}
        for name in sorted(silent):
            last = float(self._last[self._names.index(name)])
            near = next((t for t in groups if abs(t - last) <= QUIET_LEAST_S), last)
            groups.setdefault(near, []).append(name)
        return [_silence(names, newest - last) for last, names in groups.items()]


def _silence(names: list[str], age_s: float) -> Detection:
    """What is said of channels that fell silent together."""
    more = f" and {len(names) - 1} more" if len(names) > 1 else ""
    return Detection(
        names[0].rsplit("_", 1)[0].replace("_", " ") + more,
        "quiet",
        f"Last reading {age_s:.0f} s ago, while others go on: {', '.join(names[:8])}.",
        size=Estimate(age_s, None, None, "s"),
        level="warning" if any(n in VITAL for n in names) else "notice",
        key=f"quiet/{names[0]}",
        channels=tuple(names[:4]),
    )


class Fault:
    """The controller's own fault number, seen for two seconds or more."""

    channel = "controller_fault_code"

    def __init__(self, boat: Boat) -> None:
        self.hold = Threshold(0.5, 0.5, above=True, hold_s=2.0, clear_s=10.0)
        self.texts = boat.fault_text

    def update(self, chunk: Series) -> None:
        """Takes the next chunk of the log."""
        if self.hold.live or chunk.highest.get(self.channel, 0.0) > 0.5:
            self.hold.see(chunk.t_utc_s, chunk.get(self.channel))

    def detections(self) -> list[Detection]:
        """The fault, with the boat file's words for its number."""
        if not self.hold.active:
            return []
        number = f"{self.hold.value:.0f}"
        meaning = f": {self.texts[number]}" if number in self.texts else ""
        text = f"Fault number {number}{meaning}."
        key, channels = "controller/fault", (self.channel,)
        return [Detection("controller", "controller_fault", text, key=key, channels=channels)]


def limits(boat: Boat) -> list[Watcher[Series]]:
    """All detectors that come from limits in the boat file and the chemistry."""
    all_limits = [*_cells(boat), *_pack(boat), *_drive(boat), *probe_limits(boat.cable)]
    return [Limits(all_limits), ColdCharge(boat), Quiet(), Fault(boat)]


def _cells(boat: Boat) -> list[Limit]:
    pack = boat.pack
    kind = chemistry(pack.chemistry)
    cutoff = pack.cell_cutoff_v or kind.cutoff_v
    over = _over_v(pack)
    usable = float(kind.ocv_v(0.5)) - cutoff
    found: list[Limit] = []
    inside = pack.cells_in_series // (pack.blocks_in_series or pack.cells_in_series)
    named = [(cell_voltage(i), f"cell {i}", 1) for i in range(1, pack.cells_in_series + 1)]
    blocks = range(1, (pack.blocks_in_series or 0) + 1)
    named += [(block_voltage(i), f"block {i}", inside) for i in blocks]
    for channel, name, count in named:
        step = count * 0.05 * usable
        low = _below(count * (cutoff + 0.25 * usable), step, 10.0)
        least = _below(count * (cutoff + 0.1 * usable), step, 5.0)
        found.append(Limit(channel, f"cell/{name}", "cell_low", name, "V", low, least))
        high = _above(count * over[0], count * 0.03, 5.0)
        most = _above(count * over[1], count * 0.03, 3.0)
        found.append(Limit(channel, f"cell/{name}/high", "cell_high", name, "V", high, most))
    return found


def _over_v(pack: Pack) -> tuple[float, float]:
    """Voltage of a cell that is too high: to warn, to act."""
    if pack.cell_full_v is None:
        return OVER_V[pack.chemistry]
    warn, act = OVER_FULL_V
    return pack.cell_full_v + warn, pack.cell_full_v + act


def _pack(boat: Boat) -> list[Limit]:
    pack = boat.pack
    kind = chemistry(pack.chemistry)
    cutoff = pack.cell_cutoff_v or kind.cutoff_v
    over = _over_v(pack)
    count = pack.cells_in_series
    usable = float(kind.ocv_v(0.5)) - cutoff
    cutback = boat.motor.cutback_v or count * (cutoff + 0.2 * usable)
    stop = boat.motor.shutdown_v or count * (cutoff + 0.1 * usable)
    hot = pack.max_temp_c or HOT_PACK_C[pack.chemistry]
    step = 0.02 * cutback
    out = [
        Limit("pack_voltage_v", "pack/low", "pack_low", "pack", "V",
              _below(cutback + step, step, 10.0), _below(stop + step, step, 5.0)),
        Limit("controller_voltage_v", "pack/low", "pack_low", "controller", "V",
              _below(cutback, step, 10.0), _below(stop + step, step, 5.0)),
        Limit("pack_voltage_v", "pack/high", "pack_high", "pack", "V",
              _above(count * over[0], 0.02 * count, 5.0),
              _above(count * over[1], 0.02 * count, 3.0)),
        Limit("pack_temp_c", "pack/hot", "pack_hot", "pack", "°C",
              _above(hot - 5, 2.0, 60.0), _above(hot, 2.0, 30.0)),
    ]  # fmt: skip
    if pack.max_discharge_a:
        most = _above(1.05 * pack.max_discharge_a, 0.1 * pack.max_discharge_a, 30.0)
        out.append(Limit("pack_current_a", "pack/over", "over_current", "pack", "A", most))
    if pack.max_charge_a:
        least = _below(-1.05 * pack.max_charge_a, 0.1 * pack.max_charge_a, 30.0)
        out.append(Limit("pack_current_a", "pack/overc", "over_charge_current", "pack", "A", least))
    return out


def _drive(boat: Boat) -> list[Limit]:
    out = []
    for part, limit in (
        ("motor", boat.motor.motor_max_temp_c),
        ("controller", boat.motor.controller_max_temp_c),
    ):
        if limit is not None:
            warn, act = _above(limit - 8, 3.0, 30.0), _above(limit, 3.0, 15.0)
            kind = f"{part}_hot"
            out.append(Limit(f"{part}_temp_c", f"{part}/hot", kind, part, "°C", warn, act))
    return out


def probe_limits(cables: tuple[Cable, ...]) -> list[Limit]:
    """Each probe against what its place can bear."""
    out = []
    for cable in cables:
        if cable.probe:
            limit = joints.limit_c(cable)
            warn, act = _above(limit - 8, 3.0, 30.0), _above(limit, 3.0, 15.0)
            channel, key = probe_temp(cable.probe), f"joint/{cable.name}"
            name = joints.place(cable)
            out.append(Limit(channel, key, "lug_hot", name, "°C", warn, act))
    return out


def _is_cell_temp(name: str) -> bool:
    return name == "pack_temp_c" or (name.startswith("cell_") and name.endswith("_temp_c"))


def _above(trip: float, step: float, hold_s: float) -> Threshold:
    return Threshold(trip, trip - step, above=True, hold_s=hold_s)


def _below(trip: float, step: float, hold_s: float) -> Threshold:
    return Threshold(trip, trip + step, above=False, hold_s=hold_s)
