"""What another boat would do, as plain text: the difference first, then what it rests on."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from analyzer.estimation.estimate import Estimate
from analyzer.faces import format, gains
from analyzer.faces.cli.text import answers, layout, passage
from analyzer.faces.cli.text.layout import joined, named, wrapped

if TYPE_CHECKING:
    from analyzer.answers.gain.rows import (
        GainAnswer,
        GainRow,
        PlanWhatIf,
        RangeWhatIf,
        TripWhatIf,
    )

AS_IS = "The boat as it is"


def range_what_if(answer: "RangeWhatIf") -> str:
    """How far with the change, beside the boat as it is."""
    before = answer.as_is
    rows = [
        ("Goes", before.distance, answer.distance, answer.distance_more),
        ("Lasts", before.duration, answer.duration, answer.duration_more),
    ]
    headline = gains.range_headline(answer)
    parts = [
        wrapped(headline, style="bold"),
        _table(rows, answer.power_more),
    ]
    if answer.home is not None and before.home is not None:
        was = format.sureness(before.home.can_return_frac)
        now = format.sureness(answer.home.can_return_frac)
        parts.append(wrapped(f"Home if you turn now: {now} sure, {was} as the boat is."))
    parts.append(_foot(answer.rests_on, answer.cautions))
    parts += [AS_IS, answers.range_left(before)]
    return joined(parts)


def plan_what_if(answer: "PlanWhatIf") -> str:
    """A passage with the change, beside the boat as it is."""
    before = answer.as_is.plan
    after = answer.plan
    rows = [
        ("Uses", before.energy, after.energy, answer.energy_more),
        ("Charge", before.charge, after.charge, answer.charge_more),
    ]
    headline = gains.plan_headline(answer)
    parts = [
        wrapped(headline, style="bold"),
        _table(rows),
        _foot(answer.rests_on, answer.cautions),
        AS_IS,
        passage.plan(answer.as_is),
    ]
    return joined(parts)


def trip_what_if(answer: "TripWhatIf") -> str:
    """The trip that was, with the change."""
    parts = [
        wrapped(gains.trip_headline(answer), style="bold"),
        wrapped(gains.trip_lowest(answer)),
        _foot(answer.rests_on, answer.cautions),
    ]
    return joined(parts)


def _table(
    rows: Sequence[tuple[str, Estimate, Estimate, Estimate]], power: Estimate | None = None
) -> str:
    """As it is, changed, and the difference, one line each."""
    lines = []
    for name, before, after, more in rows:
        was = format.band(before)
        now = format.band(after)
        lines.append(named(name, f"{was}, changed {now}"))
        lines.append(named("", f"difference {gains.signed(more)}"))
    if power is not None:
        lines.append(named("Draws", f"difference {gains.signed(power)}"))
    return "\n".join(lines)


def _foot(rests_on: Sequence[str], cautions: Sequence[str]) -> str:
    lines = [wrapped(format.sentence(text), "- ") for text in rests_on]
    return joined([*lines, layout.cautions(cautions)], "\n")


def gain(answer: "GainAnswer") -> str:
    """What would help most, the largest gain first."""
    headline = format.sentence(gains.base(answer))
    parts = [wrapped(headline, style="bold")]
    parts += [_gain(number, row) for number, row in enumerate(answer.rows, start=1)]
    said = [gains.RANGES, gains.no_year(answer)]
    sentences = [format.sentence(text) for text in said if text]
    parts.append(wrapped(" ".join(sentences)))
    if answer.unsaid:
        unsaid = [gains.unsaid(row) for row in answer.unsaid]
        parts.append("Not said from this log\n" + _foot(unsaid, ()))
    parts += [_foot((), answer.cautions), layout.as_of(answer.asked_utc_s, answer.data_age_s)]
    return joined(parts)


def _gain(number: int, row: "GainRow") -> str:
    lines = [wrapped(format.capital(row.text), f"{number:>2}. ", "bold")]
    figures = [(gains.further(row), row.distance), *gains.beside(row)]
    for name, figure in figures:
        why = f", {figure.reason}" if figure.known and figure.reason else ""
        text = f"{gains.signed(figure)}{why}"
        lines.append(wrapped(text, f"    {name:<14}"))
    rests_on = format.sentence(gains.rests_on(row))
    lines.append(wrapped(rests_on, "    "))
    return "\n".join(lines)
