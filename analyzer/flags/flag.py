"""Flags: their words, their levels and their lives.

A detector sights a cause; the book turns sightings into flags: one per cause, raised once,
raised further if it gets worse, cleared when the cause has been gone for a while.
"""

from dataclasses import dataclass, replace

from logger.store.records import FlagRecord

LEVELS = ("notice", "warning", "act now")
CLEAR_S = 120.0
# Found by fits that begin anew with the program: only so long under load shows that it is over.
FOUND_UNDER_LOAD = frozenset(
    {"lug_heating", "cell_resistance", "cell_charge", "cell_capacity", "reserve", "shunt_reversed"}
)
ADOPTED_S = 3600.0  # assumed: a fit finds again what it found before within an hour of load
CLEAR_LATER_S = {"turn_back": 1200.0}  # looked at every few minutes, and only under way


@dataclass(frozen=True)
class Sighting:
    """A cause that holds now.

    Args:
        key: Of the cause; two sightings with one key make one flag.
        kind: What is wrong, one word for programs; a key of `WORDS`.
        subject: What it is about, for people.
        level: One of `LEVELS`.
        evidence: What was measured, with figures.
        channels: The plot that shows it.
        title, cause, first_action, caution: In place of the kind's words.
    """

    key: str
    kind: str
    subject: str
    level: str
    evidence: str
    channels: tuple[str, ...]
    title: str = ""
    cause: str = ""
    first_action: str = ""
    caution: str = ""


@dataclass(frozen=True)
class Words:
    """What a kind of flag says; `{subject}` stands for what it is about."""

    title: str
    cause: str
    caution: str
    first_action: str


SHORT = (
    "A pack this size drives thousands of amperes through a slipped spanner: isolate it first, "
    "insulated tools, no rings or watches."
)
LITHIUM = "Never bridge or reset the battery's protection to keep going."

WORDS = {
    "turn_back": Words(
        "turn for home now",
        "What is left above the reserve is needed for the way back.",
        "The figure is no promise: stream, wind and sea may change; keep a sail and anchor ready.",
        "Turn for home, and slow down.",
    ),
    "lug_heating": Words(
        "{subject} heats more than its current explains",
        "A joint that has worked loose or corroded.",
        SHORT,
        "Slow down now. In harbour: isolate, clean and re-torque the joint, look at the crimp.",
    ),
    "lug_hot": Words(
        "{subject} is near the heat it can bear",
        "A bad joint, or more current than the cable is for.",
        SHORT,
        "Take power off at once and let it cool; do not touch it. Be ready to sail or anchor.",
    ),
    "over_ampacity": Words(
        "{subject} carries more than its published ampacity",
        "The motor can draw more than this cable is rated for.",
        "Ratings depend on bundling and place; local codes and the fuse come first.",
        "Hold the power down, and plan a larger cable or a lower current limit.",
    ),
    "cell_resistance": Words(
        "{subject} sags more than the others under load",
        "Higher resistance: the cell itself, or its link or sense lead.",
        SHORT,
        "Ease the power; it will reach its cut-off first. In harbour check its links.",
    ),
    "cell_charge": Words(
        "{subject} holds less charge than the others",
        "It was never brought to the same full, or it leaks.",
        LITHIUM,
        "Plan for less range; give the pack a long charge to full so that it can balance.",
    ),
    "cell_capacity": Words(
        "{subject} has less capacity than the others",
        "It has aged faster than the rest.",
        LITHIUM,
        "Plan by this cell, not by the mean; watch it through a full charge.",
    ),
    "cell_low": Words(
        "{subject} is close to its cut-off",
        "The weakest cell is nearly empty, or the load is too high for it.",
        LITHIUM + " The protection may open without further warning.",
        "Ease the power now; have a sail or the anchor ready.",
    ),
    "cell_high": Words(
        "{subject} is above its full voltage",
        "Charge is still going in while this cell is already full.",
        LITHIUM,
        "Stop charging, or take the regeneration off by slowing the propeller.",
    ),
    "pack_low": Words(
        "The controller will soon cut back",
        "The pack is nearly empty, or sags deeply at this load.",
        "The drive may weaken or stop without further warning.",
        "Ease the power now; have a sail or the anchor ready.",
    ),
    "pack_high": Words(
        "The pack is above its full voltage",
        "Charge or regeneration goes on into a full pack.",
        LITHIUM,
        "Stop charging, or take the regeneration off by slowing the propeller.",
    ),
    "cold_charge": Words(
        "The pack is being charged below freezing",
        "A charger or regeneration is on while the cells are too cold.",
        "Lithium cells take lasting harm from charge below 0 °C.",
        "Stop the charge; warm the battery space first.",
    ),
    "pack_hot": Words(
        "{subject} is close to the heat it can bear",
        "Long high power, or a warm battery space without air.",
        "Smoke, smell or swelling: power off, leave the space, call for help.",
        "Ease the power and give the battery space air.",
    ),
    "motor_hot": Words(
        "The motor is close to its limit",
        "Long high power, or its cooling is blocked.",
        "Hot parts burn; let it cool before touching.",
        "Ease the power; look at the cooling water or the air path.",
    ),
    "controller_hot": Words(
        "The controller is close to its limit",
        "Long high power, or its cooling is blocked.",
        "It will cut the power back by itself, perhaps at a bad moment.",
        "Ease the power; give its heat sink air or water.",
    ),
    "over_current": Words(
        "More current than the pack is rated for",
        "Too much is asked of the pack.",
        LITHIUM + " The protection may open without further warning.",
        "Ease the power until the current is back inside the rating.",
    ),
    "over_charge_current": Words(
        "The pack is charged faster than it is rated for",
        "Charger, shore and regeneration together put in too much.",
        LITHIUM,
        "Lower the charge current or switch one source off.",
    ),
    "shunt_reversed": Words(
        "The current comes with the wrong sign",
        "The sign in the boat file, or the two sense leads at the shunt, are the wrong way round.",
        SHORT,
        "Believe no charge and no range until it is put right: `keelwatt check` says how.",
    ),
    "reserve": Words(
        "The reserve is reached",
        "The charge is down to what was set aside.",
        "A charge figure is an estimate; the last part goes fastest.",
        "Head for the nearest safe place at the speed that goes furthest; sail ready.",
    ),
    "quiet": Words(
        "Nothing more comes from {subject}",
        "A plug, a wire or the device itself.",
        "Judgements that rest on it have stopped.",
        "Look at its plug and supply; `keelwatt check` shows what arrives.",
    ),
    "controller_fault": Words(
        "The controller reports a fault",
        "See the number in the controller's own manual.",
        "It may cut the power without further warning.",
        "Ease the power, and find the number in the manual.",
    ),
}


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
    """

    span_us: int
    read: frozenset[str]
    loaded: bool


@dataclass
class _Open:
    """A flag that stands. well_us: for how long readings would have shown it, and did not."""

    flag: FlagRecord
    well_us: int = 0
    adopted: bool = False

    @property
    def patience_us(self) -> float:
        """How long that must go on until the flag is over."""
        if self.adopted and self.flag.kind in FOUND_UNDER_LOAD:
            return ADOPTED_S * 1e6
        return CLEAR_LATER_S.get(self.flag.kind, CLEAR_S) * 1e6

    def see_none(self, evidence: Evidence) -> None:
        """Takes a piece of the log in which its cause was not sighted."""
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

    def number(self, key: str, number: int) -> None:
        """Tells the book the number that the log gave a flag."""
        if key in self._open:
            self._open[key].flag = replace(self._open[key].flag, number=number)

    def see(
        self, t_us: int, sightings: list[Sighting], evidence: Evidence | None = None
    ) -> list[FlagEvent]:
        """Takes all that holds now; returns what changed.

        Args:
            evidence: What the piece could have shown; None: everything, since the last time.
        """
        sighted = {sighting.key for sighting in sightings}
        since_us = 0 if self._at_us is None else t_us - self._at_us
        self._at_us = t_us
        events = []
        for sighting in _one_per_key(sightings):
            event = self._see_one(t_us, sighting)
            if event:
                events.append(event)
        for key, held in list(self._open.items()):
            if key in sighted:
                continue
            everything = Evidence(since_us, frozenset(held.flag.channels), loaded=True)
            held.see_none(evidence or everything)
            if held.well_us > held.patience_us:
                flag = replace(held.flag, cleared_us=t_us)
                del self._open[key]
                events.append(FlagEvent("cleared", t_us, flag))
        return events

    def _see_one(self, t_us: int, sighting: Sighting) -> FlagEvent | None:
        held = self._open.get(sighting.key)
        if held is None:
            flag = record(sighting, t_us)
            self._open[sighting.key] = _Open(flag)
            return FlagEvent("raised", t_us, flag)
        held.well_us, held.adopted = 0, False
        if LEVELS.index(sighting.level) <= LEVELS.index(held.flag.level):
            return None
        fresh = record(sighting, held.flag.raised_us)
        held.flag = replace(fresh, number=held.flag.number)
        return FlagEvent("worse", t_us, held.flag)


def record(sighting: Sighting, raised_us: int) -> FlagRecord:
    """The flag that a sighting makes."""
    words = WORDS[sighting.kind]
    subject = sighting.subject[:1].upper() + sighting.subject[1:]
    return FlagRecord(
        number=None,
        key=sighting.key,
        level=sighting.level,
        subject=sighting.subject,
        kind=sighting.kind,
        title=sighting.title or words.title.format(subject=subject),
        evidence=sighting.evidence,
        cause=sighting.cause or words.cause,
        caution=sighting.caution or words.caution,
        first_action=sighting.first_action or words.first_action,
        raised_us=raised_us,
        channels=sighting.channels,
    )


def _one_per_key(sightings: list[Sighting]) -> list[Sighting]:
    best: dict[str, Sighting] = {}
    for sighting in sightings:
        held = best.get(sighting.key)
        if held is None or LEVELS.index(sighting.level) > LEVELS.index(held.level):
            best[sighting.key] = sighting
    return list(best.values())
