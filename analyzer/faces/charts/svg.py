"""Charts over time as SVG, drawn in black and white: lines differ by their dashes."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from textwrap import wrap

from analyzer.faces.charts.elements import (
    TICKS_S,
    Values,
    bar,
    clock,
    dot,
    faint,
    picture,
    stroke,
    words,
)
from analyzer.faces.charts.scale import Axis, path

# Layout in pixels, assumed.
WIDTH, HEIGHT, LEGEND_ROW = 720, 174, 16
LEFT, RIGHT, TOP, BOTTOM = 52, 708, 24, 150
MANY_DAYS_S = 8 * 86400.0  # beyond it days no longer fit under the chart; assumed
MONTH_PX = 50.0  # wide, a month with its year at this size; assumed
MOST_MONTHS = 9  # named under a chart, so that they fit beside each other; assumed
CHARACTER = 6.0  # about the width of one at this size, assumed


@dataclass(frozen=True)
class Line:
    """One line of a chart; None is a gap."""

    text: str
    values: Values


@dataclass(frozen=True)
class Marks:
    """What is drawn beside lines, at the same times: bars from low to high, dots; None is none."""

    bars_text: str
    low: Values
    high: Values
    dots_text: str = ""
    dots: Values = ()


@dataclass(frozen=True)
class _Frame:
    """Where times and values lie on a chart."""

    first_s: float
    last_s: float
    axis: Axis

    def x(self, t_utc_s: float) -> float:
        """Across the picture."""
        lasts_s = max(self.last_s - self.first_s, 1e-9)
        return LEFT + (t_utc_s - self.first_s) / lasts_s * (RIGHT - LEFT)

    def y(self, value: float) -> float:
        """Down the picture."""
        return BOTTOM - self.axis.share(value) * (BOTTOM - TOP)


def chart(
    title: str,
    t_utc_s: Sequence[float],
    lines: Sequence[Line],
    least_span: float = 0.0,
    marks: Marks | None = None,
) -> str:
    """One chart over the trip's time; an empty text where nothing was measured.

    Args:
        t_utc_s: Of each value, rising. [s]
        least_span: The axis covers at least this much, so that a calm line looks calm.
    """
    shown = [line.values for line in lines]
    if marks:
        shown += [marks.low, marks.high, marks.dots]
    known = [value for values in shown for value in values if value is not None]
    if not known or len(t_utc_s) < 2:
        return ""
    axis = Axis.holding(min(known), max(known), 4, max(least_span, 1e-3))
    frame = _Frame(t_utc_s[0], t_utc_s[-1], axis)
    at_x = [frame.x(t) for t in t_utc_s]
    parts = [words(LEFT, 15, title, "start"), *_levels(frame), *_times(frame)]
    if marks:
        parts += _bars(at_x, marks, frame)
    for number, line in enumerate(lines):
        heights = [None if value is None else frame.y(value) for value in line.values]
        drawn = list(zip(at_x, heights, strict=True))
        parts.append(stroke(path(drawn), number))
    if marks and marks.dots:
        parts += _dots(at_x, marks.dots, frame)
    if len(lines) < 2 and not marks:
        return picture(WIDTH, HEIGHT, parts)
    legend, rows = _legend([line.text for line in lines], marks)
    return picture(WIDTH, HEIGHT + rows * LEGEND_ROW, parts + legend)


def _levels(frame: _Frame) -> Iterator[str]:
    """Lines at round values, with their numbers."""
    for level in frame.axis.levels():
        yield faint(f"M{LEFT} {frame.y(level):.1f}H{RIGHT}")
        yield words(LEFT - 6, frame.y(level) + 4, f"{level:g}", "end")


def _bars(at_x: Sequence[float], marks: Marks, frame: _Frame) -> Iterator[str]:
    for x, low, high in zip(at_x, marks.low, marks.high, strict=True):
        if low is not None and high is not None:
            yield bar(x, frame.y(high), frame.y(low))


def _dots(at_x: Sequence[float], values: Values, frame: _Frame) -> Iterator[str]:
    for x, value in zip(at_x, values, strict=True):
        if value is not None:
            yield dot(x, frame.y(value))


def _times(frame: _Frame) -> Iterator[str]:
    """Clock times under the chart; months where it spans many days."""
    first, last = frame.first_s, frame.last_s
    if last - first > MANY_DAYS_S:
        yield from _months(frame)
        return
    apart = next((s for s in TICKS_S if (last - first) / s <= 8), TICKS_S[-1])
    for k in range(math.ceil(first / apart), math.floor(last / apart) + 1):
        x = frame.x(k * apart)
        yield f'<path d="M{x:.1f} {BOTTOM}v4" stroke="#000" stroke-width="0.8"/>'
        yield words(x, BOTTOM + 17, clock(k * apart), "middle")
    yield words(RIGHT, 15, "times UTC", "end")


def _months(frame: _Frame) -> Iterator[str]:
    """The beginnings of months under the chart."""
    first, last = (datetime.fromtimestamp(t, UTC) for t in (frame.first_s, frame.last_s))
    months = range(first.year * 12 + first.month - 1, last.year * 12 + last.month)
    each = -(-len(months) // MOST_MONTHS)
    for month in months[::each]:
        began = datetime(month // 12, month % 12 + 1, 1, tzinfo=UTC)
        x = frame.x(max(began.timestamp(), frame.first_s))
        yield f'<path d="M{x:.1f} {BOTTOM}v4" stroke="#000" stroke-width="0.8"/>'
        if x + MONTH_PX <= RIGHT or month == months[0]:
            yield words(x, BOTTOM + 17, f"{began:%b %Y}", "start")


def _legend(texts: Sequence[str], marks: Marks | None) -> tuple[list[str], int]:
    """What each line and mark is, in rows under the chart; and how many rows."""
    items = [(26, text) for text in texts]
    if marks:
        items += [(8, marks.bars_text), *([(8, marks.dots_text)] if marks.dots else [])]
    parts, x, y = [], float(LEFT), BOTTOM + 29
    for number, (wide, text) in enumerate(items):
        whole = wide + 20 + CHARACTER * len(text)
        if x > LEFT and x + whole > RIGHT:
            x, y = float(LEFT), y + LEGEND_ROW
        if number < len(texts):
            parts.append(stroke(f"M{x:.0f} {y}h{wide}", number))
        elif number == len(texts):
            parts.append(bar(x + 4, y - 6, y + 5))
        else:
            parts.append(dot(x + 4, y))
        parts.append(words(x + wide + 5, y + 4, text, "start"))
        x += whole
    return parts, (y - BOTTOM - 29) // LEGEND_ROW + 1


def stacked(title: str, text: str, pictures: Sequence[str]) -> str:
    """Pictures below each other as one, under a title and some lines of text."""
    lines = [title, *wrap(text, round((RIGHT - LEFT) / CHARACTER))]
    tall = 18 * len(lines) + 8
    parts = [words(LEFT, 18 * k + 16, line, "start") for k, line in enumerate(lines)]
    for one in pictures:
        parts.append(one.replace("<svg ", f'<svg y="{tall}" ', 1))
        tall += int(one.split('height="')[1].split('"')[0])
    return picture(WIDTH, tall, parts)
