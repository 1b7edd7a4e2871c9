"""What is kept in the log between commands, under which key, and how it is taken up again."""

from collections.abc import Callable
from typing import Any, TypeVar

from analyzer import drift
from analyzer.context import Context
from analyzer.series import Series
from analyzer.soc import Charge, ChargeState, track
from analyzer.steady import SteadyPoints
from analyzer.stream import Calibration, Stream

T = TypeVar("T")

CHARGE = "charge"  # the charge filter's state at the end of a stretch
GAUGE = "gauge"  # a trip's charge by some device's own gauge
STEADY = "steady"  # a trip's steady motoring points
CALIBRATION = "calibration"  # of log, propeller and compass, after a trip
HERE = "here"  # the newest moment
SEEN = "seen"  # how far the log was looked through


def revive(read: Callable[[dict[str, Any]], T], value: dict[str, Any]) -> T | None:
    """A kept result taken up again; None where another version of the program kept it."""
    try:
        return read(value)
    except (KeyError, TypeError, ValueError, IndexError):
        return None


def follow(ctx: Context, series: Series) -> Charge | None:
    """The charge over a stretch, going on from what was kept before it; None without current."""
    if not series.n or not series.has("pack_current_a"):
        return None
    return track(series, ctx.boat.pack, charge_before(ctx, series.t0_us))


def charge_before(ctx: Context, at_us: int) -> ChargeState | None:
    """The newest kept state of charge from before a time. [µs]"""
    kept = [k for k in ctx.store.learned(CHARGE) if k.to_us <= at_us]
    return revive(ChargeState.from_dict, kept[-1].value) if kept else None


def stream_before(ctx: Context, series: Series) -> Stream:
    """The stream over a stretch, with the calibration that trips before it left. [µs]"""
    kept = [k for k in ctx.store.learned(CALIBRATION) if k.to_us <= series.t0_us]
    before = revive(Calibration.from_dict, kept[-1].value) if kept else None
    return drift.estimate(series, ctx.boat, before=before)


def points_before(ctx: Context, before_us: int | None) -> list[SteadyPoints]:
    """Steady points trip by trip, of trips that began before a time; None: of all. [µs]"""
    kept = [k for k in ctx.store.learned(STEADY) if before_us is None or k.from_us < before_us]
    found = [revive(SteadyPoints.from_dict, k.value) for k in kept]
    return [points for points in found if points is not None]


def calibration_before(ctx: Context, before_us: int | None) -> Calibration | None:
    """The newest calibration from before a time; None: of all. [µs]"""
    kept = [k for k in ctx.store.learned(CALIBRATION) if before_us is None or k.to_us <= before_us]
    return revive(Calibration.from_dict, kept[-1].value) if kept else None
