"""Flags and their lives.

The book turns what is detected into flags: one per cause, raised once, raised further if it gets
worse, cleared when the cause has been gone for a while.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from analyzer.estimation.detection import LEVELS, Detection, worst
from analyzer.flags.words import WORDS
from analyzer.learned.findings import BEHIND
from logger.store.records import FlagRecord

CLEAR_S = 120.0  # without the cause; assumed, so that what comes and goes makes one flag
KEEP_US = 60_000_000  # cards wear by writing; assumed
# Found by fits that begin anew with the program: only so long under load shows that it is over.
FOUND_UNDER_LOAD = frozenset(
    {"lug_heating", "cell_resistance", *BEHIND, "reserve", "shunt_reversed"}
)
ADOPTED_S = 3600.0  # assumed: a fit finds again what it found before within an hour of load
# Looked at every few minutes, and only under way; assumed.
CLEAR_LATER_S = {"turn_back": 1200.0, "way_home": 1200.0}


@dataclass(frozen=True)
class FlagEvent:
    """Something happened to a flag. action: "raised", "worse" or "cleared". [µs on the timeline]"""

    action: str
    t_us: int
    flag: FlagRecord


@dataclass(frozen=True)
class Evidence:
    """What a piece of the log could have shown.

    Args:
        span_us: Its length.
        read: Channels that were read in it.
        loaded: Whether current flowed, so that joints and cells could show what they are.
        over: Keys of causes that are gone, as the piece shows.
    """

    span_us: int
    read: frozenset[str]
    loaded: bool
    over: frozenset[str] = frozenset()


@dataclass
class _Open:
    """A flag that stands.

    Args:
        now: What was last found of it; None since a restart.
        well_us: For how long readings would have shown it, and did not.
        adopted: Taken over from an earlier run, and not found again since.
        kept_us, kept_text: When what is now was last kept in the log, and what it said. [µs]
    """

    flag: FlagRecord
    now: Detection | None = None
    well_us: int = 0
    adopted: bool = False
    kept_us: int = 0
    kept_text: str = ""

    @property
    def patience_us(self) -> float:
        """How long that must go on until the flag is over."""
        if self.adopted and self.flag.kind in FOUND_UNDER_LOAD:
            return ADOPTED_S * 1e6
        return CLEAR_LATER_S.get(self.flag.kind, CLEAR_S) * 1e6

    def see_none(self, evidence: Evidence) -> None:
        """Takes a piece of the log in which its cause was not detected."""
        channels = self.flag.channels
        if channels and evidence.read.isdisjoint(channels):
            return  # silence is no evidence of health
        if evidence.loaded or not (self.adopted and self.flag.kind in FOUND_UNDER_LOAD):
            self.well_us += evidence.span_us


class FlagBook:
    """The flags now up, by the key of their cause."""

    def __init__(self) -> None:
        self._open: dict[str, _Open] = {}
        self._at_us: int | None = None

    @property
    def flags(self) -> tuple[FlagRecord, ...]:
        """Flags now up."""
        return tuple(o.flag for o in self._open.values())

    def adopt(self, flag: FlagRecord) -> None:
        """Takes over a flag that an earlier run left up: a restart is no evidence of health."""
        self._open[flag.key] = _Open(flag, adopted=True)

    def changed(self, t_us: int) -> Iterator[tuple[FlagRecord, Detection]]:
        """Flags whose figures are others than when they were last kept, a minute ago or more."""
        for held in self._open.values():
            known = held.kept_text or held.flag.evidence
            due = t_us - (held.kept_us or held.flag.raised_us) >= KEEP_US
            if held.now is not None and held.now.text != known and due:
                held.kept_us, held.kept_text = t_us, held.now.text
                yield held.flag, held.now

    def now(self, key: str) -> Detection | None:
        """What was last found of a flag's cause."""
        return self._open[key].now if key in self._open else None

    def number(self, key: str, number: int) -> None:
        """Tells the book the number that the log gave a flag."""
        if key in self._open:
            self._open[key].flag = replace(self._open[key].flag, number=number)

    def see(
        self, t_us: int, detections: list[Detection], evidence: Evidence | None = None
    ) -> list[FlagEvent]:
        """Takes all that holds now; returns what changed.

        Args:
            evidence: What the piece could have shown; None: everything, since the last time.
        """
        holding = {found.key for found in detections}
        since_us = 0 if self._at_us is None else t_us - self._at_us
        self._at_us = t_us
        events = []
        for found in worst(detections):
            event = self._see_one(t_us, found)
            if event:
                events.append(event)
        for key, held in list(self._open.items()):
            if key in holding or t_us <= held.flag.raised_us:
                continue  # what was before a flag is no evidence that it is over
            everything = Evidence(since_us, frozenset(held.flag.channels), loaded=True)
            seen = evidence or everything
            held.see_none(seen)
            if held.well_us > held.patience_us or key in seen.over:
                flag = replace(held.flag, cleared_us=t_us)
                del self._open[key]
                events.append(FlagEvent("cleared", t_us, flag))
        return events

    def _see_one(self, t_us: int, found: Detection) -> FlagEvent | None:
        held = self._open.get(found.key)
        if held is None:
            flag = record(found, t_us)
            self._open[found.key] = _Open(flag, found)
            return FlagEvent("raised", t_us, flag)
        held.now, held.well_us, held.adopted = found, 0, False
        if LEVELS.index(found.level) <= LEVELS.index(held.flag.level):
            return None
        fresh = record(found, held.flag.raised_us)
        held.flag = replace(fresh, number=held.flag.number)
        return FlagEvent("worse", t_us, held.flag)


def record(found: Detection, raised_us: int) -> FlagRecord:
    """The flag that a detection makes."""
    words = WORDS[found.kind]
    subject = found.subject[:1].upper() + found.subject[1:]
    return FlagRecord(
        number=None,
        key=found.key,
        level=found.level,
        subject=found.subject,
        kind=found.kind,
        title=found.title or words.title.format(subject=subject),
        evidence=found.text,
        cause=found.cause or words.cause,
        caution=words.caution,
        first_action=found.first_action or words.first_action,
        raised_us=raised_us,
        channels=found.channels,
    )
