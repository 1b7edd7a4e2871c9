"""Sentences about another boat, that the pages and the command line both say."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from analyzer.estimation.estimate import Estimate
from analyzer.faces import format, sentences
from logger.units import DAY_S, HOUR_S

if TYPE_CHECKING:
    from analyzer.answers.gain.keys import ChangedKey
    from analyzer.answers.gain.rows import (
        GainAnswer,
        GainRow,
        PlanWhatIf,
        RangeWhatIf,
        TripWhatIf,
        UnsaidGain,
    )


SMALL_M = 185.2  # below a tenth of a mile, by definition, metres are told


def changes(rows: "Sequence[ChangedKey]") -> str:
    """ "With pack.rated_capacity_ah = 200 (the file has 148)"."""
    said = []
    for row in rows:
        was = "the file has none" if row.was is None else f"the file has {_number(row.was)}"
        said.append(f"{row.key} = {_number(row.becomes)} ({was})")
    return f"With {' and '.join(said)}"


def _number(value: float | str) -> str:
    return value if isinstance(value, str) else f"{value:.6g}"


def signed(more: Estimate) -> str:
    """A difference with its range: "+2.4 nmi (+1.9 to +3.0)"; the reason where not known."""
    if more.mid is None or more.low is None or more.high is None:
        return more.reason or format.UNKNOWN
    mid, low, high = (_plus(more, value) for value in (more.mid, more.low, more.high))
    if mid == low == high == _size(more, 0.0):
        return "no difference"
    return f"{mid} ({low} to {high})"


def _plus(more: Estimate, value: float) -> str:
    """A signed figure in the unit that suits the larger end of the range."""
    text = _size(more, abs(value))
    if text == _size(more, 0.0):
        return text
    return f"{'+' if value > 0 else '-'}{text}"


def _size(more: Estimate, value: float) -> str:
    """A figure; metres where miles would show nothing."""
    largest = max(abs(more.low or 0.0), abs(more.high or 0.0))
    if more.unit == "m" and largest < SMALL_M:
        return f"{value:.0f} m"
    if more.unit == "s" and largest > DAY_S:
        return f"{value / HOUR_S:.0f} h"
    return format.value(Estimate(value, None, largest, more.unit))


def range_headline(answer: "RangeWhatIf") -> str:
    """How far with the change, and how much more that is."""
    said, more = changes(answer.changes), answer.distance_more
    if more.mid is None:
        return format.sentence(f"{said}: how far cannot be said: {more.reason}")
    before, after = format.band(answer.as_is.distance), format.band(answer.distance)
    return format.sentence(f"{said} you can go {after} instead of {before}: {_more(more)}")


def _more(more: Estimate) -> str:
    """ "8.1 to 11 nmi more"; nothing where both ends are too small to show."""
    low, high = more.low or 0.0, more.high or 0.0
    if _size(more, max(-low, high)) == _size(more, 0.0):
        return "no difference that shows"
    near, far = (low, high) if low >= 0 else (-high, -low)
    if near >= 0:
        way = "more" if low >= 0 else "less"
        way += " of the whole charge" if more.unit == "frac" else ""
        return f"{_size(more, near)} to {_size(more, far)} {way}, {format.coverage(more.coverage)}"
    ends = f"between {_plus(more, low)} and {_plus(more, high)}"
    return f"{ends}, {format.coverage(more.coverage)}"


def plan_headline(answer: "PlanWhatIf") -> str:
    """How sure the passage is with the change."""
    before, after = answer.as_is.plan.arrives_frac, answer.plan.arrives_frac
    charge = f"charge on arrival: {_more(answer.charge_more)}"
    return format.sentence(
        f"{changes(answer.changes)} the passage is {format.sureness(after)} sure instead of "
        f"{format.sureness(before)} (arriving above the reserve), at the same speeds; {charge}"
    )


def trip_headline(answer: "TripWhatIf") -> str:
    """With what charge the boat would have been back."""
    row, back = answer.trip, answer.charge_end
    trip = f"trip {row.number} of {format.day(row.start_utc_s)}"
    if back.mid is None:
        return format.sentence(f"{changes(answer.changes)}, {trip}: {back.reason}")
    was = sentences.mid_band(row.charge_end)
    return format.sentence(
        f"{changes(answer.changes)} you would have ended {trip} at {sentences.mid_band(back)} "
        f"instead of {was}: {_more(answer.charge_more)}"
    )


def trip_lowest(answer: "TripWhatIf") -> str:
    """How low the charge would have come, and what more the pack would have given."""
    if answer.above_reserve_frac is None:
        return ""
    sure = format.sureness(answer.above_reserve_frac)
    return format.sentence(
        f"the lowest charge on the way would have been {sentences.mid_band(answer.charge_lowest)}, "
        f"above the reserve {sure} sure; out of the pack over the trip: "
        f"{signed(answer.energy_more)}"
    )


_FURTHER = {"charge_known": "Told further", "panel": "A day's sun", "night_load": "A night"}
RANGES = "In brackets: the range that should hold the truth eight times in ten"


def base(answer: "GainAnswer") -> str:
    """What all gains are counted from."""
    text = (
        f"{answer.boat}, from a full pack at {format.knots(answer.speed_water_mps)} through the "
        f"water ({answer.speed_from}), in no stream: {format.band(answer.distance)}"
    )
    if answer.idle.known:
        text += f"; on the load beside the motor alone: {hours(answer.idle)}"
    return text


def hours(idle: Estimate) -> str:
    """A range of hours; days would hide what a load takes."""
    low, high = (round((value or 0.0) / HOUR_S) for value in (idle.low, idle.high))
    return f"{low} to {high} h"


def beside(row: "GainRow") -> list[tuple[str, Estimate]]:
    """The figures of a gain beside its distance, as far as they are known."""
    figures = [("Load lasts", row.idle), ("A year", row.energy_year)]
    return [(name, figure) for name, figure in figures if figure.known]


def rests_on(row: "GainRow") -> str:
    """What a gain rests on, and what would tell more."""
    helps = f". Would tell more: {row.would_help}" if row.would_help else ""
    return f"{format.capital(row.rests_on)}{helps}"


def further(row: "GainRow") -> str:
    """What its distance is: further from a full pack, unless it is gained by the day."""
    return _FURTHER.get(row.measure, "Further")


def no_year(answer: "GainAnswer") -> str:
    """Why no energy of a year is told; empty where one is."""
    why = {
        row.energy_year.reason for row in answer.rows if "a year wants" in row.energy_year.reason
    }
    return f"What is saved in a year cannot be said: {why.pop()}" if why else ""


def unsaid(row: "UnsaidGain") -> str:
    """What cannot be said, why, and which reading would tell."""
    tells = f". What would tell: {row.reading}" if row.reading else ""
    return f"{format.capital(row.text)}: {row.reason}{tells}"
