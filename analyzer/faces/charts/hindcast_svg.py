"""A hindcast drawn: the range answered at each moment, and what then happened."""

from collections.abc import Sequence
from itertools import pairwise

from analyzer.answers.hull import Asked, HindcastAnswer
from analyzer.faces import format
from analyzer.faces.charts.svg import Line, Marks, chart, stacked
from logger.units import NMI

Moment = tuple[float, Asked | None]  # time [s since 1970] and what was answered then


def svg(answer: HindcastAnswer) -> str:
    """One picture; with nothing answered, a picture that says so."""
    title = f"Trip {answer.trip}: the range answered, and what then happened"
    score = format.sentence(answer.hindcast.score.sentence)
    return stacked(title, score, charts(answer.hindcast.rows))


def charts(rows: Sequence[Asked]) -> tuple[str, ...]:
    """Distance left as it was answered, and for the energy then used the distance predicted and
    made; none where too little was answered.
    """
    left = _left(rows)
    made = _made(rows)
    return tuple(drawn for drawn in (left, made) if drawn)


def _left(rows: Sequence[Asked]) -> str:
    """Distance left at each moment: range and middle."""
    spaced = _spaced(rows)
    times = [t for t, _ in spaced]
    low = _miles(spaced, 0)
    middle = Line("middle", _miles(spaced, 1))
    high = _miles(spaced, 2)
    bars = Marks("8 in 10 answers should lie within", low, high)
    title = "Distance still possible at that speed, nmi"
    return chart(title, times, [middle], 1.0, bars)


def _made(rows: Sequence[Asked]) -> str:
    """Distance predicted for the energy then used, and made with it."""
    times = []
    low = []
    high = []
    made = []
    for row in rows:
        if row.foreseen_m is None or row.made_m is None:
            continue
        low_m, _, high_m = row.foreseen_m
        times.append(row.t_utc_s)
        low.append(low_m / NMI)
        high.append(high_m / NMI)
        made.append(row.made_m / NMI)
    marks = Marks("predicted", low, high, "made", made)
    title = "For the energy then used: predicted, and made, nmi"
    return chart(title, times, [], 1.0, marks)


def _spaced(rows: Sequence[Asked]) -> list[Moment]:
    """The rows with their times, and a gap where nothing was answered for longer than usual."""
    times = [row.t_utc_s for row in rows]
    intervals = (later - earlier for earlier, later in pairwise(times))
    usual_s = min(intervals, default=0.0)
    longest_s = 1.5 * usual_s
    spaced: list[Moment] = []
    last_s = None
    for row in rows:
        if last_s is not None and row.t_utc_s - last_s > longest_s:
            gap_s = last_s + 0.5 * usual_s
            spaced.append((gap_s, None))
        last_s = row.t_utc_s
        spaced.append((last_s, row))
    return spaced


def _miles(moments: Sequence[Moment], which: int) -> list[float | None]:
    miles: list[float | None] = []
    for _, row in moments:
        if row is None:
            miles.append(None)
        else:
            miles.append(row.distance_m[which] / NMI)
    return miles
