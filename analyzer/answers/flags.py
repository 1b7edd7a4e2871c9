"""Flags kept in the log, as people see them; and what happens to flags, as it happens."""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from analyzer.answers.grounded import words
from analyzer.estimation.detection import LEVELS
from analyzer.estimation.results import FlagView, to_json
from analyzer.flags.words import WORDS
from analyzer.grounds.decide import charge_lost, grounds
from analyzer.learned.findings import kept
from analyzer.series.log import OpenLog
from logger.store import FlagRecord

BY_CHARGE = ("reserve", "turn_back", "way_home")  # kinds judged by the charge, by definition
OVER_SHOWN_US = 24 * 3600 * 1_000_000  # of log: longer a flag that is over is no news; assumed


def ways_out(log: OpenLog) -> tuple[str, ...]:
    """What displays and programs on board are told, a sentence a way."""
    from analyzer.flags import follow, nmea_out

    lines = nmea_out.told(log.boat, follow.FIGURES_EVERY_S, follow.REPEAT_S)
    out = []
    for way in log.boat.tell:
        if way.kind == "command":
            out.append(f"{way.command[0]} is run whenever a flag is raised, gets worse or is over.")
        elif way.kind == "udp":
            out.append(f"NMEA 0183 goes to {way.host}, UDP port {way.port}: {lines}.")
        else:
            out.append(f"NMEA 0183 is offered at {way.host}, TCP port {way.port}: {lines}.")
    return tuple(out)


def flags(log: OpenLog) -> tuple[FlagView, ...]:
    """All flags: those that stand first, the newest of each first."""
    seen = _judged(log, views(log, log.store.flags()))
    ranked = sorted(seen, key=lambda f: (f.cleared_utc_s is not None, -f.raised_utc_s))
    return tuple(ranked)


def standing(log: OpenLog) -> tuple[FlagView, ...]:
    """The flags that stand, the most urgent first, the newest first among equals."""
    known = (flag for flag in log.store.flags() if flag.cleared_us is None)
    ranked = sorted(known, key=lambda f: (-_urgency(f.level), -f.raised_us))
    return _judged(log, views(log, ranked))


def _judged(log: OpenLog, rows: tuple[FlagView, ...]) -> tuple[FlagView, ...]:
    """Flags that were judged by a charge that is not one of now say so."""
    span = log.store.span()
    stands = [f.kind in BY_CHARGE and f.cleared_utc_s is None for f in rows]
    if span is None or not any(stands):
        return rows
    end_s = span[1] / 1e6
    lost = charge_lost(grounds(log.store, log.boat, span[1] + 1), end_s)
    if lost is None or lost.standing == "assumed":
        return rows
    doubt = f"What it was judged by is not known now: {words(lost, end_s, verb=True)}."
    return tuple(
        replace(f, now=doubt, now_utc_s=end_s) if by else f
        for f, by in zip(rows, stands, strict=True)
    )


def _urgency(level: str) -> int:
    return LEVELS.index(level) if level in LEVELS else -1


def over_unseen(log: OpenLog, end_us: int) -> tuple[FlagView, ...]:
    """Flags over for at most a day before a time, that nobody has said to have seen. [µs]"""
    known = (f for f in log.store.flags() if f.cleared_us is not None and f.seen_us is None)
    return views(log, (f for f in known if (f.cleared_us or 0) > end_us - OVER_SHOWN_US))


def views(log: OpenLog, flags: Iterable[FlagRecord]) -> tuple[FlagView, ...]:
    """Flags with times in seconds of UTC, their age, and what their causes look like now."""
    span = log.store.span()
    age_s = log.store.age_s()
    now_s = None if span is None or age_s is None else span[1] / 1e6 + age_s
    return tuple(_view(log, flag, now_s) for flag in flags)


def _view(log: OpenLog, flag: FlagRecord, now_s: float | None) -> FlagView:
    last = kept(log.store, flag)
    last = last if last and last[1].text != flag.evidence else None
    return FlagView(
        number=flag.number or 0,
        level=flag.level,
        subject=flag.subject,
        kind=flag.kind,
        title=flag.title,
        evidence=flag.evidence,
        cause=flag.cause,
        caution=flag.caution,
        first_action=flag.first_action,
        raised_utc_s=flag.raised_us / 1e6,
        seen_utc_s=_seconds(flag.seen_us),
        cleared_utc_s=_seconds(flag.cleared_us),
        channels=tuple(flag.channels),
        age_s=None if now_s is None else max(now_s - flag.raised_us / 1e6, 0.0),
        now=last[1].text if last else "",
        now_utc_s=_seconds(last[0]) if last else None,
    )


def first_acts(flags: Sequence[FlagView], motor_off: bool = False) -> tuple[str, str]:
    """What standing flags say to do: the first that says "act now", and the first of the others
    but for a notice that something fell silent; empty where there is none.

    Args:
        motor_off: Nothing is said of easing a power that is not drawn.
    """
    urgent = (f for f in flags if f.level == "act now")
    others = (f for f in flags if f.level != "act now")
    heeded = (f for f in others if (f.level, f.kind) != ("notice", "quiet"))
    first, then = (next((_act(f, motor_off) for f in some), "") for some in (urgent, heeded))
    return first, then


def _act(flag: FlagView, motor_off: bool) -> str:
    """What a flag says to do first."""
    said = WORDS.get(flag.kind) if motor_off else None
    return said.motor_off if said and said.motor_off else flag.first_action


def _seconds(t_us: int | None) -> float | None:
    return None if t_us is None else t_us / 1e6


Action = Literal["raised", "worse", "seen", "cleared"]


@dataclass(frozen=True)
class FlagEvent:
    """What happened to a flag, as the user's command gets it."""

    action: Action
    flag: FlagView

    def as_json(self) -> str:
        """One line."""
        return json.dumps(to_json(self), ensure_ascii=False)


@dataclass
class Changes:
    """Compares flags with how they were when last seen."""

    _known: dict[int, FlagView] = field(default_factory=dict)

    def of(self, flags: Sequence[FlagView]) -> list[FlagEvent]:
        """What happened: "raised", "worse", "seen" or "cleared", oldest flag first.

        The first time, flags that stand are raised; those that are over are history.
        """
        out = []
        for flag in sorted(flags, key=lambda f: f.raised_utc_s):
            action = self._action(flag)
            if action is not None:
                out.append(FlagEvent(action, flag))
        self._known = {flag.number: flag for flag in flags}
        return out

    def _action(self, flag: FlagView) -> Action | None:
        before = self._known.get(flag.number)
        if before is None:
            return "raised" if flag.cleared_utc_s is None else None
        if flag.cleared_utc_s is not None:
            return "cleared" if before.cleared_utc_s is None else None
        if flag.level != before.level:
            return "worse"
        seen = flag.seen_utc_s is not None and before.seen_utc_s is None
        return "seen" if seen else None
