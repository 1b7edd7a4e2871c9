"""The same judgements, live: flags with a life. Causal, piece by piece, memory does not grow."""

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np

from analyzer.cells.monitor import CellMonitor
from analyzer.environment.stream import Calibration
from analyzer.estimation.results import Finding
from analyzer.flags import detectors
from analyzer.flags.flag import Evidence, FlagBook, FlagEvent, Sighting
from analyzer.flags.threshold import Threshold
from analyzer.flags.turn_back import CHANNELS as HOMEWARD_CHANNELS
from analyzer.flags.turn_back import Turning
from analyzer.hull.steady import SteadyPoints
from analyzer.learned import cable_history
from analyzer.pack.shunt_sense import LAG_S, shunt_sense
from analyzer.pack.soc import PackPosterior, track
from analyzer.series.chunk import Piece
from analyzer.series.series import Floats, Series, load
from analyzer.thermal.cable_trend import base_k
from analyzer.thermal.cables import CableGroup
from analyzer.thermal.drive import drive_heats
from analyzer.thermal.loop_resistance import LoopMonitor, with_witness
from logger.boat import Boat
from logger.channels import block_voltage, cell_voltage, probe_temp
from logger.store import Store
from logger.store.records import FlagRecord

CHUNK_S = 10.0
PIECE_S = 3600.0  # the log is read in pieces of this length
CHARGE_EVERY_S = 60.0
SENSE_STEPS = 8640  # of five seconds, twelve hours as `check` has it: by these the sign is judged
SAME_US = 180_000_000
SURE = 0.9
LOAD_C = 0.05  # an hour's share of the rated capacity from which a joint warms (assumed)
HOLD_S = 60.0  # a finding must stand for so long
# What cells hold is judged anew every five minutes, and now and then wrongly where a curve bends.
HOLD_LONG_S = {"cell_charge": 1200.0, "cell_capacity": 1200.0}

__all__ = ["FlagEvent", "Watch", "channels", "expect_joints", "run"]


def channels(boat: Boat) -> tuple[str, ...]:
    """What the watch wants from the log."""
    names = [
        "pack_voltage_v", "pack_current_a", "pack_soc_frac", "pack_temp_c",
        "controller_voltage_v", "controller_current_a", "controller_temp_c",
        "controller_fault_code", "motor_temp_c", "ambient_temp_c", "shaft_speed_rps",
        "speed_ground_mps", "latitude_deg",
    ]  # fmt: skip
    names += [cell_voltage(i) for i in range(1, boat.pack.cells_in_series + 1)]
    names += [block_voltage(i) for i in range(1, (boat.pack.blocks_in_series or 0) + 1)]
    for cable in boat.cable:
        names += [cable.current_channel, *([probe_temp(cable.probe)] if cable.probe else [])]
    if boat.home is not None:
        names += HOMEWARD_CHANNELS
    return tuple(dict.fromkeys(names))


class Watch:
    """Takes the log in pieces, in time order, and says when a flag is raised, gets worse or is
    cleared.
    """

    def __init__(self, boat: Boat, charge: PackPosterior | None = None) -> None:
        self.boat = boat
        self.book = FlagBook()
        self.cells = CellMonitor(boat.pack)
        self.cables = CableGroup(boat.cable)
        self.drive = drive_heats(boat)
        self._detectors: list[detectors.Detector] = [*detectors.levels(boat), *self.drive]
        self._reserve = _Reserve(boat, charge)
        self._turning = Turning(boat)
        self.loop = LoopMonitor(boat)
        self._since_us: dict[str, int] = {}

    def update(self, chunk: Series) -> list[FlagEvent]:
        """Takes the next piece, some seconds long."""
        if not chunk.n:
            return []
        piece = Piece(chunk)
        sightings = [s for d in self._detectors for s in d.update(piece)]
        sightings += self._reserve.update(chunk)
        reversed_ = self._reserve.sense.finding is not None
        sightings += [] if reversed_ else self._turning.update(chunk, self._reserve.state)
        self.cells.update(chunk)
        self.cables.update(chunk)
        self.loop.update(chunk)
        t_us = chunk.t0_us + round(chunk.n * chunk.step_s * 1e6)
        sightings += self._findings(t_us)
        return self.book.see(t_us, _without_echoes(sightings), self._evidence(piece))

    def _evidence(self, piece: Piece) -> Evidence:
        """What a piece could have shown."""
        read = frozenset(name for name, high in piece.highest.items() if high == high)
        names = ("pack_current_a", "controller_current_a")
        most = [max(piece.highest.get(n, 0.0), -piece.lowest.get(n, 0.0)) for n in names]
        loaded = any(amps > LOAD_C * self.boat.pack.rated_capacity_ah for amps in most)
        return Evidence(round(piece.chunk.n * piece.chunk.step_s * 1e6), read, loaded)

    def teach(
        self,
        points: SteadyPoints,
        calibration: Calibration | None,
        charge: PackPosterior | None = None,
    ) -> None:
        """What the log knew before: of the hull, of log, propeller and compass, of the charge."""
        self._turning.points, self._turning.calibration = points, calibration
        self._reserve.state = charge or self._reserve.state

    @property
    def charge(self) -> PackPosterior | None:
        """The charge as last followed, a minute old at most."""
        return self._reserve.state

    def _findings(self, t_us: int) -> list[Sighting]:
        found = [(f"cell/{f.subject}", f) for f in self.cells.findings()]
        for monitor in self.cables.monitors:
            key = f"joint/{monitor.cable.name}"
            found += [(key, with_witness(f, self.loop)) for f in monitor.findings()]
        found = [(key, f) for key, f in found if f.sureness_frac >= SURE and f.kind in _SHOWN]
        names = [f"{key} {f.kind}" for key, f in found]
        self._since_us = {name: self._since_us.get(name, t_us) for name in names}
        return [
            _from_finding(key, f, self._channels(f))
            for name, (key, f) in zip(names, found, strict=True)
            if t_us - self._since_us[name] >= 1e6 * HOLD_LONG_S.get(f.kind, HOLD_S)
        ]

    def _channels(self, finding: Finding) -> tuple[str, ...]:
        return (*finding.size.used, "pack_current_a")[:4]


_SHOWN = {"lug_heating", "over_ampacity", "cell_resistance", "cell_charge", "cell_capacity"}


def _from_finding(key: str, f: Finding, names: tuple[str, ...]) -> Sighting:
    level = "notice" if f.kind == "over_ampacity" else "warning"
    key = f"{key}/ampacity" if f.kind == "over_ampacity" else key
    channels = tuple(dict.fromkeys(names))
    if f.kind != "cell_charge":
        return Sighting(key, f.kind, f.subject, level, f.text, channels)
    # A cell is levelled otherwise than a block.
    first = f"Plan for less range. In harbour: {f.cure[:1].lower()}{f.cure[1:]}."
    return Sighting(key, f.kind, f.subject, level, f.text, channels, first_action=first)


def _without_echoes(sightings: list[Sighting]) -> list[Sighting]:
    """One cause, one flag: where a cell is named for being low or high, the pack is not too."""
    kinds = {s.kind for s in sightings}
    echo = {"pack_low": "cell_low", "pack_high": "cell_high"}
    return [s for s in sightings if not (s.kind in echo and echo[s.kind] in kinds)]


class _Sense:
    """Whether the current comes with the wrong sign, by the changes of the last half day."""

    def __init__(self, boat: Boat) -> None:
        self.finding: Finding | None = None
        self._ah = boat.pack.rated_capacity_ah
        self._means = np.zeros((2, 0))

    def see(self, whole: Series) -> None:
        """Takes the next minute."""
        size = max(round(LAG_S / whole.step_s), 1)
        both = np.stack([whole.get("pack_voltage_v"), whole.get("pack_current_a")])
        both = both[:, : whole.n // size * size].reshape(2, -1, size).mean(axis=2)
        self._means = np.hstack([self._means, both])[:, -SENSE_STEPS:]
        volts, amps = self._means
        test = shunt_sense(volts, amps, size * whole.step_s, self._ah)
        if test.verdict != "cannot say":
            self.finding = test.finding

    def sightings(self) -> list[Sighting]:
        """The flag, where it is wrong."""
        if self.finding is None:
            return []
        return [_from_finding("pack/sense", self.finding, ("pack_current_a", "pack_voltage_v"))]


class _Reserve:
    """Follows the charge a minute at a time; sights the reserve being reached."""

    def __init__(self, boat: Boat, charge: PackPosterior | None) -> None:
        self.boat, self.state = boat, charge
        self.sense = _Sense(boat)
        reserve = boat.reserve.soc_frac
        self.warn = Threshold(reserve, reserve + 0.03, above=False, hold_s=120.0)
        self.act = Threshold(reserve / 2, reserve / 2 + 0.03, above=False, hold_s=120.0)
        self._pieces: list[Series] = []

    def update(self, chunk: Series) -> list[Sighting]:
        """Takes the next piece of the log."""
        self._pieces.append(chunk)
        if sum(p.n * p.step_s for p in self._pieces) >= CHARGE_EVERY_S:
            self._advance()
        if wrong := self.sense.sightings():
            return wrong
        if self.state is None or not (self.warn.active or self.act.active):
            return []
        level = "act now" if self.act.active else "warning"
        text = (
            f"Charge {100 * self.state.soc:.0f} % (give or take {100 * self.state.sd:.0f}), "
            f"reserve {100 * self.boat.reserve.soc_frac:.0f} %."
        )
        return [Sighting("pack/low", "reserve", "pack", level, text, ("pack_current_a",))]

    def _advance(self) -> None:
        whole = _joined(self._pieces)
        self._pieces = []
        if not whole.has("pack_current_a", "pack_voltage_v"):
            return
        _despike(whole.values["pack_current_a"], 2.0 * self.boat.pack.rated_capacity_ah)
        _despike(
            whole.values["pack_voltage_v"],
            0.2 * float(np.nanmedian(whole.values["pack_voltage_v"])),
        )
        self.sense.see(whole)
        self.state = track(whole, self.boat.pack, self.state).final
        at = np.array([whole.t_utc_s[-1]])
        # While the charge is not known well, silence is better than a guess.
        value = self.state.soc if self.state.sd < 0.08 else np.nan
        self.warn.see(at, np.array([value]))
        self.act.see(at, np.array([value]))


def _despike(values: Floats, jump: float) -> None:
    """Single readings that stand off their neighbours by more than `jump` become missing, and at
    the ends all that stand off the middle by ten times as much.
    """
    values[np.abs(values - np.nanmedian(values)) > 10 * jump] = np.nan
    before, after = values[1:-1] - values[:-2], values[1:-1] - values[2:]
    lone = (np.abs(before) > jump) & (np.abs(after) > jump) & (before * after > 0)
    values[1:-1][lone] = np.nan


def _joined(pieces: list[Series]) -> Series:
    """Pieces in time order as one series; a hole between them becomes a gap."""
    first, last = pieces[0], pieces[-1]
    step_us = first.step_s * 1e6
    n = round((last.t0_us - first.t0_us) / step_us) + last.n
    names = {k for p in pieces for k in p.values}
    values = {k: np.full(n, np.nan) for k in names}
    for p in pieces:
        at = round((p.t0_us - first.t0_us) / step_us)
        for k, v in p.values.items():
            values[k][at : at + p.n] = v
    return Series(first.t0_us, first.step_s, n, values)


def run(
    store: Store,
    boat: Boat,
    start_us: int | None = None,
    end_us: int | None = None,
    progress: Callable[[float], None] | None = None,
    watch: Watch | None = None,
) -> Watch:
    """Walks the log in pieces of 10 s, as it would have been seen live, and stores the flags.

    Args:
        start_us, end_us: On the timeline; None: the log's ends. [µs]
        progress: Called with the share done.
        watch: Goes on with this one; None: a fresh one.
    """
    span = store.span()
    watch = watch or Watch(boat)
    if span is None:
        return watch
    first = span[0] if start_us is None else start_us
    expect_joints(watch, store, first)
    last = span[1] + 1 if end_us is None else end_us
    names = channels(boat)
    silent = False
    for at in range(first, last, round(PIECE_S * 1e6)):
        piece = load(store, names, at, min(at + round(PIECE_S * 1e6), last))
        was_silent, silent = silent, not piece.values
        if silent and was_silent:  # weeks at the mooring, switched off: there is nothing to judge
            continue
        for event in walk(watch, piece):
            keep(store, watch, event)
        if progress:
            progress(min((at - first + PIECE_S * 1e6) / (last - first), 1.0))
    return watch


def expect_joints(watch: Watch, store: Store, before_us: int) -> None:
    """Lets the watch hold each joint against what earlier trips found."""
    earlier = cable_history.history(store, before_us)
    bases = {name: base_k(kept) for name, kept in earlier.items()}
    watch.cables.expect({name: base for name, base in bases.items() if base is not None})


def walk(watch: Watch, piece: Series) -> Iterator[FlagEvent]:
    """Feeds a long piece 10 s at a time; gives each event before it goes on."""
    per = max(round(CHUNK_S / piece.step_s), 1)
    for k in range(0, piece.n, per):
        yield from watch.update(piece.cut(k, k + per))


def _same(store: Store, flag: FlagRecord) -> int | None:
    """Number of a flag that another run over the same log has stored for this cause, if any."""
    for old in store.flags(flag.raised_us - SAME_US, flag.raised_us + SAME_US):
        if old.key == flag.key and abs(old.raised_us - flag.raised_us) < SAME_US:
            return old.number
    return None


def keep(store: Store, watch: Watch, event: FlagEvent) -> FlagEvent:
    """Writes what happened to a flag into the log; returns it with the number it has there."""
    flag = event.flag
    if event.action == "raised" or flag.number is None:
        known = _same(store, flag)
        number = store.add_flag(flag) if known is None else known
        watch.book.number(flag.key, number)
        return replace(event, flag=replace(flag, number=number))
    if event.action == "worse":
        before = {f.number: f for f in store.flags(flag.raised_us, flag.raised_us + 1)}
        same = flag.number in before and before[flag.number].level == flag.level
        store.update_flag(
            flag.number,
            level=flag.level,
            kind=flag.kind,
            title=flag.title,
            evidence=flag.evidence,
            cause=flag.cause,
            caution=flag.caution,
            first_action=flag.first_action,
            channels=flag.channels,
            # What has become worse is to be seen anew.
            seen_us=before[flag.number].seen_us if same else None,
        )
    else:
        store.update_flag(flag.number, cleared_us=flag.cleared_us)
    return event
