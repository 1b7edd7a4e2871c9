"""Paragraphs, lists and tables in the terminal's width."""

import textwrap
from collections.abc import Container, Iterable, Sequence

from analyzer.faces import format, line_breaks
from analyzer.faces.cli.base import terminal

GAP = "  "  # between two columns
NONE: Container[int] = frozenset()
Row = Sequence[str]


def wrapped(text: str, lead: str = "", style: str = "") -> str:
    """Text in lines of the terminal's width, under its lead; each line in that style."""
    if not text:
        return ""
    lines = textwrap.wrap(
        line_breaks.tied(text),
        terminal.width(),
        initial_indent=lead,
        subsequent_indent=" " * len(lead),
        break_on_hyphens=False,
    )
    shown = (line.replace(line_breaks.NO_BREAK, " ") for line in lines)
    return "\n".join(terminal.styled(line, style) for line in shown)


def joined(parts: Iterable[str], between: str = "\n\n") -> str:
    """Parts one after the other, without the empty ones."""
    return between.join(part for part in parts if part)


def bullets(lines: Sequence[str], head: str = "") -> str:
    """A list of sentences, under its head."""
    if not lines:
        return ""
    rows = [wrapped(format.sentence(line), "- ") for line in lines]
    return "\n".join([head, *rows] if head else rows)


def cautions(lines: Sequence[str]) -> str:
    """All cautions as one paragraph."""
    text = " ".join(map(format.sentence, lines))
    return wrapped(text, "Caution: ")


def as_of(utc_s: float | None, age_s: float | None) -> str:
    """The moment that an answer speaks of; empty where nothing was recorded."""
    return "" if utc_s is None else wrapped(f"As of {format.moment(utc_s, age_s)}.")


def named(name: str, text: str) -> str:
    """A fact beside its name; names stand under each other."""
    return wrapped(text, f"  {name:<12}")


def table(heads: Row, rows: Sequence[Row], right: Container[int] = NONE) -> str:
    """Rows under their heads, as `fitted` lays them out."""
    every = [heads, *rows]
    lines = fitted(every, right)
    return "\n".join(lines if has_room(every) else lines[1:])


def has_room(rows: Sequence[Row]) -> bool:
    """Whether the terminal is wide enough for a line a row."""
    wide = _widths(rows)
    between = len(GAP) * (len(wide) - 1)
    return 2 + sum(wide) + between <= terminal.width()


def _widths(rows: Sequence[Row]) -> list[int]:
    columns = zip(*rows, strict=True)
    return [max(map(len, column)) for column in columns]


def fitted(rows: Sequence[Row], right: Container[int] = NONE) -> list[str]:
    """Rows of cells, the first with the heads, each as one text.

    A column is as wide as its widest cell, and two spaces stand between two. Where the terminal
    is too narrow for that, a row is its first cell and, under it, the others with their heads.

    Args:
        right: Numbers of the columns that end, not begin, under each other.
    """
    if not has_room(rows):
        return [_folded(rows[0], row) for row in rows]
    wide = _widths(rows)
    return [_line(row, wide, right) for row in rows]


def _line(row: Row, wide: Sequence[int], right: Container[int]) -> str:
    cells = (
        cell.rjust(width) if number in right else cell.ljust(width)
        for number, (cell, width) in enumerate(zip(row, wide, strict=True))
    )
    return f"  {GAP.join(cells)}".rstrip()


def _folded(heads: Row, row: Row) -> str:
    pairs = zip(heads[1:], row[1:], strict=True)
    said = []
    for head, cell in pairs:
        if cell:
            said.append(wrapped(f"{head} {cell}".strip(), "    "))
    first = row[0].strip()
    if not first.lower().startswith(heads[0].lower()):
        first = f"{heads[0]} {first}"
    return joined([wrapped(first, "  "), *said], "\n")
