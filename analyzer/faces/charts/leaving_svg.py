"""The drawing of when to leave: how sure a passage is hour by hour; the template makes it SVG."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from analyzer.faces import format
from analyzer.faces.charts.scale import Tick, path

if TYPE_CHECKING:
    from analyzer.answers.ahead.passage import Departure

# Layout in pixels, as `range_svg.along`: assumed.
LEFT, RIGHT, TOP, BOTTOM = 40.0, 390.0, 20.0, 172.0
MOST_CLOCKS = 6  # along the scale; assumed


@dataclass(frozen=True)
class Hours:
    """How sure each departure is. middle: SVG path. keep: what is wanted. best: where it is."""

    middle: str
    keep: float
    best: tuple[float, float]
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]


def by_hour(rows: "Sequence[Departure]", best_utc_s: float, wanted_frac: float) -> Hours | None:
    """The curve; None where there are not two hours to compare.

    Args:
        best_utc_s: The departure that was chosen. wanted_frac: The sureness that is wanted.
    """
    if len(rows) < 2:
        return None
    first_s = rows[0].departure_utc_s
    span_s = rows[-1].departure_utc_s - first_s

    def at(utc_s: float, frac: float) -> tuple[float, float]:
        across = LEFT + (utc_s - first_s) / span_s * (RIGHT - LEFT)
        return across, BOTTOM - frac * (BOTTOM - TOP)

    best = min(rows, key=lambda row: abs(row.departure_utc_s - best_utc_s))
    clocks = rows[:: -(-len(rows) // MOST_CLOCKS)]
    return Hours(
        middle=path([at(row.departure_utc_s, row.sure_frac) for row in rows]),
        keep=at(first_s, wanted_frac)[1],
        best=at(best.departure_utc_s, best.sure_frac),
        across=tuple(
            Tick(at(row.departure_utc_s, 0.0)[0], format.clock(row.departure_utc_s))
            for row in clocks
        ),
        up=tuple(Tick(at(first_s, f)[1], f"{100 * f:.0f}") for f in (0.0, 0.25, 0.5, 0.75, 1.0)),
    )
