"""A flag kept in the log, as people see it; and what happens to flags, as it happens."""

import json
from collections.abc import Sequence
from dataclasses import dataclass, field

from analyzer.estimation.results import FlagView, to_json
from logger.store import FlagRecord


def flag_view(flag: FlagRecord) -> FlagView:
    """The same with times in seconds of UTC."""
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
    )


def _seconds(t_us: int | None) -> float | None:
    return None if t_us is None else t_us / 1e6


@dataclass
class Changes:
    """Compares flags with how they were when last seen."""

    _known: dict[int, FlagView] = field(default_factory=dict)

    def of(self, flags: Sequence[FlagView]) -> list[tuple[str, FlagView]]:
        """What happened: "raised", "worse", "seen" or "cleared", oldest flag first.

        The first time, flags that stand are raised; those that are over are history.
        """
        out = [
            (action, flag)
            for flag in sorted(flags, key=lambda f: f.raised_utc_s)
            if (action := self._action(flag))
        ]
        self._known = {flag.number: flag for flag in flags}
        return out

    def _action(self, flag: FlagView) -> str:
        before = self._known.get(flag.number)
        if before is None:
            return "raised" if flag.cleared_utc_s is None else ""
        if flag.cleared_utc_s is not None:
            return "cleared" if before.cleared_utc_s is None else ""
        if flag.level != before.level:
            return "worse"
        return "seen" if flag.seen_utc_s is not None and before.seen_utc_s is None else ""


def as_json(action: str, flag: FlagView) -> str:
    """One line: {"action": ..., "flag": ...}, as the user's command gets it."""
    return json.dumps({"action": action, "flag": to_json(flag)}, ensure_ascii=False)
