"""keelwatt from Python: open a log, ask it.

>>> import keelwatt as kw
>>> with kw.open_log("demo.sqlite") as log:
...     left = kw.range_left(log)
>>> left.charge.low < left.charge.mid < left.charge.high
True

Answers have `.to_frame()` for pandas, and `kw.draw(left)` draws them (matplotlib).
A whole season in pictures, cell by cell, is the script `analyzer/examples/season_walk.py LOG
FOLDER`: it looks through the log, prints miles, hours, the trips as a table and the best and worst
days with their reasons, and draws what a mile took by month, power against speed, growth on the
bottom and where the watt-hours went.

Every question is a method of `analyzer.answers.Log`, which says what it answers, and can be asked
as `log.range_left()` too; nothing heavy is imported before the first is used. Installed, this
folder is the package `keelwatt`.
"""

from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING

from keelwatt.ours import check_packages

if TYPE_CHECKING:
    from keelwatt.drawing import draw as draw

    from analyzer.answers import Log as Log
    from analyzer.answers import json_schema as json_schema
    from analyzer.answers import open_log as open_log
    from analyzer.answers import table as table
    from analyzer.answers import to_json as to_json

    (
        cables, cells, check, flags, frame, gain, hull, look_back, plan, plan_what_if, plot,
        range_left, range_what_if, refresh, review, review_what_if, season, trips,
    ) = (
        Log.cables, Log.cells, Log.check, Log.flags, Log.frame, Log.gain, Log.hull, Log.look_back,
        Log.plan, Log.plan_what_if, Log.plot, Log.range_left, Log.range_what_if, Log.refresh,
        Log.review, Log.review_what_if, Log.season, Log.trips,
    )  # fmt: skip

_QUESTIONS = (
    "cables", "cells", "check", "flags", "frame", "gain", "hull", "look_back", "plan",
    "plan_what_if", "plot", "range_left", "range_what_if", "refresh", "review", "review_what_if",
    "season", "trips",
)  # fmt: skip
_BESIDE = ("Log", "draw", "json_schema", "open_log", "table", "to_json")
__all__ = ["__version__", *_BESIDE, *_QUESTIONS]

try:
    __version__ = version("keelwatt")
except PackageNotFoundError:  # run from a folder that was never installed
    __version__ = "0+unknown"


def __getattr__(name: str) -> object:
    """Loads `analyzer.answers` when the first question is asked."""
    if name not in __all__:
        raise AttributeError(f"keelwatt has no {name!r}; it has {', '.join(__all__)}")
    check_packages()
    if name == "draw":
        from keelwatt.drawing import draw

        return draw
    from analyzer import answers  # only now is it sure to be ours

    return getattr(answers.Log if name in _QUESTIONS else answers, name)


def __dir__() -> list[str]:
    return list(__all__)
