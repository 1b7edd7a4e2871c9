"""A hindcast as one picture (SVG): the range answered at each moment, and what then happened."""

from collections.abc import Sequence
from html import escape

from analyzer.answers.hull import Asked, HindcastAnswer
from analyzer.faces import format
from logger.units import NMI

WIDE, HIGH, LEFT, TOP, GAP = 900, 560, 70, 50, 60
UPPER = 260  # height of the upper panel
INK, BAND, GOOD, BAD = "#1b2a34", "#b9d3e6", "#1f6f4a", "#b3261e"


def svg(answer: HindcastAnswer) -> str:
    """The picture's text; with nothing answered, a picture that says so."""
    rows = answer.hindcast.rows
    title = f"Trip {answer.trip}: the range answered, and what then happened"
    parts = [_text(LEFT, 26, title, 17), _text(LEFT, 44, answer.hindcast.score.sentence, 12)]
    if rows:
        parts += _upper(rows) + _lower(rows)
    body = "\n".join(parts)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE} {HIGH}" '
        f'font-family="sans-serif" fill="{INK}" role="img" aria-label="{escape(title)}">\n'
        f'<rect width="{WIDE}" height="{HIGH}" fill="white"/>\n{body}\n</svg>\n'
    )


def _text(x: float, y: float, text: str, size: int, anchor: str = "start") -> str:
    place = f'x="{x:.1f}" y="{y:.1f}" font-size="{size}" text-anchor="{anchor}"'
    return f"<text {place}>{escape(text)}</text>"


def _x(rows: Sequence[Asked], t: float) -> float:
    first, last = rows[0].t_utc_s, rows[-1].t_utc_s
    return LEFT + (WIDE - LEFT - 20) * (t - first) / max(last - first, 1.0)


def _axis(top: float, height: float, most: float, label: str) -> list[str]:
    """Three grid lines with miles, and the panel's name."""
    lines = [_text(LEFT, top - 6, label, 12)]
    for share in (0.0, 0.5, 1.0):
        y = top + height * (1 - share)
        lines.append(
            f'<line x1="{LEFT}" x2="{WIDE - 20}" y1="{y:.1f}" y2="{y:.1f}" stroke="#ccd5db"/>'
        )
        lines.append(_text(LEFT - 8, y + 4, f"{share * most / NMI:.1f}", 11, "end"))
    return lines


def _upper(rows: Sequence[Asked]) -> list[str]:
    """Distance left, as answered: band and middle."""
    top, most = TOP + 20.0, max(row.distance_m[2] for row in rows) or 1.0

    def points(k: int) -> list[str]:
        places = [(row.t_utc_s, row.distance_m[k]) for row in rows]
        return [f"{_x(rows, t):.1f},{top + UPPER * (1 - d / most):.1f}" for t, d in places]

    band = " ".join(points(2) + points(0)[::-1])
    middle = " ".join(points(1))
    return [
        *_axis(top, UPPER, most, "Distance left when asked, nautical miles (8 in 10, and middle)"),
        f'<polygon points="{band}" fill="{BAND}"/>',
        f'<polyline points="{middle}" fill="none" stroke="{INK}" stroke-width="2"/>',
    ]


def _lower(rows: Sequence[Asked]) -> list[str]:
    """Distance for the energy then used: predicted range, and made."""
    top = TOP + 20.0 + UPPER + GAP
    height = HIGH - top - 40
    compared = [row for row in rows if row.foreseen_m is not None and row.made_m is not None]
    most = max(
        [max(r.foreseen_m[2], r.made_m) for r in compared if r.foreseen_m and r.made_m] or [1.0]
    )
    lines = _axis(top, height, most, "For the energy then used: predicted (bar), made (dot)")
    for row in compared:
        lines += _pair(row, _x(rows, row.t_utc_s), top, height, most)
    for row in (rows[0], rows[-1]):
        lines.append(
            _text(_x(rows, row.t_utc_s), HIGH - 12, format.clock(row.t_utc_s), 11, "middle")
        )
    return lines


def _pair(row: Asked, x: float, top: float, height: float, most: float) -> list[str]:
    """One comparison."""
    if row.foreseen_m is None or row.made_m is None:
        return []
    low, high = (top + height * (1 - row.foreseen_m[k] / most) for k in (0, 2))
    dot = top + height * (1 - row.made_m / most)
    colour = GOOD if row.held else BAD
    return [
        f'<line x1="{x:.1f}" x2="{x:.1f}" y1="{low:.1f}" y2="{high:.1f}" stroke="{BAND}" '
        'stroke-width="7"/>',
        f'<circle cx="{x:.1f}" cy="{dot:.1f}" r="4" fill="{colour}"/>',
    ]
