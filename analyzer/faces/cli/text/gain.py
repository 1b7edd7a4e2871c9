"""What another boat would do, as plain text: the difference first, then what it rests on."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from analyzer.estimation.estimate import Estimate
from analyzer.faces import format, gains
from analyzer.faces.cli.text import answers, passage
from analyzer.faces.cli.text.answers import wrapped

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
    before, k = answer.as_is, answer.as_is.distance
    rows = [
        ("Goes", k, answer.distance, answer.distance_more),
        ("Lasts", before.duration, answer.duration, answer.duration_more),
    ]
    lines = [wrapped(gains.range_headline(answer), style="bold"), _table(rows, answer.power_more)]
    if answer.home is not None and before.home is not None:
        was, now = (format.sureness(one.can_return_frac) for one in (before.home, answer.home))
        lines.append(wrapped(f"Home if you turn now: {now} sure, {was} as the boat is."))
    lines += [_foot(answer.rests_on, answer.cautions), AS_IS, answers.range_left(before)]
    return "\n\n".join(line for line in lines if line)


def plan_what_if(answer: "PlanWhatIf") -> str:
    """A passage with the change, beside the boat as it is."""
    before, after = answer.as_is.plan, answer.plan
    rows = [
        ("Uses", before.energy, after.energy, answer.energy_more),
        ("Charge", before.charge, after.charge, answer.charge_more),
    ]
    lines = [wrapped(gains.plan_headline(answer), style="bold"), _table(rows)]
    lines += [_foot(answer.rests_on, answer.cautions), AS_IS, passage.plan(answer.as_is)]
    return "\n\n".join(line for line in lines if line)


def trip_what_if(answer: "TripWhatIf") -> str:
    """The trip that was, with the change."""
    lines = [
        wrapped(gains.trip_headline(answer), style="bold"),
        wrapped(gains.trip_lowest(answer)),
        _foot(answer.rests_on, answer.cautions),
    ]
    return "\n\n".join(line for line in lines if line)


def _table(
    rows: Sequence[tuple[str, Estimate, Estimate, Estimate]], power: Estimate | None = None
) -> str:
    """As it is, changed, and the difference, one line each."""
    lines = []
    for name, before, after, more in rows:
        lines.append(f"  {name:<8}{format.band(before)}, changed {format.band(after)}")
        lines.append(f"  {'':<8}difference {gains.signed(more)}")
    if power is not None:
        lines.append(f"  {'Draws':<8}difference {gains.signed(power)}")
    return "\n".join(lines)


def _foot(rests_on: Sequence[str], cautions: Sequence[str]) -> str:
    lines = [wrapped(format.sentence(text), "- ") for text in rests_on]
    lines += [wrapped(format.sentence(text), "Caution: ") for text in cautions]
    return "\n".join(lines)


def gain(answer: "GainAnswer") -> str:
    """What would help most, the largest gain first."""
    parts = [wrapped(format.sentence(gains.base(answer)), style="bold")]
    parts += [_gain(number, row) for number, row in enumerate(answer.rows, start=1)]
    said = [gains.RANGES, gains.no_year(answer)]
    parts.append(wrapped(" ".join(format.sentence(text) for text in said if text)))
    if answer.unsaid:
        lines = [wrapped(format.sentence(gains.unsaid(row)), "- ") for row in answer.unsaid]
        parts.append("\n".join(["Not said from this log", *lines]))
    parts.append("\n".join(wrapped(format.sentence(t), "Caution: ") for t in answer.cautions))
    return "\n\n".join(parts)


def _gain(number: int, row: "GainRow") -> str:
    lines = [wrapped(format.capital(row.text), f"{number:>2}. ", "bold")]
    figures = [(gains.further(row), row.distance), *gains.beside(row)]
    for name, figure in figures:
        why = f", {figure.reason}" if figure.known and figure.reason else ""
        lines.append(wrapped(f"{gains.signed(figure)}{why}", f"    {name:<14}"))
    lines.append(wrapped(format.sentence(gains.rests_on(row)), "    "))
    return "\n".join(lines)
