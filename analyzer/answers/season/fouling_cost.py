"""What growth on the bottom has cost since it was last clean."""

import math

import numpy as np

from analyzer.answers.health.trends import Past
from analyzer.answers.season.rows import FoulingCost
from analyzer.answers.season.stretch import Outing, Season
from analyzer.estimation.estimate import Estimate, cannot_say

MOST_LOSS = 0.6  # of the speed, so that logarithms stay finite; assumed as for a what-if


def fouling_cost(season: Season) -> FoulingCost:
    """By the trend of the speed losses since then."""
    found = season.fouling
    return FoulingCost(
        since_utc_s=found.clean_from_utc_s,
        cleaned_utc_s=found.cleaned_utc_s,
        given_back=found.given_back,
        speed=found.since_clean,
        power=_power(season, found.since_clean),
        energy=_energy(season),
        sentence=found.sentence,
        rows=tuple(Past(row.t_utc_s, row.loss) for row in found.rows),
    )


def _power(season: Season, loss: Estimate) -> Estimate:
    """More power for the same speed: P goes as v to the p, p the curve's slope. [frac]"""
    if loss.mid is None or loss.low is None or loss.high is None:
        return loss
    if season.usual_mps is None:
        return cannot_say("too little steady motoring in the season", "frac")
    p = _slope(season, season.usual_mps)
    high, mid, low = (more_power(value, p) for value in (loss.low, loss.mid, loss.high))
    return Estimate(mid, low, high, "frac", reason="at the season's usual speed")


def more_power(loss: float, slope: float) -> float:
    """Power over that of the clean bottom at the same speed, less one. [frac]"""
    return math.expm1(-slope * math.log1p(max(loss, -MOST_LOSS)))


def _slope(season: Season, speed_mps: float) -> float:
    return max(float(season.curve.slope(np.array([speed_mps]))[0]), 1.0)


def _energy(season: Season) -> Estimate:
    """More energy under motor since then, trip by trip along the trend. [Wh]"""
    found = season.fouling
    loss, since_s = found.since_clean, found.clean_from_utc_s
    if loss.mid is None or loss.low is None or loss.high is None or since_s is None:
        return cannot_say(loss.reason, "Wh")
    last_s = found.rows[-1].t_utc_s
    lasts_s = max(last_s - since_s, 1.0)
    told = []
    for outing in season.outings:
        motor = outing.motor()
        if motor is not None and outing.row.end_utc_s >= since_s:
            told.append((outing, motor[0]))
    if not told:
        return cannot_say("no trip since then tells its energy under motor", "Wh")
    ends = []
    for per_end in (loss.high, loss.mid, loss.low):
        per_s = per_end / lasts_s
        ends.append(sum(_cost_wh(season, one, wh, per_s) for one, wh in told))
    low, mid, high = ends
    reason = f"on {len(told)} trips since then"
    return Estimate(mid, low, high, "Wh", reason=reason)


def _cost_wh(season: Season, outing: Outing, wh: float, per_s: float) -> float:
    """What of a trip's energy under motor growth cost, at so much loss a second. [Wh]"""
    more = _more(season, outing, per_s)
    return wh * more / (1 + more)


def _more(season: Season, outing: Outing, per_s: float) -> float:
    """More power on a trip than with the bottom clean. [frac]"""
    speed = season.usual_mps or 1.0
    if len(outing.points.speed_mps):
        speed = float(outing.points.speed_mps.mean())
    since_s = season.fouling.clean_from_utc_s or 0.0
    loss = per_s * (outing.row.end_utc_s - since_s)
    return more_power(loss, _slope(season, speed))
