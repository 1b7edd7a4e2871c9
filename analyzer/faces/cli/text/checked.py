"""What `keelwatt check` found, as plain text."""

from collections.abc import Sequence

from analyzer.estimation.results import ChannelRow, CheckAnswer, QuestionRow, SourceRow
from analyzer.faces import format, sentences
from analyzer.faces.cli.text.answers import findings
from analyzer.faces.cli.text.layout import as_of, bullets, joined, wrapped


def check(answer: CheckAnswer) -> str:
    """What arrives, what is wrong, what can be answered."""
    moment = as_of(answer.asked_utc_s, answer.data_age_s)
    parts = [joined([f"{answer.boat}.", moment], " "), _ways_in(answer.sources)]
    bad = [row.name for row in answer.sources if row.ok is False]
    fine = "Nothing else is wrong." if bad else "Nothing is wrong with what arrives."
    parts.append(findings(answer.findings, fine))
    asks = sentences.asks(answer)
    parts += [
        _asked("Cannot be answered yet", [row for row in asks if not row.answerable]),
        _asked("Can be answered", [row for row in asks if row.answerable]),
        _wiring(answer),
        _channels(answer.channels),
        wrapped(", ".join(answer.missing_channels), "Expected, not there: "),
        bullets(answer.devices, "Ports and buses found"),
    ]
    return joined(parts)


def _ways_in(rows: Sequence[SourceRow]) -> str:
    lines = [wrapped(f"{row.name}: {format.sentence(row.text)}", f"  {_can(row)} ") for row in rows]
    return "\n".join(["Ways in", *lines]) if rows else ""


def _can(row: SourceRow) -> str:
    """Whether a way in can be recorded, to stand in a column."""
    return "  ?" if row.ok is None else "yes" if row.ok else " no"


def _asked(head: str, rows: Sequence[QuestionRow]) -> str:
    lines = [wrapped(f"{row.question} {format.sentence(row.why)}", "- ") for row in rows]
    return "\n".join([head, *lines]) if rows else ""


def _wiring(answer: CheckAnswer) -> str:
    lines = [wrapped(f"{test.question} {_verdict(test)}", "- ") for test in sentences.tests(answer)]
    return "\n".join(["The wiring", *lines]) if lines else ""


def _verdict(test: sentences.Tested) -> str:
    return f"{format.capital(test.verdict)}: {format.sentence(test.text)}"


def _channels(rows: Sequence[ChannelRow]) -> str:
    shown = [format.reading(row.value, row.unit) for row in rows]
    wide = max(map(len, shown), default=0) + 2
    lines = [
        wrapped(_words(row), f"  {value:<{wide}}") for row, value in zip(rows, shown, strict=True)
    ]
    return "\n".join(["What arrives", *lines]) if rows else ""


def _words(row: ChannelRow) -> str:
    """What it is and how often it comes."""
    often = format.rate(row.rate_hz, row.age_s)
    return f"{row.text}; {often}" if often else row.text
