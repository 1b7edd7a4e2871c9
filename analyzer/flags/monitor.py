"""The same judgements, live: flags with a life. Causal, chunk by chunk, memory does not grow."""

from collections.abc import Callable, Iterator
from dataclasses import replace

from analyzer.cells.monitor import CellMonitor
from analyzer.environment.stream import Calibration
from analyzer.estimation.detection import Detection, Watcher
from analyzer.flags.detectors import limits
from analyzer.flags.flag import Evidence, FlagBook, FlagEvent
from analyzer.flags.reserve import Reserve
from analyzer.flags.turn_back import CHANNELS as HOMEWARD_CHANNELS
from analyzer.flags.turn_back import Turning
from analyzer.flags.words import WORDS
from analyzer.hull.steady_points import SteadyPoints
from analyzer.learned import cable_history, findings
from analyzer.pack.soc import PackPosterior
from analyzer.series import bridges
from analyzer.series.series import Series, load
from analyzer.thermal.cable_trend import base_k
from analyzer.thermal.cables import CableGroup
from analyzer.thermal.drive import drive_heat
from logger.boat import Boat
from logger.channels import block_voltage, cell_voltage, probe_temp
from logger.store import Store
from logger.store.records import FlagRecord

# The watch judges every ten seconds; a log is read by the hour, as memory allows; assumed.
CHUNK_S = 10.0
PIECE_S = 3600.0
# Two runs over one log raise a flag within three minutes of each other; assumed.
SAME_US = 180_000_000
SURE = 0.9  # less is told by `cells` and `cables` alone; assumed
LOAD_C = 0.05  # an hour's share of the rated capacity from which a joint warms (assumed)
# A finding must stand for so long. What cells hold is judged anew every five minutes, and now and
# then wrongly where a curve bends: four times in a row. Both assumed.
HOLD_S = 60.0
HOLD_BEHIND_S = 1200.0

__all__ = ["FlagEvent", "Watch", "channels", "expect_joints", "run"]


def channels(boat: Boat) -> tuple[str, ...]:
    """What the watch wants from the log."""
    names = [
        "pack_voltage_v", "pack_current_a", "pack_soc_frac", "pack_temp_c",
        "controller_voltage_v", "controller_current_a", "controller_temp_c",
        "controller_fault_code", "motor_temp_c", "ambient_temp_c", "shaft_speed_rps",
        "speed_ground_mps", "latitude_deg",
    ]  # fmt: skip
    names += bridges.CHANNELS
    names += [cell_voltage(i) for i in range(1, boat.pack.cells_in_series + 1)]
    names += [block_voltage(i) for i in range(1, (boat.pack.blocks_in_series or 0) + 1)]
    for cable in boat.cable:
        names += [cable.current_channel, *([probe_temp(cable.probe)] if cable.probe else [])]
    if boat.home is not None:
        names += HOMEWARD_CHANNELS
    return tuple(dict.fromkeys(names))


class Watch:
    """Takes the log in chunks, in time order, and says when a flag is raised, gets worse or is
    cleared.
    """

    def __init__(self, boat: Boat, charge: PackPosterior | None = None) -> None:
        self.boat = boat
        self.book = FlagBook()
        self.cells = CellMonitor(boat.pack)
        self.cables = CableGroup(boat.cable)
        drive = drive_heat(boat)
        self._reserve = Reserve(boat, charge)
        self._turning = Turning(boat)
        self._direct: list[Watcher[Series]] = [
            *limits(boat),
            *([drive] if drive else []),
            self._reserve,
        ]
        self._since_us: dict[tuple[str, str], int] = {}

    def update(self, chunk: Series) -> list[FlagEvent]:
        """Takes the next chunk, some seconds long."""
        if not chunk.n:
            return []
        for watcher in self._direct:
            watcher.update(chunk)
        self.cells.update(chunk)
        self.cables.update(chunk)
        found = [d for watcher in self._direct for d in watcher.detections()]
        self._turning.charge = self._reserve.state
        if not self._reserve.sense.detections():
            self._turning.update(chunk)
            found += self._turning.detections()
        t_us = chunk.t0_us + round(chunk.n * chunk.step_s * 1e6)
        found += self._fitted(t_us)
        return self.book.see(t_us, _without_echoes(found), self._evidence(chunk))

    def _evidence(self, chunk: Series) -> Evidence:
        """What a chunk could have shown."""
        read = frozenset(name for name, high in chunk.highest.items() if high == high)
        names = ("pack_current_a", "controller_current_a")
        most = [max(chunk.highest.get(n, 0.0), -chunk.lowest.get(n, 0.0)) for n in names]
        loaded = any(amps > LOAD_C * self.boat.pack.rated_capacity_ah for amps in most)
        span_us = round(chunk.n * chunk.step_s * 1e6)
        return Evidence(span_us, read, loaded, self._turning.over)

    def teach(
        self,
        points: SteadyPoints,
        calibration: Calibration | None,
        charge: PackPosterior | None = None,
        cells: CellMonitor | None = None,
    ) -> None:
        """What the log knew before: of hull, log, propeller and compass, charge and cells."""
        self.cells = cells or self.cells
        self._turning.points, self._turning.calibration = points, calibration
        self._reserve.state = charge or self._reserve.state

    @property
    def charge(self) -> PackPosterior | None:
        """The charge as last followed, a minute old at most."""
        return self._reserve.state

    def _fitted(self, t_us: int) -> list[Detection]:
        """What fits to cells and joints found, once it has been sure for long enough."""
        found = [replace(d, key=f"cell/{d.subject}") for d in self.cells.detections()]
        found += self.cables.detections()
        held = {_cause(d): d for d in found if d.kind in _SHOWN and self._is_sure(d, t_us)}
        self._since_us = {name: self._since_us.get(name, t_us) for name in held}
        return [
            _as_flag(replace(d, since_us=self._since_us[name]))
            for name, d in held.items()
            if t_us - self._since_us[name] >= 1e6 * _hold_s(d.kind)
        ]

    def _is_sure(self, found: Detection, t_us: int) -> bool:
        """Whether a flag may tell of it; of a cell that one told of, as long as it is behind."""
        since_us = self._since_us.get(_cause(found), t_us)
        told = found.kind in findings.BEHIND and t_us - since_us >= 1e6 * HOLD_BEHIND_S
        return told or found.sureness_frac >= SURE


_SHOWN = {"lug_heating", "over_ampacity", "cell_resistance", *findings.BEHIND}


def _cause(found: Detection) -> tuple[str, str]:
    """Of which flag it is; a cell that is behind has been since it first was, by any cause."""
    return findings.cause(replace(found, subject=found.key))


def _hold_s(kind: str) -> float:
    """For how long a finding must stand."""
    return HOLD_BEHIND_S if kind in findings.BEHIND else HOLD_S


def _as_flag(found: Detection) -> Detection:
    """A fit's finding with the urgency, the plot and the first act of its flag."""
    channels = tuple(dict.fromkeys((*found.size.used, "pack_current_a")[:4]))
    found = replace(found, channels=channels)
    if found.kind == "over_ampacity":
        return replace(found, level="notice", key=f"{found.key}/ampacity")
    if found.kind not in findings.BEHIND:
        return found
    found = replace(found, cause=f"{WORDS[found.kind].cause} {_sure(found.sureness_frac)}")
    if found.kind == "cell_capacity":
        return found
    # A cell is levelled otherwise than a block.
    first = f"Plan for less range. In harbour: {found.cure[:1].lower()}{found.cure[1:]}."
    return replace(found, first_action=first)


def _sure(frac: float) -> str:
    """How sure a finding was when its flag was raised; never quite sure, as nothing at sea is."""
    percent = "Over 99" if frac > 0.99 else f"{100 * frac:.0f}"
    return f"{percent} % sure when it was found."


def _without_echoes(found: list[Detection]) -> list[Detection]:
    """One cause, one flag: where a cell is named for being low or high, the pack is not too."""
    kinds = {d.kind for d in found}
    echo = {"pack_low": "cell_low", "pack_high": "cell_high"}
    return [d for d in found if not (d.kind in echo and echo[d.kind] in kinds)]


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
    piece_us = round(PIECE_S * 1e6)
    silent = False
    for at in _pieces(store, first, last):
        piece = load(store, names, at, min(at + piece_us, last))
        was_silent, silent = silent, not piece.values
        if silent and was_silent:  # weeks at the mooring, switched off: there is nothing to judge
            continue
        for event in walk(watch, piece):
            keep(store, watch, event)
        keep_findings(store, watch, piece.t0_us + round(piece.n * piece.step_s * 1e6))
        if progress:
            progress(min((at - first + PIECE_S * 1e6) / (last - first), 1.0))
    return watch


def _pieces(store: Store, first_us: int, last_us: int) -> Iterator[int]:
    """Where pieces begin; of a long silence only the first and the last. [µs]"""
    piece_us = round(PIECE_S * 1e6)
    at_us = first_us
    while at_us < last_us:
        yield at_us
        filled_us = store.next_filled_us(at_us)
        if filled_us is None:
            return
        silent = max(filled_us - at_us, 0) // piece_us
        at_us += max(silent, 1) * piece_us


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


def keep_findings(store: Store, watch: Watch, t_us: int) -> None:
    """Keeps what the causes of the flags that stand look like now. [µs]"""
    for flag, now in watch.book.changed(t_us):
        findings.keep(store, flag, now, t_us)


def _same(store: Store, flag: FlagRecord) -> int | None:
    """Number of a flag that another run over the same log has stored for this cause, if any."""
    for old in store.flags(flag.raised_us - SAME_US, flag.raised_us + SAME_US):
        if old.key == flag.key and abs(old.raised_us - flag.raised_us) < SAME_US:
            return old.number
    return None


WORSENED = (
    "level", "kind", "title", "evidence", "cause", "caution", "first_action", "channels",
)  # fmt: skip


def keep(store: Store, watch: Watch, event: FlagEvent) -> FlagEvent:
    """Writes what happened to a flag into the log; returns it with the number it has there."""
    flag = event.flag
    if event.action == "raised" or flag.number is None:
        known = _same(store, flag)
        number = store.add_flag(flag) if known is None else known
        watch.book.number(flag.key, number)
        if (now := watch.book.now(flag.key)) is not None:
            findings.keep(store, flag, now, event.t_us)
        return replace(event, flag=replace(flag, number=number))
    if event.action == "worse":
        before = {f.number: f for f in store.flags(flag.raised_us, flag.raised_us + 1)}
        same = flag.number in before and before[flag.number].level == flag.level
        # What has become worse is to be seen anew.
        seen_us = before[flag.number].seen_us if same else None
        changes = {name: getattr(flag, name) for name in WORSENED}
        store.update_flag(flag.number, **changes, seen_us=seen_us)
    else:
        store.update_flag(flag.number, cleared_us=flag.cleared_us)
    return event
