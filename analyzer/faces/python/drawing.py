"""Pictures of answers by matplotlib, to begin with: `keelwatt.draw(answer)` gives its axes.

| answer | drawn |
|---|---|
| `range_left` | how far at each speed, with its 80 % range |
| `hull` | power against speed: by the hull's numbers, and with what was seen |
| `cells` | each cell's resistance, with its range |
| `review` | where the watt-hours came from and went |
| `season` | what a mile at the usual speed took, month by month |
| `plot` | the channels against time |

What is drawn is `answer.to_frame()`, so that another picture is a line of pandas away.
"""

from collections.abc import Callable
from typing import Any

from analyzer.answers.hull import HullAnswer
from analyzer.answers.season.rows import SeasonAnswer
from analyzer.errors import installed
from analyzer.estimation.results import CellsAnswer, Plot, RangeAnswer, ReviewAnswer
from logger.units import KN, NMI

MOHM = 1000.0  # mΩ in an ohm, by definition
BEFORE, NOW = "#b0b0b0", "#1f3b57"


def draw(answer: Any, axes: Any = None) -> Any:
    """Draws an answer.

    Args:
        answer: Of one of the kinds above.
        axes: Of matplotlib's; None: new ones.
    Returns:
        The axes; `draw(answer).figure.savefig("picture.png")` keeps the picture.
    Raises:
        NotInstalled: matplotlib or pandas is not there.
        TypeError: There is no picture of such an answer.
    """
    kind = next((kind for kind in _PICTURES if isinstance(answer, kind)), None)
    if kind is None:
        known = ", ".join(kind.__name__ for kind in _PICTURES)
        raise TypeError(f"there are pictures of {known}, got {type(answer).__name__}")
    if axes is None:
        pyplot = installed("matplotlib.pyplot", "a picture", "plot")
        axes = pyplot.subplots(layout="constrained")[1]
    _PICTURES[kind](answer, axes)
    return axes


def _range(answer: RangeAnswer, axes: Any) -> None:
    frame = answer.to_frame()
    knots = frame["speed_water_mps"] / KN
    _band(axes, knots, _parts(frame, "distance") / NMI, NOW, "80 % range")
    axes.set_xlabel("speed through the water [kn]")
    axes.set_ylabel("distance over the ground [nmi]")
    axes.set_title(answer.boat)


def _hull(answer: HullAnswer, axes: Any) -> None:
    frame = answer.to_frame()
    knots = frame["speed_water_mps"] / KN
    _band(axes, knots, _parts(frame, "prior"), BEFORE, "from the hull's numbers")
    _band(axes, knots, _parts(frame, "power"), NOW, "with what was seen")
    axes.set_xlabel("speed through the water [kn]")
    axes.set_ylabel("power [W]")
    axes.legend()


def _parts(frame: Any, name: str) -> Any:
    """Low end, middle and high end of an estimate's column."""
    return frame[[f"{name}_low", name, f"{name}_high"]].to_numpy(dtype=float).T


def _band(axes: Any, x: Any, parts: Any, colour: str, text: str) -> None:
    low, mid, high = parts
    axes.fill_between(x, low, high, color=colour, alpha=0.3, label=text)
    axes.plot(x, mid, color=colour)


def _cells(answer: CellsAnswer, axes: Any) -> None:
    frame = answer.to_frame()
    low, mid, high = _parts(frame, "resistance") * MOHM
    error = [(mid - low).clip(min=0), (high - mid).clip(min=0)]
    axes.errorbar(frame["name"], mid, yerr=error, fmt="o", color=NOW)
    axes.tick_params(axis="x", rotation=90)
    axes.set_ylabel("resistance [mΩ]")


def _ledger(answer: ReviewAnswer, axes: Any) -> None:
    frame = answer.to_frame().dropna(subset="energy").iloc[::-1]
    axes.barh(frame["text"], frame["energy"], color=NOW)
    axes.set_xlabel("Wh")
    axes.set_title("Where the watt-hours came from (-) and went (+)")


def _season(answer: SeasonAnswer, axes: Any) -> None:
    frame = answer.to_frame().dropna(subset="at_usual")
    low, mid, high = _parts(frame, "at_usual") * NMI
    axes.errorbar(frame["month"], mid, yerr=[mid - low, high - mid], fmt="o", color=NOW)
    axes.tick_params(axis="x", rotation=90)
    axes.set_ylabel("a mile at the usual speed [Wh/nmi]")
    axes.set_title(answer.boat)


def _plot(answer: Plot, axes: Any) -> None:
    frame = answer.to_frame()
    for name in frame.columns:
        axes.plot(frame.index, frame[name], label=name)
    axes.set_xlabel("UTC")
    axes.legend()


_PICTURES: dict[type, Callable[[Any, Any], None]] = {
    RangeAnswer: _range,
    HullAnswer: _hull,
    CellsAnswer: _cells,
    ReviewAnswer: _ledger,
    SeasonAnswer: _season,
    Plot: _plot,
}
