"""Line charts and a track map as SVG, drawn in black and white: lines differ by their dashes."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from html import escape
from itertools import pairwise
from textwrap import wrap

from analyzer.faces.charts.scale import Axis, nice_step, path
from logger.units import NMI

# Layout in pixels, dashes and the steps between clock times: assumed.
WIDTH, HEIGHT, LEGEND_ROW = 720, 174, 16
LEFT, RIGHT, TOP, BOTTOM = 52, 708, 24, 150
DASHES = ("", "7 3", "2 3", "9 3 2 3", "1 2")
TICKS_S = (60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 21600, 43200, 86400)
CHARACTER = 6.0  # about the width of one at this size, assumed
Values = Sequence[float | None]


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
    more = (marks.low, marks.high, marks.dots) if marks else ()
    known = [v for values in (*(ln.values for ln in lines), *more) for v in values if v is not None]
    if not known or len(t_utc_s) < 2:
        return ""
    axis = Axis.holding(min(known), max(known), 4, max(least_span, 1e-3))
    across = (RIGHT - LEFT) / max(t_utc_s[-1] - t_utc_s[0], 1e-9)
    at_x = [LEFT + (t - t_utc_s[0]) * across for t in t_utc_s]

    def y(value: float) -> float:
        return BOTTOM - axis.share(value) * (BOTTOM - TOP)

    parts = [_text(LEFT, 15, title, "start")]
    for level in axis.levels():
        parts.append(f'<path d="M{LEFT} {y(level):.1f}H{RIGHT}" stroke="#bbb" stroke-width="0.6"/>')
        parts.append(_text(LEFT - 6, y(level) + 4, f"{level:g}", "end"))
    parts += _times(t_utc_s, at_x[0], across)
    for x, a, b in zip(at_x, marks.low, marks.high, strict=True) if marks else ():
        if a is not None and b is not None:
            parts.append(_bar(x, y(b), y(a)))
    for number, line in enumerate(lines):
        drawn = [(x, None if v is None else y(v)) for x, v in zip(at_x, line.values, strict=True)]
        parts.append(_stroke(path(drawn), number))
    for x, v in zip(at_x, marks.dots, strict=True) if marks and marks.dots else ():
        if v is not None:
            parts.append(_dot(x, y(v)))
    if len(lines) < 2 and not marks:
        return _svg(WIDTH, HEIGHT, parts)
    legend, rows = _legend([line.text for line in lines], marks)
    return _svg(WIDTH, HEIGHT + rows * LEGEND_ROW, parts + legend)


def _times(t_utc_s: Sequence[float], left: float, across: float) -> list[str]:
    """Clock times under the chart."""
    first, last = t_utc_s[0], t_utc_s[-1]
    apart = next((s for s in TICKS_S if (last - first) / s <= 8), TICKS_S[-1])
    parts = []
    for k in range(math.ceil(first / apart), math.floor(last / apart) + 1):
        x = left + (k * apart - first) * across
        parts.append(f'<path d="M{x:.1f} {BOTTOM}v4" stroke="#000" stroke-width="0.8"/>')
        parts.append(_text(x, BOTTOM + 17, _clock(k * apart), "middle"))
    return [*parts, _text(RIGHT, 15, "times UTC", "end")]


def _clock(t_utc_s: float) -> str:
    return f"{datetime.fromtimestamp(t_utc_s, UTC):%H:%M}"


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
            parts.append(_stroke(f"M{x:.0f} {y}h{wide}", number))
        elif number == len(texts):
            parts.append(_bar(x + 4, y - 6, y + 5))
        else:
            parts.append(_dot(x + 4, y))
        parts.append(_text(x + wide + 5, y + 4, text, "start"))
        x += whole
    return parts, (y - BOTTOM - 29) // LEGEND_ROW + 1


def track(
    latitude_deg: Values,
    longitude_deg: Values,
    t_utc_s: Sequence[float] = (),
    motoring: Sequence[bool] = (),
    size: int = 420,
) -> str:
    """The track in nautical miles east and north of its start; empty where there is none.

    Args:
        t_utc_s, motoring: Of each fix; the track is dashed where the motor was off.
    """
    on = list(motoring) or [True] * len(latitude_deg)
    when: Sequence[float | None] = list(t_utc_s) or [None] * len(latitude_deg)
    fixes = [(a, o, t, m) for a, o, t, m in zip(latitude_deg, longitude_deg, when, on, strict=True)
             if a is not None and o is not None]  # fmt: skip
    if len(fixes) < 2:
        return ""
    lat0, lon0 = fixes[0][0], fixes[0][1]
    # Metres in a degree on a sphere of 6 371 009 m (IUGG mean radius); a map for the eye.
    degree_nmi = math.radians(1) * 6371009 / NMI
    east = [(o - lon0) * degree_nmi * math.cos(math.radians(lat0)) for _, o, _, _ in fixes]
    north = [(a - lat0) * degree_nmi for a, _, _, _ in fixes]
    paper = _Paper.around(east, north, size)
    points = [paper.at(e, n) for e, n in zip(east, north, strict=True)]
    parts = paper.grid()
    for number, under_motor in enumerate((True, False)):
        parts.append(_stroke(_pieces(points, [m is under_motor for *_, m in fixes]), number))
    parts += _hours(points, [t for _, _, t, _ in fixes])
    parts += [_dot(*points[0]), _label(points[0], "start", 16), _ring(points[-1])]
    parts.append(_label(points[-1], "end", -8))
    parts.append(_text(paper.wide - 6, 14, "north up; nautical miles from the start", "end"))
    return _svg(round(paper.wide), round(paper.tall), parts)


@dataclass(frozen=True)
class _Paper:
    """Where miles east and north lie on the map; ground it covers: west, south, east, north."""

    west: float
    south: float
    scale: float
    wide: float
    tall: float

    @classmethod
    def around(cls, east: Sequence[float], north: Sequence[float], size: int) -> "_Paper":
        span = max(max(east) - min(east), max(north) - min(north), 0.05) * 1.12
        scale = size / span
        across = max((max(east) - min(east)) * 1.12, 0.75 * span)
        along = max((max(north) - min(north)) * 1.12, 0.4 * span)
        west = (max(east) + min(east) - across) / 2
        south = (max(north) + min(north) - along) / 2
        return cls(west, south, scale, across * scale, along * scale)

    def at(self, east: float, north: float) -> tuple[float, float]:
        return (east - self.west) * self.scale, self.tall - (north - self.south) * self.scale

    def grid(self) -> list[str]:
        step = nice_step(max(self.wide, self.tall) / self.scale, 5)
        parts = []
        ends = self.west + self.wide / self.scale, self.south + self.tall / self.scale
        for k in range(math.ceil(self.west / step), math.floor(ends[0] / step) + 1):
            x = self.at(k * step, 0)[0]
            parts.append(f'<path d="M{x:.1f} 0v{self.tall:.1f}" stroke="#bbb" stroke-width="0.6"/>')
            parts.append(_text(x + 3, self.tall - 5, _miles(k * step, "E", "W"), "start"))
        for k in range(math.ceil(self.south / step), math.floor(ends[1] / step) + 1):
            y = self.at(0, k * step)[1]
            parts.append(f'<path d="M0 {y:.1f}h{self.wide:.1f}" stroke="#bbb" stroke-width="0.6"/>')
            parts.append(_text(3, y - 3, _miles(k * step, "N", "S"), "start"))
        return parts


def _miles(value: float, positive: str, negative: str) -> str:
    return f"{abs(value):g} {positive if value > 0 else negative}" if abs(value) > 1e-9 else "0"


def _hours(
    points: Sequence[tuple[float, float]], when: Sequence[float | None], most: int = 8
) -> list[str]:
    """Clock times along the track."""
    known = [(p, t) for p, t in zip(points, when, strict=True) if t is not None]
    if len(known) < 2:
        return []
    span = known[-1][1] - known[0][1]
    apart = next((s for s in TICKS_S if span / s <= most), TICKS_S[-1])
    parts = []
    for (_, before), (p, t) in pairwise(known):
        if math.floor(before / apart) < math.floor(t / apart):
            parts += [_tick(p), _label(p, _clock(math.floor(t / apart) * apart), 12)]
    return parts


def _label(point: tuple[float, float], text: str, below: float) -> str:
    return _text(point[0] + 6, point[1] + below, text, "start")


def _tick(point: tuple[float, float]) -> str:
    return f'<path d="M{point[0] - 3:.1f} {point[1]:.1f}h6" stroke="#000" stroke-width="2.5"/>'


def _ring(point: tuple[float, float]) -> str:
    return (
        f'<circle cx="{point[0]:.1f}" cy="{point[1]:.1f}" r="5" fill="none" stroke="#000" '
        'stroke-width="1.5"/>'
    )


def _dot(x: float, y: float) -> str:
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.5" fill="#000"/>'


def _bar(x: float, top: float, bottom: float) -> str:
    return f'<path d="M{x:.1f} {top:.1f}V{bottom:.1f}" stroke="#bbb" stroke-width="6"/>'


def _pieces(points: Sequence[tuple[float, float]], chosen: Sequence[bool]) -> str:
    """The stretches of a path that end at a chosen point."""
    out, joined = [], False
    for (before, point), take in zip(pairwise(points), chosen[1:], strict=True):
        if take and not joined:
            out.append(f"M{before[0]:.1f} {before[1]:.1f}")
        if take:
            out.append(f"L{point[0]:.1f} {point[1]:.1f}")
        joined = take
    return "".join(out)


def _stroke(d: str, number: int) -> str:
    if not d:
        return ""
    dash = DASHES[number % len(DASHES)]
    more = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<path d="{d}" fill="none" stroke="#000" stroke-width="1.3"{more}/>'


def stacked(title: str, text: str, pictures: Sequence[str]) -> str:
    """Pictures below each other as one, under a title and some lines of text."""
    lines = [title, *wrap(text, round((RIGHT - LEFT) / CHARACTER))]
    tall = 18 * len(lines) + 8
    parts = [_text(LEFT, 18 * k + 16, line, "start") for k, line in enumerate(lines)]
    for picture in pictures:
        parts.append(picture.replace("<svg ", f'<svg y="{tall}" ', 1))
        tall += int(picture.split('height="')[1].split('"')[0])
    return _svg(WIDTH, tall, parts)


def _text(x: float, y: float, text: str, anchor: str) -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="12" font-family="sans-serif" '
        f'text-anchor="{anchor}">{escape(text)}</text>'
    )


def _svg(width: int, height: int, parts: Sequence[str]) -> str:
    inner = "".join(parts)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" '
        f'width="{width}" height="{height}">{inner}</svg>'
    )
