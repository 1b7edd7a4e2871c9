"""Legs of the last hours beside what the boat does now: one wind blew over all of them.

An earlier leg on another course tells, with the present one, what is the boat's own power and what
the wind's. Draw by draw the wind must fit both.

Source: Bayes' rule for jointly Gaussian numbers (textbook); two explanations weighed by their
probability of what was measured.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analyzer.environment.wind import BEYOND_WIND, Air
from analyzer.hull.curve_fit import STUDENT_DOF, leg_cov, shared_cov
from analyzer.hull.power_curve import CurvePoints, PowerCurve, Recent

Floats = npt.NDArray[np.float64]

NOT_ALONE = 0.2  # of the days, that sails helped or weed held her on some leg, unseen


@dataclass(frozen=True)
class Day:
    """The curve that the present is asked of, draw by draw.

    curves: One mean, two covariances. second: Which draws have the second, (n,). moved: How far
    off that mean each draw's curve lies, (n, m). log_chance: Of each draw, (n,).
    """

    curves: tuple[PowerCurve, PowerCurve]
    second: npt.NDArray[np.bool_]
    moved: Floats
    log_chance: Floats

    def lines(self, n: int, rng: np.random.Generator) -> Floats:
        """Equally likely ln power before it is moved, (n, m)."""
        lines = self.curves[0].lines(n, rng)
        if self.second.any():
            lines[self.second] = self.curves[1].lines(int(self.second.sum()), rng)
        return lines

    def cov_rows(self, water_mps: Floats) -> Floats:
        """Covariance of ln power at each draw's own speed with the grid, (n, m)."""
        rows = self.curves[0].cov_rows(water_mps)
        if self.second.any():
            rows[self.second] = self.curves[1].cov_rows(water_mps[self.second])
        return rows


def after_the_day(
    curve: PowerCurve, legs: Recent | None, air: Air, rng: np.random.Generator
) -> Day:
    """The curve after earlier trips and, draw by draw, after the legs of the last hours.

    They were sailed in the wind that blows now, so each draw's wind must fit them too; unless
    sails or something else helped or held her there, in which case they tell little of it.

    Args:
        curve: With all legs in it, for where `legs` is None.
        legs: But the one that goes on, for which the present stands.
    """
    n = len(air.wind_mps)
    never, none = np.zeros(n, dtype=bool), np.zeros((n, len(curve.speed_mps)))
    if legs is None:
        return Day((curve, curve), never, none, np.zeros(n))
    if not len(legs.end_s):
        return Day((legs.before, legs.before), never, none, np.zeros(n))
    points, leg_sd = legs.points, legs.before.leg_sd
    winds = np.zeros(len(points.group)) if points.wind_log_sd is None else points.wind_log_sd
    still = air.still_w(legs.heading_deg, points.speed_mps, points.power_w)
    still = np.where(winds > 0, still, points.power_w)  # a measured wind is out of it already
    beyond = np.full(len(winds), BEYOND_WIND * leg_sd)
    one, moved, chance = _after_legs(legs, np.log(still), beyond)
    other, moved_too, chance_too = _after_legs(
        legs, np.log(points.power_w)[None, :], np.hypot(leg_sd, winds)
    )
    chance, chance_too = chance + np.log1p(-NOT_ALONE), chance_too[0] + np.log(NOT_ALONE)
    total = np.logaddexp(chance, chance_too)
    second = rng.random(n) < np.exp(chance_too - total)
    return Day((one, other), second, np.where(second[:, None], moved_too, moved), total)


def _after_legs(recent: Recent, log_w: Floats, leg_sd: Floats) -> tuple[PowerCurve, Floats, Floats]:
    """The curve after recent legs whose power each draw may think otherwise.

    Args:
        log_w: ln power of each draw and leg, (n, k).
        leg_sd: What wind and sea may have done to each leg's, shared by a group, (k,).
    Returns:
        The curve as it is left by the legs, its mean that of `before`; how far each draw's legs
        move it, (n, m); and ln probability of the legs in each draw, (n,), but for a constant.
    """
    curve, points = recent.before, recent.points
    rows = curve.weights(points.speed_mps)
    cross = curve.cov @ rows.T
    same = points.group[:, None] == points.group[None, :]
    slope = np.maximum(curve.slope(points.speed_mps), 1.0)
    total = rows @ cross + np.diag(points.log_sd**2) + shared_cov(points, slope)
    total = total + same * np.outer(leg_sd, leg_sd)
    off = log_w - rows @ curve.log_power
    pull = np.linalg.solve(total, off.T).T
    left = curve.cov - cross @ np.linalg.solve(total, cross.T)
    chance = -0.5 * (np.einsum("nk,nk->n", off, pull) + np.linalg.slogdet(total)[1])
    after = replace(curve, cov=(left + left.T) / 2)
    return after, np.einsum("nk,mk->nm", pull, cross), chance


def doubted(curve: PowerCurve, points: CurvePoints) -> CurvePoints:
    """The points with larger errors of their own where they lie far off a curve (Student t)."""
    spread = points.log_sd**2 + np.diag(leg_cov(points, curve.leg_sd))
    spread = spread + np.square(curve.log_sd(points.speed_mps))
    off = np.log(points.power_w) - curve.weights(points.speed_mps) @ curve.log_power
    weight = (STUDENT_DOF + 1) / (STUDENT_DOF + off**2 / spread)
    more = np.maximum(1 / weight - 1, 0.0) * spread
    return replace(points, log_sd=np.sqrt(points.log_sd**2 + more))
