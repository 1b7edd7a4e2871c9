"""What is kept in the log between commands, under which key, and how it is taken up again."""

from collections.abc import Callable
from typing import Any, TypeVar

from analyzer.environment import stream_fit
from analyzer.environment.stream import Calibration, Stream
from analyzer.hull.steady_points import SteadyPoints
from analyzer.series.log import OpenLog
from analyzer.series.series import Series

T = TypeVar("T")

CHARGE = "charge"  # the charge filter's state at the end of a stretch
CHARGE_BEFORE = "charge_before"  # and shortly before a trip
GAUGE = "gauge"  # a trip's charge by some device's own gauge
STEADY = "steady"  # a trip's steady motoring points
CALIBRATION = "calibration"  # of log, propeller and compass, after a trip
STREAMS = "streams"  # a known stream along a trip, with where it was
HOTEL = "hotel"  # a trip's load with the motor off
HERE = "here"  # the newest moment


def revive(read: Callable[[dict[str, Any]], T], value: dict[str, Any]) -> T | None:
    """A kept result taken up again; None where another version of the program kept it."""
    try:
        return read(value)
    except (KeyError, TypeError, ValueError, IndexError):
        return None


def stream_before(log: OpenLog, series: Series) -> Stream:
    """The stream over a stretch, with the calibration that trips before it left. [µs]"""
    kept = [k for k in log.store.learned(CALIBRATION) if k.to_us <= series.t0_us]
    before = revive(Calibration.from_dict, kept[-1].value) if kept else None
    return stream_fit.estimate(series, log.boat, before=before)


def points_before(log: OpenLog, before_us: int | None) -> list[SteadyPoints]:
    """Steady points trip by trip, of trips that began before a time; None: of all. [µs]"""
    kept = [k for k in log.store.learned(STEADY) if before_us is None or k.from_us < before_us]
    found = [revive(SteadyPoints.from_dict, k.value) for k in kept]
    return [points for points in found if points is not None]


def calibration_before(log: OpenLog, before_us: int | None) -> Calibration | None:
    """The newest calibration from before a time; None: of all. [µs]"""
    kept = [k for k in log.store.learned(CALIBRATION) if before_us is None or k.to_us <= before_us]
    return revive(Calibration.from_dict, kept[-1].value) if kept else None
