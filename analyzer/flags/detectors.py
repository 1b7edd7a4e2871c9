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
        charging = least < -self.least_a
        if not (self.hold.live or (cold and charging)):
            return
        amps = chunk.get("pack_current_a")
        temps_c = [chunk.get(n) for n in names]
        coldest = np.min(temps_c, axis=0)
        bad = (coldest < self.limit_c) & (amps < -self.least_a)
        known = np.isfinite(coldest) & np.isfinite(amps)
        if known.any():
            self._temp_c = float(coldest[known][-1])
        seen = np.where(known, bad, np.nan)
        self.hold.see(chunk.t_utc_s, seen)
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
        since = np.minimum(first - before, 600.0)
        spacing = np.fmax(spacing, since)
        capped = np.fmin(spacing, 3 * usual)
        eased = np.fmax(0.98 * usual, capped)
        fresh = np.where(np.isfinite(usual), eased, spacing)
        self._usual[at] = np.where(np.isfinite(spacing), fresh, usual)
        self._last[at] = np.where(count > 0, last, before)
        self._count[at] += count

    def detections(self) -> list[Detection]:
        """Channels that are silent, one for each group that stopped together."""
        if not np.isfinite(self._last).any():
            return []
        newest = float(np.nanmax(self._last))
        vital = [n in VITAL for n in self._names]
        least = np.where(vital, QUIET_LEAST_S, QUIET_OTHER_S)
        limit = np.fmax(least, QUIET_INTERVALS * self._usual)
        age = newest - self._last
        silent = (self._count >= 20) & (age > limit)
        names = [self._names[k] for k in np.flatnonzero(silent)]
        return self._grouped(names, newest)

    def _places(self, names: tuple[str, ...]) -> list[int]:
        """Where these channels are kept; new ones get a place."""
        if names != self._names[: len(names)]:
            new = [n for n in names if n not in self._names]
            self._names = (*self._names, *new)
            more = np.full(len(new), np.nan)
            none = np.zeros(len(new))
            self._last = np.concatenate([self._last, more])
            self._usual = np.concatenate([self._usual, more])
            self._count = np.concatenate([self._count, none])
        return [self._names.index(n) for n in names]

    def _grouped(self, silent: list[str], newest: float) -> list[Detection]:
        groups: dict[float, list[str]] = {}
        for name in sorted(silent):
            place = self._names.index(name)
            last = float(self._last[place])
            near = next((t for t in groups if abs(t - last) <= QUIET_LEAST_S), last)
            groups.setdefault(near, []).append(name)
        return [_silence(names, newest - last) for last, names in groups.items()]


def _silence(names: list[str], age_s: float) -> Detection:
    """What is said of channels that fell silent together."""
    more = f" and {len(names) - 1} more" if len(names) > 1 else ""
    without_unit = names[0].rsplit("_", 1)[0]
    subject = without_unit.replace("_", " ") + more
    listed = ", ".join(names[:8])
    vital = any(n in VITAL for n in names)
    return Detection(
        subject,
        "quiet",
        f"Last reading {age_s:.0f} s ago, while others go on: {listed}.",
        size=Estimate(age_s, None, None, "s"),
        level="warning" if vital else "notice",
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
    for channel, name, count in _named(pack):
        key = f"cell/{name}"
        step = count * 0.05 * usable
        low = _below(count * (cutoff + 0.25 * usable), step, 10.0)
        least = _below(count * (cutoff + 0.1 * usable), step, 5.0)
        found.append(Limit(channel, key, "cell_low", name, "V", low, least))
        back = count * 0.03
        high = _above(count * over[0], back, 5.0)
        most = _above(count * over[1], back, 3.0)
        found.append(Limit(channel, f"{key}/high", "cell_high", name, "V", high, most))
    return found


def _named(pack: Pack) -> list[tuple[str, str, int]]:
    """Channel, name and cells in series of each cell and of each block."""
    cells = range(1, pack.cells_in_series + 1)
    blocks = range(1, (pack.blocks_in_series or 0) + 1)
    inside = pack.cells_in_series // max(len(blocks), 1)
    named = [(cell_voltage(i), f"cell {i}", 1) for i in cells]
    named += [(block_voltage(i), f"block {i}", inside) for i in blocks]
    return named


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
    step = 0.02 * cutback
    low = _below(cutback + step, step, 10.0)
    least = _below(stop + step, step, 5.0)
    there_low = _below(cutback, step, 10.0)
    there_least = _below(stop + step, step, 5.0)  # of its own: each keeps what it has seen
    back = 0.02 * count
    high = _above(count * over[0], back, 5.0)
    most = _above(count * over[1], back, 3.0)
    hot = pack.max_temp_c or HOT_PACK_C[pack.chemistry]
    warm = _above(hot - 5, 2.0, 60.0)
    too_hot = _above(hot, 2.0, 30.0)
    volts, there_volts = "pack_voltage_v", "controller_voltage_v"
    return [
        Limit(volts, "pack/low", "pack_low", "pack", "V", low, least),
        Limit(there_volts, "pack/low", "pack_low", "controller", "V", there_low, there_least),
        Limit(volts, "pack/high", "pack_high", "pack", "V", high, most),
        Limit("pack_temp_c", "pack/hot", "pack_hot", "pack", "°C", warm, too_hot),
        *_currents(pack),
    ]


def _currents(pack: Pack) -> list[Limit]:
    """A twentieth above what the pack may give and take."""
    channel = "pack_current_a"
    out = []
    if pack.max_discharge_a:
        back = 0.1 * pack.max_discharge_a
        most = _above(1.05 * pack.max_discharge_a, back, 30.0)
        out.append(Limit(channel, "pack/over", "over_current", "pack", "A", most))
    if pack.max_charge_a:
        back = 0.1 * pack.max_charge_a
        least = _below(-1.05 * pack.max_charge_a, back, 30.0)
        out.append(Limit(channel, "pack/overc", "over_charge_current", "pack", "A", least))
    return out


def _drive(boat: Boat) -> list[Limit]:
    out = []
    for part, limit in (
        ("motor", boat.motor.motor_max_temp_c),
        ("controller", boat.motor.controller_max_temp_c),
    ):
        if limit is not None:
            channel = f"{part}_temp_c"
            warn, act = _warm_hot(limit)
            out.append(Limit(channel, f"{part}/hot", f"{part}_hot", part, "°C", warn, act))
    return out


def probe_limits(cables: tuple[Cable, ...]) -> list[Limit]:
    """Each probe against what its place can bear."""
    out = []
    for cable in cables:
        if cable.probe:
            channel = probe_temp(cable.probe)
            key = f"joint/{cable.name}"
            name = joints.place(cable)
            warn, act = _warm_hot(joints.limit_c(cable))
            out.append(Limit(channel, key, "lug_hot", name, "°C", warn, act))
    return out


def _is_cell_temp(name: str) -> bool:
    return name == "pack_temp_c" or (name.startswith("cell_") and name.endswith("_temp_c"))


def _warm_hot(limit_c: float) -> tuple[Threshold, Threshold]:
    """Of a part of the drive or a joint: to warn, to act."""
    warn = _above(limit_c - 8, 3.0, 30.0)
    act = _above(limit_c, 3.0, 15.0)
    return warn, act


def _above(trip: float, step: float, hold_s: float) -> Threshold:
    return Threshold(trip, trip - step, above=True, hold_s=hold_s)


def _below(trip: float, step: float, hold_s: float) -> Threshold:
    return Threshold(trip, trip + step, above=False, hold_s=hold_s)
