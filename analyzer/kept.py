"""What is kept in the log between commands, under which key, and how it is taken up again."""

from analyzer import drift
from analyzer.context import Context
from analyzer.series import Series
from analyzer.soc import Charge, ChargeState, track
from analyzer.stream import Calibration, Stream

CHARGE = "charge"  # the charge filter's state at the end of a stretch
STEADY = "steady"  # a trip's steady motoring points
CALIBRATION = "calibration"  # of log, propeller and compass, after a trip
HERE = "here"  # the newest moment
SEEN = "seen"  # how far the log was looked through


def follow(ctx: Context, series: Series) -> Charge | None:
    """The charge over a stretch, going on from what was kept before it; None without current."""
    if not series.n or not series.has("pack_current_a"):
        return None
    return track(series, ctx.boat.pack, charge_before(ctx, series.t0_us))


def charge_before(ctx: Context, at_us: int) -> ChargeState | None:
    """The newest kept state of charge from before a time. [µs]"""
    kept = [k for k in ctx.store.learned(CHARGE) if k.to_us <= at_us]
    return ChargeState.from_dict(kept[-1].value) if kept else None


def stream_before(ctx: Context, series: Series) -> Stream:
    """The stream over a stretch, with the calibration that trips before it left. [µs]"""
    kept = [k for k in ctx.store.learned(CALIBRATION) if k.to_us <= series.t0_us]
    before = Calibration.from_dict(kept[-1].value) if kept else None
    return drift.estimate(series, pitch_m=ctx.boat.motor.propeller_pitch_m, before=before)
