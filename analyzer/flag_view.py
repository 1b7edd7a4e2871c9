"""A flag kept in the log, as people see it."""

from analyzer.results import FlagView
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
