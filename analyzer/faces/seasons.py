"""Sentences about a season, that the pages, the paper and the command line all say."""

from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

from analyzer.errors import BadDates
from analyzer.estimation.estimate import Estimate
from analyzer.faces import format, units
from logger.units import HOUR_S

if TYPE_CHECKING:
    from analyzer.answers.health.trends import Past
    from analyzer.answers.season.rows import (
        DayReason,
        DayRow,
        EnergyRow,
        FoulingCost,
        MonthRow,
        RangeHeld,
        SeasonAnswer,
    )

NAMES = {
    "sun": "From the sun",
    "shore": "From shore",
    "regeneration": "From the turning propeller",
    "motor": "To the motor",
    "hotel": "To the hotel load",
    "cables": "Lost in cables and contactor",
    "left_over": "Not accounted for",
    "pack": "Out of the pack, net",
}
SOURCES = ("sun", "shore", "regeneration")
EARLIEST, LATEST = date(1970, 1, 2), date(2200, 12, 31)  # of logs, by definition
RANGES = "Ranges should hold the truth eight times in ten"
SPEEDS = (
    "under motor, a mile through the water, without hotel load and sun; by the season's steady "
    "motoring and the hull's numbers"
)
MONTHS = (
    "used: out of the pack a mile over the ground under motor, as it was; to compare: at the "
    "season's usual speed through the water, without hotel load and sun"
)


def asked_days(
    year: int | None, first: str | None, last: str | None
) -> tuple[float | None, float | None]:
    """What is asked for in words, in seconds since 1970; see `stretch`.

    Args:
        year: A calendar year; not beside days.
        first, last: Days such as 2026-05-01.
    Raises:
        BadDates: A sentence that says what a day or a stretch wants.
    """
    if year is not None and (first or last):
        raise BadDates("a season is asked for by its year or by its days, not by both")
    begin = _day(first) if first else None
    end = _day(last) if last else None
    if begin and end and end < begin:
        raise BadDates(f"the season's last day, {last}, lies before its first, {first}")
    return stretch(year, begin, end)


def stretch(
    year: int | None, first: date | None, last: date | None
) -> tuple[float | None, float | None]:
    """A season's beginning and end in seconds since 1970; None: as `Log.season` has it.

    Args:
        year: A calendar year, of which days beside it take a part.
        first, last: Both included; None: from the log's beginning, to its end.
    """
    if year is not None:
        begin, end = date(year, 1, 1), date(year, 12, 31)
        first = begin if first is None else max(first, begin)
        last = end if last is None else min(last, end)
    if first is None and last is None:
        return None, None
    start_s = 0.0 if first is None else _midnight(first)
    return start_s, None if last is None else _midnight(last, 1)


def _day(text: str) -> date:
    try:
        return datetime.strptime(text.strip(), "%Y-%m-%d").date()
    except ValueError:
        raise BadDates(f"a day is wanted as year-month-day, 2026-05-01; got {text!r}") from None


def _midnight(day: date, later: int = 0) -> float:
    """Before a day, or so many days later, in the zone that is shown."""
    within = min(max(day, EARLIEST), LATEST) + timedelta(days=later)
    begun = datetime(within.year, within.month, within.day)
    zoned = begun.replace(tzinfo=UTC) if units.now().utc else begun.astimezone()
    return zoned.timestamp()


def period(answer: "SeasonAnswer") -> str:
    """From its first day to its last."""
    first, last = format.date(answer.start_utc_s), format.date(answer.end_utc_s)
    return first if first == last else f"{first} to {last}"


def headline(answer: "SeasonAnswer") -> str:
    """How many trips, how far, how long under motor and under sail."""
    far = f", {format.miles(answer.distance.mid)}" if answer.distance.known else ""
    return (
        f"{format.count(answer.trips, 'trip')}{far}: {hours(answer.motor_s)} under motor, "
        f"{hours(answer.sail_s)} under sail"
    )


def hours(seconds: float) -> str:
    """Hours, so that seasons compare: "85 h"."""
    return f"{format.plain(seconds / HOUR_S)} h" if seconds else "0 h"


def energy_line(answer: "SeasonAnswer") -> str:
    """What the motor took under way and what came back in; empty where nothing is known."""
    rows: dict[str, Estimate] = {row.kind: row.under_way for row in answer.energy}
    motor = rows.get("motor")
    if motor is None or not motor.known:
        return ""
    came = [
        f"{_in_words(kind)} {format.value(rows[kind])}"
        for kind in SOURCES
        if (rows[kind].low or 0.0) > 0
    ]
    back = f"; on the way there came {', '.join(came)}" if came else ""
    return f"The motor took {format.value(motor)}{back}"


def _in_words(kind: str) -> str:
    return NAMES[kind][:1].lower() + NAMES[kind][1:]


def energies(rows: "Sequence[EnergyRow]") -> "list[tuple[str, str, str]]":
    """Name, on trips, and alongside, as people read them."""
    return [(NAMES[row.kind], _told(row.under_way), _told(row.alongside)) for row in rows]


def _told(value: Estimate) -> str:
    return format.band(value) if value.known else value.reason


def month_name(row: "MonthRow") -> str:
    """ "May 2026"."""
    return format.capital(format.month(row.start_utc_s))


def fouling_lines(cost: "FoulingCost") -> Iterator[str]:
    """What growth cost, since when, and how it is known."""
    if cost.cleaned_utc_s is not None:
        first, last = (format.date(t) for t in cost.cleaned_utc_s)
        yield (
            f"the bottom was cleaned between {first} and {last}, by the speed that came back at "
            f"the same power: {format.band(cost.given_back)}"
        )
    elif cost.since_utc_s is not None:
        yield (
            "no cleaning shows in the log; growth is counted from its first trips on, "
            f"{format.date(cost.since_utc_s)}"
        )
    if not cost.speed.known:
        if cost.speed.reason != cost.sentence:  # said once
            yield cost.speed.reason
        return
    yield f"speed at the same power since then: {change(cost.speed)}"
    yield f"power for the same speed now: {change(cost.power)}"
    if cost.energy.known:
        yield f"energy under motor that it cost since then: {change(cost.energy)}"
    else:
        yield f"what it cost in energy cannot be said: {cost.energy.reason}"


def change(value: Estimate) -> str:
    """A difference with its range: "-6 % (-9 to -3 %)"; the reason where it is not known."""
    if value.mid is None or value.low is None or value.high is None:
        return value.reason or format.UNKNOWN
    unit = " %"
    by = 0.01
    if value.unit == "Wh":
        unit, by = " kWh", 1000.0
    mid, low, high = (_signed(one / by) for one in (value.mid, value.low, value.high))
    return f"{mid}{unit} ({low} to {high}{unit})"


def _signed(number: float) -> str:
    text = format.plain(abs(number))
    if float(text) == 0:
        return "0"
    return f"{'+' if number > 0 else '-'}{text}"


def day_line(row: "DayRow") -> str:
    """A day's figures: "12 Aug 2026: 290 Wh/nmi, 27 % less than the season's mean"."""
    share = row.against_season
    way = "less" if share < 0 else "more"
    return (
        f"{format.consumption(row.consumption_wh_per_m)} over {format.miles(row.motor_m)} under "
        f"motor, {abs(share) * 100:.0f} % {way} than the season's mean"
    )


def reason(one: "DayReason") -> str:
    """Why, and how much of it."""
    return one.text if one.share is None else f"{one.text}: {change(one.share)}"


def held_lines(held: "RangeHeld") -> Iterator[str]:
    """How the range answers held."""
    yield held.sentence
    if held.looked_at < held.trips:
        yield (
            f"{held.looked_at} of {held.trips} trips were held against the log; while the pages "
            "are served and nothing new comes in, a trip a minute follows; `keelwatt season "
            "--look-back` does all at once"
        )


def pack_lines(answer: "SeasonAnswer") -> Iterator[str]:
    """What the pack was and became, at 25 °C."""
    pack = answer.pack
    for text, rows, year in (
        ("capacity", pack.capacity, pack.capacity_year),
        ("resistance against a new pack's", pack.resistance, pack.resistance_year),
    ):
        if not rows:
            yield f"{text}: the season did not show it"
            continue
        now = f"{text} at 25 °C: {_first_last(rows)}"
        yield f"{now}; a year: {change(year)}" if year.known else f"{now}; {year.reason}"


def _first_last(rows: "Sequence[Past]") -> str:
    first, last = format.band(rows[0].value), format.band(rows[-1].value)
    if len(rows) == 1:
        return last
    return f"{first} in {format.month(rows[0].t_utc_s)}, {last} in {format.month(rows[-1].t_utc_s)}"
