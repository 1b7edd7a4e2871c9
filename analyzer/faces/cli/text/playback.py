"""What became of a recording, as text."""

from analyzer.faces import format
from analyzer.faces.cli.text.layout import fitted, wrapped
from logger.account import SHOWN_KINDS, Account, Filled, Part
from logger.units import UNDATED_S

# Causes that counters name -> what a reader calls them.
_WORDS = {
    "checksum": "with a wrong check sum",
    "syntax": "not of their form",
    "length": "of the wrong length",
    "lost_packet": "in several parts, one of them lost",
    "out_of_limits": "beyond what can be",
    "too_many_kinds": "of too many kinds",
    "torn": "torn off at the end",
    "void": "that say they hold nothing",
    "untimed": "without a time",
    "remote": "that only ask",
    "error_frame": "about errors on the bus",
    "unknown_bus": "of a bus that is not in the boat file",
}


def account(answer: Account) -> str:
    """Read, understood, unknown, spoiled; then the channels with their first and last time."""
    lines = [_part(part) for part in answer.parts]
    if answer.channels:
        rows = [(c.name, f"{c.readings:,}", _span(c)) for c in answer.channels]
        lines += ["", wrapped(_heading(answer.channels)), *fitted([("",) * 3, *rows], {1})[1:]]
    return "\n".join(lines)


def _heading(channels: tuple[Filled, ...]) -> str:
    firsts = [c.first_utc_s for c in channels if c.first_utc_s is not None]
    if not firsts or min(firsts) <= UNDATED_S:
        return "Channels filled, and readings of each"
    first = min(firsts)
    zone = format.zone_name(first)
    return f"Channels filled, readings of each, first and last from {format.day(first)} {zone} on"


def _span(channel: Filled) -> str:
    first, last = channel.first_utc_s, channel.last_utc_s
    if first is None or last is None or first <= UNDATED_S:
        return ""
    same_day = format.day(first)[:-5] == format.day(last)[:-5]
    return f"{format.clock(first)} to {format.clock(last) if same_day else format.day(last)}"


def _part(part: Part) -> str:
    said = [f"{part.read:,} read"] if part.read else []
    unknown = sum(part.unknown.values())
    if unknown:
        said.append(f"{unknown:,} of kinds that nothing here decodes ({_kinds(part.unknown)})")
    for cause, count in {**part.passed_over, **part.spoiled}.items():
        said.append(f"{count:,} {_WORDS.get(cause, cause.replace('_', ' '))}")
    return wrapped("; ".join(said) + ".", f"{part.name}: ")


def _kinds(unknown: dict[str, int]) -> str:
    shown = list(unknown.items())[:SHOWN_KINDS]
    more = len(unknown) - len(shown)
    words = ", ".join(f"{kind} {_times(count)}" for kind, count in shown)
    return f"{words} and {more} more" if more else words


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count:,} times"
