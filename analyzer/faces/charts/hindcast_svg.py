"""A hindcast drawn: the range answered at each moment, and what then happened."""

from collections.abc import Sequence
from itertools import pairwise

from analyzer.answers.hull import Asked, HindcastAnswer
from analyzer.faces import format
from analyzer.faces.charts.svg import Line, Marks, chart, stacked
from logger.units import NMI


def svg(answer: HindcastAnswer) -> str:
    """One picture; with nothing answered, a picture that says so."""
    title = f"Trip {answer.trip}: the range answered, and what then happened"
    score = format.sentence(answer.hindcast.score.sentence)
    return stacked(title, score, charts(answer.hindcast.rows))


def charts(rows: Sequence[Asked]) -> tuple[str, ...]:
    """Distance left as it was answered, and for the energy then used the distance predicted and
    made; none where too little was answered.
    """
    drawn = (_left(rows), _made(rows))
    return tuple(one for one in drawn if one)


def _left(rows: Sequence[Asked]) -> str:
    """Distance left at each moment: range and middle."""
    spaced = _spaced(rows)
    times = [t for t, _ in spaced]
    bars = Marks("8 in 10 answers should lie within", _miles(spaced, 0), _miles(spaced, 2))
    middle = Line("middle", _miles(spaced, 1))
    return chart("Distance still possible at that speed, nmi", times, [middle], 1.0, bars)


def _made(rows: Sequence[Asked]) -> str:
    """Distance predicted for the energy then used, and made with it."""
    times, low, high, made = [], [], [], []
    for row in rows:
        if row.foreseen_m is None or row.made_m is None:
            continue
        times.append(row.t_utc_s)
        low.append(row.foreseen_m[0] / NMI)
        high.append(row.foreseen_m[2] / NMI)
        made.append(row.made_m / NMI)
    marks = Marks("predicted", low, high, "made", made)
    return chart("For the energy then used: predicted, and made, nmi", times, [], 1.0, marks)


def _spaced(rows: Sequence[Asked]) -> list[tuple[float, Asked | None]]:
    """The rows with their times, and a gap where nothing was answered for longer than usual."""
    times = [row.t_utc_s for row in rows]
    usual = min((b - a for a, b in pairwise(times)), default=0.0)
    out: list[tuple[float, Asked | None]] = []
    for row in rows:
        if out and row.t_utc_s - out[-1][0] > 1.5 * usual:
            out.append((out[-1][0] + 0.5 * usual, None))
        out.append((row.t_utc_s, row))
    return out


def _miles(rows: Sequence[tuple[float, Asked | None]], which: int) -> list[float | None]:
    return [None if row is None else row.distance_m[which] / NMI for _, row in rows]
