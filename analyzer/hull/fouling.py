"""Speed lost between trips at the same power: growth on the bottom, a fouled propeller.

Each trip's steady points are held against a reference curve fitted to the first trips; the speed
that the reference gives at the measured power is the expected one.

Source: percentage speed loss as ISO 19030 defines it, 100 (measured - expected) / expected;
negative is slower. Wind and sea are not corrected for where they were not measured, so single
trips scatter by several per cent; the trend counts. It begins anew where the bottom was cleaned
(`cleaned`).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.estimation.quantiles import Z80
from analyzer.hull.cleaned import Line, line_since_clean
from analyzer.hull.hull import fit
from analyzer.hull.power_curve import PowerCurve
from analyzer.hull.steady_points import SteadyPoints
from analyzer.series.series import Floats
from logger.units import DAY_S

REFERENCE_S = 45 * 60.0  # steady motoring that makes a reference; assumed
MONTH_DAYS = 30.44  # by definition: a twelfth of a year
LEAST_SPREAD_DAYS = 3.0  # between trips, for a trend; assumed
WORTH_FRAC = 0.02  # a loss below 2 % is not worth a haul-out; assumed
TRIP_SD = 0.015  # a trip as a whole: load, trim, water; assumed
NO_CLEANING = cannot_say("the trips show no cleaning", "frac")
NO_TREND = cannot_say("a trend wants trips some days apart after the reference", "frac")


@dataclass(frozen=True)
class TripLoss:
    """One trip against the reference; `loss` a fraction, negative is slower."""

    t_utc_s: float
    minutes: float
    loss: Estimate


@dataclass(frozen=True)
class Fouling:
    """Speed loss trip by trip and its trend since the last clean bottom.

    Args:
        trend: Change of speed at the same power, fraction per month.
        now: Loss by the trend today, against the first trips.
        clean_from_utc_s: The first trip with the bottom as clean as it was last: after a cleaning
            that the trips show, else the first of all.
        cleaned_utc_s: Between which times it was cleaned; None where the trips show no cleaning.
        given_back: Speed that the cleaning gave back, at the same power. [frac]
        since_clean: Loss by the trend since then. [frac]
    """

    rows: tuple[TripLoss, ...]
    trend: Estimate
    now: Estimate
    sentence: str
    clean_from_utc_s: float | None = None
    cleaned_utc_s: tuple[float, float] | None = None
    given_back: Estimate = NO_CLEANING
    since_clean: Estimate = NO_TREND


def expected_speed_mps(curve: PowerCurve, power_w: Floats) -> Floats:
    """Speed through water that the curve's median gives at powers, shape (n,)."""
    rise = 1e-9 * np.arange(len(curve.log_power))  # no two alike, so that it can be inverted
    line = np.maximum.accumulate(curve.log_power) + rise
    return np.asarray(np.interp(np.log(power_w), line, curve.speed_mps))


def trip_loss(points: SteadyPoints, reference: PowerCurve) -> tuple[float, float]:
    """Mean speed loss of one trip and its standard deviation, as fractions."""
    expected = expected_speed_mps(reference, points.power_w)
    loss = points.speed_mps / expected - 1
    slope = np.maximum(reference.slope(points.speed_mps), 1.0)
    own_sd = points.log_sd * reference.noise_scale / slope
    leg_sd = reference.leg_sd / slope
    speed_sd = points.speed_sd_mps / points.speed_mps
    var = np.square(own_sd) + np.square(leg_sd) + np.square(speed_sd)
    weight = points.duration_s / var
    legs = len(np.unique(points.group))
    mean = float(np.sum(weight * loss) / weight.sum())
    sd = float(np.sqrt(np.average(var, weights=weight) / legs))
    return mean, float(np.hypot(sd, TRIP_SD))


def reference_trips(trips: Sequence[SteadyPoints]) -> int:
    """How many of the first trips make the reference; 0 where there is too little yet."""
    seconds = np.cumsum([float(points.duration_s.sum()) for points in trips])
    enough = np.flatnonzero(seconds >= REFERENCE_S)
    return int(enough[0]) + 1 if len(enough) else 0


def fouling(trips: Sequence[SteadyPoints], prior: PowerCurve) -> Fouling:
    """Speed loss of every trip after the reference, and the trend.

    Args:
        trips: Steady points trip by trip, oldest first.
        prior: The boat's curve before any trip.
    """
    trips = [points for points in trips if len(points.speed_mps)]
    first = reference_trips(trips)
    if not first:
        why = f"a reference wants {REFERENCE_S / 60:.0f} minutes of steady motoring first"
        return Fouling((), cannot_say(why, "frac"), cannot_say(why, "frac"), why)
    reference = fit(SteadyPoints.join(trips[:first]), prior)
    times = np.array([float(points.t_utc_s.mean()) for points in trips])
    found = np.array([trip_loss(points, reference) for points in trips])
    rows = tuple(
        TripLoss(times[k], float(points.duration_s.sum()) / 60, _range(*found[k]))
        for k, points in enumerate(trips)
    )
    return _trend(rows, times, found, first)


def _range(mid: float, sd: float) -> Estimate:
    return Estimate(mid, mid - Z80 * sd, mid + Z80 * sd, "frac")


def _trend(rows: tuple[TripLoss, ...], times: Floats, found: Floats, first: int) -> Fouling:
    """Weighted straight line through the trips' losses since the last clean bottom."""
    days = (times - times[-1]) / DAY_S
    if len(rows) <= first or np.ptp(days) < LEAST_SPREAD_DAYS:
        why = NO_TREND.reason
        return Fouling(rows, NO_TREND, NO_TREND, why)
    line = line_since_clean(times, found[:, 0], found[:, 1])
    after_s = float(times[-1] - times[line.first])
    now, now_sd = line.at(after_s)
    month_s = MONTH_DAYS * DAY_S
    cleaned = None
    if line.breaks is not None:
        begin, end = line.breaks
        cleaned = float(times[begin - 1]), float(times[end])
    return Fouling(
        rows,
        trend=_range(line.slope * month_s, float(np.sqrt(line.cov[1, 1])) * month_s),
        now=_range(now, now_sd),
        sentence=_sentence(now, now_sd) if cleaned is None else _since_cleaned(line, after_s),
        clean_from_utc_s=float(times[line.first]),
        cleaned_utc_s=cleaned,
        given_back=NO_CLEANING if cleaned is None else _range(line.step, line.step_sd),
        since_clean=_range(*line.since(after_s)),
    )


def _since_cleaned(line: Line, after_s: float) -> str:
    """What it means where a cleaning was seen, for people."""
    loss, sd = line.since(after_s)
    days = after_s / DAY_S
    said = (
        f"the boat got {100 * line.step:.0f} % faster at the same power at once, {days:.0f} days "
        "ago, as after cleaning the bottom; since then "
    )
    if loss < -WORTH_FRAC and loss + 2 * sd < 0:
        return said + f"{-100 * loss:.0f} % slower again: most likely growth on bottom or propeller"
    return said + "no change beyond what wind and sea scatter"


def _sentence(loss: float, sd: float) -> str:
    """What it means, for people."""
    if loss < -WORTH_FRAC and loss + 2 * sd < 0:
        return (
            f"the boat is {-100 * loss:.0f} % slower at the same power than on its first trips: "
            "most likely growth on bottom or propeller; look at the propeller first, it costs "
            "most and cleans easiest"
        )
    if abs(loss) <= 2 * sd:
        return "no change of speed at the same power beyond what wind and sea scatter"
    way = "slower" if loss < 0 else "faster"
    return f"the boat is {100 * abs(loss):.0f} % {way} at the same power"
