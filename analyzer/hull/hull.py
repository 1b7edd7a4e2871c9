"""Power against speed through water: the hull's numbers, corrected by what the log adds."""

from dataclasses import replace

import numpy as np

from analyzer.environment.wind import ONE_WIND_S
from analyzer.hull.curve_fit import update
from analyzer.hull.power_curve import CurvePoints, PowerCurve, Recent
from analyzer.hull.prior import form, prior
from analyzer.hull.recent_legs import doubted
from analyzer.hull.steady_points import SteadyPoints, compact

__all__ = ["fit", "form", "prior"]


def fit(points: SteadyPoints, before: PowerCurve) -> PowerCurve:
    """The power curve after steady stretches of the log.

    Args:
        points: From `steady`, one or many trips joined.
        before: `prior(boat)`, or an older fit that has not seen these points.
    Returns:
        A curve on the same grid; `before` itself where there are no points.
    """
    if not len(points.speed_mps):
        return before
    after = _fitted(points, before)
    end_s = points.t_utc_s + points.duration_s / 2
    new = np.isfinite(points.headings) & (end_s > end_s.max() - ONE_WIND_S)
    if not new.any():
        return after
    earlier = before if new.all() else _fitted(points.take(~new), before)
    earlier = replace(earlier, local=None)
    legs = doubted(after, _table(points.take(new)))
    return replace(after, recent=Recent(earlier, legs, points.headings[new], end_s[new]))


def _table(points: SteadyPoints) -> CurvePoints:
    return CurvePoints(
        speed_mps=points.speed_mps,
        power_w=points.power_w,
        log_sd=points.log_sd,
        speed_sd_mps=points.speed_sd_mps,
        group=points.group,
        wind_log_sd=points.winds,
    )


def _fitted(points: SteadyPoints, before: PowerCurve) -> PowerCurve:
    after = update(before, _table(compact(points)))
    minutes = before.minutes + float(points.duration_s.sum()) / 60.0
    reason = f"from {minutes:.0f} minutes of steady motoring and the hull's numbers"
    return replace(after, minutes=minutes, reason=reason, used=("hull", *points.used))
