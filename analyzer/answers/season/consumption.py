"""What a mile took, by speed and by month."""

import math
from collections.abc import Sequence
from datetime import UTC, datetime

import numpy as np

from analyzer.answers.season.rows import MonthRow, SpeedRow
from analyzer.answers.season.stretch import Outing, Season
from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.estimation.quantiles import Z80
from analyzer.hull.fouling import TRIP_SD
from analyzer.hull.steady_points import SteadyPoints
from analyzer.pack.chemistry import chemistry
from analyzer.trips.ledger import GAIN_SD, OFFSET_A
from logger.units import HOUR_S, KN, UNDATED_S

BIN_MPS = 0.5 * KN  # half a knot apart, by definition of the table
LEAST_S = 300.0  # of steady motoring near a speed before it is told; assumed
LEAST_M = 50.0  # under motor before a mile's consumption is told; as for a trip's, assumed


def speed_rows(season: Season) -> tuple[SpeedRow, ...]:
    """What each speed takes, by the season's steady motoring and the hull's numbers."""
    points = season.points
    number = np.round(points.speed_mps / BIN_MPS).astype(int)
    rows = []
    for k in sorted(set(number.tolist())):
        seconds = float(points.duration_s[number == k].sum())
        if seconds < LEAST_S:
            continue
        speed = k * BIN_MPS
        power = season.curve.power_w(speed)
        rows.append(SpeedRow(speed, seconds / 60, _per_metre(power, speed)))
    return tuple(rows)


def _per_metre(power: Estimate, speed_mps: float) -> Estimate:
    """A power at a speed as the energy of a metre. [Wh/m]"""
    by = 1 / HOUR_S / speed_mps
    low, mid, high = ((value or 0.0) * by for value in (power.low, power.mid, power.high))
    return Estimate(mid, low, high, "Wh/m", reason=power.reason, used=power.used)


def month_rows(season: Season) -> tuple[MonthRow, ...]:
    """Month by month, oldest first."""
    months: dict[str, list[Outing]] = {}
    for outing in season.outings:
        months.setdefault(_month(outing.row.start_utc_s), []).append(outing)
    return tuple(_month_row(season, name, outings) for name, outings in months.items())


def _month(utc_s: float) -> str:
    """ "2026-05" in UTC."""
    if utc_s < UNDATED_S:
        return "undated"
    return f"{datetime.fromtimestamp(utc_s, UTC):%Y-%m}"


def _month_row(season: Season, name: str, outings: Sequence[Outing]) -> MonthRow:
    far = [one.row.distance_m for one in outings if one.row.distance_m is not None]
    energy = [told[0] for one in outings if (told := one.motor()) is not None]
    return MonthRow(
        month=name,
        start_utc_s=outings[0].row.start_utc_s,
        trips=len(outings),
        distance_m=sum(far) if far else None,
        motor_s=sum(one.lasts_s("motoring") for one in outings),
        sail_s=sum(one.lasts_s("sailing") for one in outings),
        motor_wh=sum(energy) if energy else None,
        consumption=as_it_was(season, outings),
        at_usual=at_usual(season, outings),
    )


def as_it_was(season: Season, outings: Sequence[Outing]) -> Estimate:
    """Out of the pack a metre over the ground under motor; the range is the shunt's error."""
    wh = far_m = seconds = 0.0
    for outing in outings:
        motor = outing.motor()
        if motor is not None:
            wh += motor[0]
            far_m += motor[1]
            seconds += outing.lasts_s("motoring")
    if far_m < LEAST_M:
        return cannot_say("no legs under motor with their energy and distance", "Wh/m")
    pack = season.log.boat.pack
    volts = pack.cells_in_series * chemistry(pack.chemistry).label_full_v
    offset_wh = OFFSET_A * volts * seconds / HOUR_S
    sd_wh = math.hypot(GAIN_SD * wh, offset_wh)
    mid = wh / far_m
    half = Z80 * sd_wh / far_m
    return Estimate(mid, mid - half, mid + half, "Wh/m", reason="as wide as the shunt's error")


def at_usual(season: Season, outings: Sequence[Outing]) -> Estimate:
    """At the season's usual speed through the water, by the steady motoring of some trips.

    ln power over the season's curve at each point's own speed, averaged; a trip as a whole, its
    legs' wind and sea and its speed's error are independent from trip to trip.
    """
    speed = season.usual_mps
    if speed is None:
        return cannot_say("too little steady motoring in the season", "Wh/m")
    rows = [_over_curve(season, one.points) for one in outings if len(one.points.speed_mps)]
    if not rows:
        return cannot_say("no steady motoring", "Wh/m")
    off, var = np.array(rows).T
    weight = 1 / var
    mean = float(weight @ off / weight.sum())
    sd = float(weight.sum() ** -0.5)
    power_w = season.curve.mean_w(np.array([speed]))
    mid = float(power_w[0]) / HOUR_S / speed
    low, middle, high = (mid * math.exp(mean + z * sd) for z in (-Z80, 0.0, Z80))
    return Estimate(middle, low, high, "Wh/m", used=season.points.used)


def _over_curve(season: Season, points: SteadyPoints) -> tuple[float, float]:
    """Mean of ln power over the season's curve, and its variance."""
    curve = season.curve
    slope = np.maximum(curve.slope(points.speed_mps), 1.0)
    off = np.log(points.power_w / curve.mean_w(points.speed_mps))
    own = (points.log_sd * curve.noise_scale) ** 2
    speed = (slope * points.speed_sd_mps / points.speed_mps) ** 2
    var = own + curve.leg_sd**2 + points.winds**2 + speed
    weight = points.duration_s / var
    legs = len(np.unique(points.group))
    mean = float(weight @ off / weight.sum())
    each = float(np.average(var, weights=weight)) / legs
    trip = TRIP_SD * float(np.average(slope, weights=weight))
    return mean, each + trip**2
