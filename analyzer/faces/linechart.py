"""Line charts and a track map as SVG, drawn in black and white: lines differ by their dashes."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from logger.units import NMI

WIDTH, HEIGHT = 720, 190
LEFT, RIGHT, TOP, BOTTOM = 52, 708, 24, 158
DASHES = ("", "7 3", "2 3", "9 3 2 3", "1 2")
Values = Sequence[float | None]


@dataclass(frozen=True)
class Line:
    """One line of a chart; None is a gap."""

    text: str
    values: Values


def nice_step(span: float, about: int) -> float:
    """1, 2 or 5 times a power of ten."""
    rough = max(span, 1e-9) / about
    power = float(10.0 ** math.floor(math.log10(rough)))
    return next(power * k for k in (1, 2, 5, 10) if power * k >= rough * 0.999)


def chart(title: str, minutes: Sequence[float], lines: Sequence[Line]) -> str:
    """One chart over the trip's minutes; an empty text where nothing was measured."""
    known = [v for line in lines for v in line.values if v is not None]
    if not known or len(minutes) < 2:
        return ""
    low, high = min(known), max(known)
    step = nice_step(max(high - low, 1e-3), 4)
    low, high = math.floor(low / step) * step, math.ceil(high / step) * step
    high = high if high > low else low + step
    across = (RIGHT - LEFT) / max(minutes[-1], 1e-9)
    up = (BOTTOM - TOP) / (high - low)
    parts = [_text(LEFT, 15, title, "start")]
    for k in range(round((high - low) / step) + 1):
        y = BOTTOM - k * step * up
        parts.append(f'<path d="M{LEFT} {y:.1f}H{RIGHT}" stroke="#bbb" stroke-width="0.6"/>')
        parts.append(_text(LEFT - 6, y + 4, f"{low + k * step:g}", "end"))
    apart = nice_step(minutes[-1], 8)
    for k in range(int(minutes[-1] / apart) + 1):
        x = LEFT + k * apart * across
        parts.append(_text(x, BOTTOM + 16, f"{k * apart:g}", "middle"))
    parts.append(_text(RIGHT, BOTTOM + 30, "minutes", "end"))
    for number, line in enumerate(lines):
        d = _path([(LEFT + m * across, None if v is None else BOTTOM - (v - low) * up)
                   for m, v in zip(minutes, line.values, strict=True)])  # fmt: skip
        parts.append(_stroke(d, number))
    parts += _legend(lines) if len(lines) > 1 else []
    return _svg(WIDTH, HEIGHT, parts)


def _legend(lines: Sequence[Line]) -> list[str]:
    parts, x = [], RIGHT - 130.0 * len(lines)
    for number, line in enumerate(lines):
        parts.append(_stroke(f"M{x:.0f} 11h26", number))
        parts.append(_text(x + 31, 15, line.text, "start"))
        x += 130
    return parts


def track(latitude_deg: Values, longitude_deg: Values, size: int = 420) -> str:
    """The track in nautical miles east and north of its start; empty where there is none."""
    fixes = [(a, o) for a, o in zip(latitude_deg, longitude_deg, strict=True)
             if a is not None and o is not None]  # fmt: skip
    if len(fixes) < 2:
        return ""
    lat0, lon0 = fixes[0]
    # Metres in a degree on a sphere of 6 371 009 m (IUGG mean radius); a map for the eye.
    degree_nmi = math.radians(1) * 6371009 / NMI
    east = [(o - lon0) * degree_nmi * math.cos(math.radians(lat0)) for _, o in fixes]
    north = [(a - lat0) * degree_nmi for a, _ in fixes]
    span = max(max(east) - min(east), max(north) - min(north), 0.05) * 1.1
    mid_e, mid_n = (max(east) + min(east)) / 2, (max(north) + min(north)) / 2
    scale = size / span
    points = [(size / 2 + (e - mid_e) * scale, size / 2 - (n - mid_n) * scale)
              for e, n in zip(east, north, strict=True)]  # fmt: skip
    bar = nice_step(span, 4)
    parts = [_stroke(_path(list(points)), 0)]
    x, y = points[0]
    parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="#000"/>')
    parts.append(_text(x + 7, y + 4, "start", "start"))
    parts.append(_stroke(f"M10 {size - 12}h{bar * scale:.1f}", 0))
    parts.append(_text(10, size - 18, f"{bar:g} nmi", "start"))
    parts.append(_text(size - 8, 16, "north up", "end"))
    return _svg(size, size, parts)


def _path(points: Sequence[tuple[float, float | None]]) -> str:
    out, pen = [], "M"
    for x, y in points:
        if y is None:
            pen = "M"
            continue
        out.append(f"{pen}{x:.1f} {y:.1f}")
        pen = "L"
    return "".join(out)


def _stroke(d: str, number: int) -> str:
    dash = DASHES[number % len(DASHES)]
    more = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<path d="{d}" fill="none" stroke="#000" stroke-width="1.3"{more}/>'


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
