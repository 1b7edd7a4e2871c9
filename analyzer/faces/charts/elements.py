"""Parts of SVG pictures in black and white: lines differ by their dashes."""

from collections.abc import Sequence
from datetime import UTC, datetime
from html import escape

DASHES = ("", "7 3", "2 3", "9 3 2 3", "1 2")  # assumed
# Steps between clock times, assumed. [s]
TICKS_S = (60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 21600, 43200, 86400)
Values = Sequence[float | None]


def clock(t_utc_s: float) -> str:
    """Time of day, UTC."""
    return f"{datetime.fromtimestamp(t_utc_s, UTC):%H:%M}"


def faint(d: str) -> str:
    """A line of the grid."""
    return f'<path d="{d}" stroke="#bbb" stroke-width="0.6"/>'


def tick(point: tuple[float, float]) -> str:
    """A mark across a track."""
    return f'<path d="M{point[0] - 3:.1f} {point[1]:.1f}h6" stroke="#000" stroke-width="2.5"/>'


def ring(point: tuple[float, float]) -> str:
    """A ring around a point."""
    return (
        f'<circle cx="{point[0]:.1f}" cy="{point[1]:.1f}" r="5" fill="none" stroke="#000" '
        'stroke-width="1.5"/>'
    )


def dot(x: float, y: float) -> str:
    """A dot."""
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.5" fill="#000"/>'


def bar(x: float, top: float, bottom: float) -> str:
    """A bar from one height to another."""
    return f'<path d="M{x:.1f} {top:.1f}V{bottom:.1f}" stroke="#bbb" stroke-width="6"/>'


def stroke(d: str, number: int) -> str:
    """A line; its number says its dashes."""
    if not d:
        return ""
    dash = DASHES[number % len(DASHES)]
    more = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<path d="{d}" fill="none" stroke="#000" stroke-width="1.3"{more}/>'


def words(x: float, y: float, text: str, anchor: str) -> str:
    """Words; anchor: which end of them stands at x."""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="12" font-family="sans-serif" '
        f'text-anchor="{anchor}">{escape(text)}</text>'
    )


def picture(width: int, height: int, parts: Sequence[str]) -> str:
    """A picture of its parts."""
    inner = "".join(parts)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" '
        f'width="{width}" height="{height}">{inner}</svg>'
    )
