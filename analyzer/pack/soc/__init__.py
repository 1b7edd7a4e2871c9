"""State of charge: the filter, what goes into it, and the posterior that a log keeps of it."""

from analyzer.pack.soc.state import PackPosterior
from analyzer.pack.soc.track import GAUGE_SD, Charge, advance, known, track
from analyzer.pack.soc.upright import sign_reversed, turned, upright

__all__ = [
    "GAUGE_SD",
    "Charge",
    "PackPosterior",
    "advance",
    "known",
    "sign_reversed",
    "track",
    "turned",
    "upright",
]
