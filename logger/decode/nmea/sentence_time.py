"""UTC in NMEA 0183 sentences, and a monotonic clock from it for recordings without times."""

from datetime import date

from logger.decode.utc_fix import FixSieve, days_of, full_year
from logger.reading import UtcFix
from logger.units import DAY_US

_TIME_FIELD = {"RMC": 0, "GGA": 0, "GLL": 4, "ZDA": 0}  # NMEA 0183


def time_of_day_us(kind: str, data: list[str]) -> int | None:
    """A sentence's hhmmss.sss in µs since midnight; None where it has none.

    Raises:
        ValueError: The field is no time.
    """
    place = _TIME_FIELD.get(kind)
    text = data[place] if place is not None and place < len(data) else ""
    if not text:
        return None
    whole = text[:6]
    if len(whole) < 6 or not whole.isdigit():
        raise ValueError(text)
    hours, minutes, seconds = int(whole[:2]), int(whole[2:4]), int(whole[4:])
    if hours > 23 or minutes > 59 or seconds > 60:  # 60: a leap second
        raise ValueError(text)
    part = float("0" + text[6:]) if text[6:] else 0.0
    return (hours * 3600 + minutes * 60 + seconds) * 1_000_000 + round(part * 1e6)


def date_days(kind: str, data: list[str]) -> int | None:
    """A sentence's date in days since 1970; None where it has none.

    Raises:
        ValueError: The fields are no date.
    """
    if kind == "RMC" and len(data) > 8 and data[8] and data[1] == "A":
        text = data[8]
        return days_of(date(full_year(int(text[4:6])), int(text[2:4]), int(text[:2])))
    if kind == "ZDA" and len(data) > 3 and all(data[1:4]):
        return days_of(date(int(data[3]), int(data[2]), int(data[1])))
    return None


class SentenceUtc:
    """Fixes from sentences that carry date and time."""

    def __init__(self) -> None:
        self._sieve = FixSieve()

    def offer(self, kind: str, data: list[str], t_us: int) -> UtcFix | None:
        """A fix where the sentence says something new. Raises ValueError for a bad field."""
        if kind not in ("RMC", "ZDA"):
            return None
        day, moment = date_days(kind, data), time_of_day_us(kind, data)
        if day is None or moment is None:
            return None
        return self._sieve.offer(t_us, day * DAY_US + moment, "gnss", 0.5)


class SentenceClock:
    """The time of each sentence of a recording whose lines carry no times.

    The sentences' own UTC moves the clock; sentences without a time have the last one. The clock
    never goes back: where the receiver's time does, it stands until the next step forward.
    """

    def __init__(self) -> None:
        self.t_us = 0
        self._last: int | None = None  # µs since midnight, or since 1970 where a date is known
        self._days: int | None = None

    def advance(self, kind: str, data: list[str]) -> int:
        """Monotonic µs of this sentence, from 0 at the first that has a time."""
        moment = time_of_day_us(kind, data)
        if moment is None:
            return self.t_us
        days = date_days(kind, data)
        previous = self._last
        if previous is not None:
            self.t_us += self._step(previous, moment, days)
        if days is not None:
            self._days = days
        self._last = moment
        return self.t_us

    def _step(self, previous: int, moment: int, days: int | None) -> int:
        step = moment - previous
        if days is not None and self._days is not None:
            between = (days - self._days) * DAY_US
            step += between if days != self._days else 0
        elif step < -DAY_US // 2:
            step += DAY_US
            if self._days is not None:
                self._days += 1
        return max(step, 0)
