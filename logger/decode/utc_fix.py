"""UTC as devices send it: dates and times to fixes, few enough to store."""

from datetime import UTC, date, datetime

from logger.reading import UtcFix
from logger.units import DAY_US

EPOCH = date(1970, 1, 1)
# A receiver's date is passed on anew so soon after a jump, and not oftener; assumed.
AFTER_JUMP_US, SOON_US = 60_000_000, 10_000_000


def utc_us(days: int, seconds_of_day: float) -> int:
    """Days since 1970-01-01 and a time of day as UTC microseconds."""
    return days * DAY_US + round(seconds_of_day * 1e6)


def days_of(day: date) -> int:
    """Days since 1970-01-01."""
    return (day - EPOCH).days


def full_year(two_digits: int) -> int:
    """The year of a two-digit RMC date: 80-99 are 1980-1999, as GPS time begins in 1980."""
    return two_digits + (1900 if two_digits >= 80 else 2000)


def now_us() -> int:
    """The system clock's UTC in microseconds."""
    return int(datetime.now(UTC).timestamp() * 1e6)


class FixSieve:
    """Lets the first fix through, then those that say something new.

    Args:
        jump_s: A fix whose offset differs by more than this from the last one is let through.
        every_s: So is one this long after the last; in the minute after a jump, one each ten
            seconds, so that the log can soon tell which date was the wrong one.
    """

    def __init__(self, jump_s: float = 0.5, every_s: float = 600.0) -> None:
        self._jump_us, self._every_us = jump_s * 1e6, every_s * 1e6
        self._last: UtcFix | None = None
        self._jumped_us: int | None = None

    def offer(self, t_us: int, utc: int, source: str, uncertainty_s: float) -> UtcFix | None:
        """The fix, or None where it says nothing new."""
        last = self._last
        if last:
            moved_us = abs((utc - t_us) - (last.utc_us - last.t_us))
            if moved_us > self._jump_us:
                self._jumped_us = t_us
            elif t_us - last.t_us < self._apart_us(t_us):
                return None
        self._last = UtcFix(t_us, utc, source, uncertainty_s)
        return self._last

    def _apart_us(self, t_us: int) -> float:
        jumped_us = self._jumped_us
        lately = jumped_us is not None and t_us - jumped_us < AFTER_JUMP_US
        return min(SOON_US, self._every_us) if lately else self._every_us
