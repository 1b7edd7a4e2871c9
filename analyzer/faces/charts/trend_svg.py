"""Small drawings of the health page: how something went from trip to trip, and cells beside each
other. The template turns them into SVG."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from analyzer.answers.health.trends import Course, Past
from analyzer.answers.hull import Fouling
from analyzer.estimation.estimate import Estimate
from analyzer.faces import format, units
from analyzer.faces.charts.scale import Axis, Tick

# Layout in pixels, assumed.
LEFT, RIGHT, TOP, BOTTOM = 44.0, 312.0, 10.0, 96.0
MOST = 60  # points drawn; more would be a smear; assumed
_SHOWN = {"frac": 100.0, "ohm": 1e3, "degC": 1.0, "K": 1.0, "Ah": 1.0}  # by definition
METRE = "Wh/m"  # of way: drawn by the mile or kilometre of the page's reader
COLUMN_WIDTH, COLUMN_TOP, COLUMN_BOTTOM = 18.0, 6.0, 84.0  # assumed


@dataclass(frozen=True)
class Whisker:
    """A point with its range."""

    x: float
    low: float
    mid: float
    high: float


@dataclass(frozen=True)
class Drawn:
    """A course over time."""

    text: str
    points: tuple[Whisker, ...]
    up: tuple[Tick, ...]
    first: str
    last: str


@dataclass(frozen=True)
class Column:
    """One cell beside the others."""

    x: float
    top: float
    low: float
    high: float
    name: str
    stands_out: bool


def drawn(course: Course | None, zero: bool = False) -> Drawn | None:
    """A course as a drawing; None where there are fewer than two times to compare.

    Args:
        zero: Whether the scale must hold zero.
    """
    if course is None:
        return None
    rows = [(row.t_utc_s, _three(row.value)) for row in course.rows]
    known = [(t, three) for t, three in rows if three is not None][-MOST:]
    if len(known) < 2 or known[-1][0] <= known[0][0]:
        return None
    low = min([*(three[0] for _, three in known), *([0.0] if zero else [])])
    high = max(three[2] for _, three in known)
    axis = Axis.holding(low, high, 3)
    first_s, last_s = known[0][0], known[-1][0]

    def at(value: float) -> float:
        return round(BOTTOM - axis.share(value) * (BOTTOM - TOP), 1)

    points = tuple(
        Whisker(
            round(LEFT + 8 + (t - first_s) / (last_s - first_s) * (RIGHT - LEFT - 16), 1),
            *(at(value) for value in three),
        )
        for t, three in known
    )
    up = tuple(Tick(at(level), f"{level:g}") for level in axis.levels())
    return Drawn(course.text, points, up, format.date(first_s), format.date(last_s))


def speed(found: Fouling) -> Course:
    """Speed at the same power, trip by trip, against the first trips."""
    rows = tuple(Past(row.t_utc_s, row.loss) for row in found.rows)
    return Course("speed at the same power, % against the first trips", rows)


def columns(estimates: Sequence[tuple[str, Estimate]], names: Sequence[str]) -> list[Column]:
    """Cells beside each other, as columns from zero.

    Args:
        estimates: Name of each cell and its value.
        names: Those that stand out.
    """
    known = [(name, _three(value)) for name, value in estimates]
    top = max((three[2] for _, three in known if three), default=0.0)
    if top <= 0:
        return []

    def at(value: float) -> float:
        part = min(max(value / top, 0.0), 1.0)
        return round(COLUMN_BOTTOM - part * (COLUMN_BOTTOM - COLUMN_TOP), 1)

    return [
        Column(k * COLUMN_WIDTH, at(three[1]), at(three[0]), at(three[2]), name, name in names)
        for k, (name, three) in enumerate(known)
        if three is not None
    ]


def _three(value: Estimate) -> tuple[float, float, float] | None:
    if value.mid is None or not math.isfinite(value.mid):
        return None
    far = units.now().distance_m if value.unit == METRE else 1.0
    by = far * _SHOWN.get(value.unit, 1.0)
    low = value.mid if value.low is None else value.low
    high = value.mid if value.high is None else value.high
    return low * by, value.mid * by, high * by
