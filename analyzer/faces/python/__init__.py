"""keelwatt from Python: open a log, ask it.

>>> import keelwatt as kw
>>> with kw.open_log("demo.sqlite") as log:
...     left = kw.range_left(log)
>>> left.charge.low < left.charge.mid < left.charge.high
True

Every name here is a function of `analyzer.answers`, which says what each answers; nothing heavy
is imported before the first is used. Installed, this folder is the package `keelwatt`.
"""

import importlib
from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING

from keelwatt.ours import check_packages

if TYPE_CHECKING:
    from analyzer.answers import (
        cables,
        cells,
        check,
        flags,
        frame,
        open_log,
        plot,
        range_left,
        refresh,
        review,
        table,
        to_json,
        trips,
    )

__all__ = [
    "__version__",
    "cables",
    "cells",
    "check",
    "flags",
    "frame",
    "open_log",
    "plot",
    "range_left",
    "refresh",
    "review",
    "table",
    "to_json",
    "trips",
]

try:
    __version__ = version("keelwatt")
except PackageNotFoundError:  # run from a folder that was never installed
    __version__ = "0+unknown"


def __getattr__(name: str) -> object:
    """Loads `analyzer.answers` when the first question is asked."""
    if name not in __all__:
        raise AttributeError(f"keelwatt has no {name!r}; it has {', '.join(__all__)}")
    check_packages()
    return getattr(importlib.import_module("analyzer.answers"), name)


def __dir__() -> list[str]:
    return list(__all__)
