"""Legs of the last hours beside what the boat does now: one wind blew over all of them.

An earlier leg on another course tells, with the present one, what is the boat's own power and what
the wind's. Draw by draw the wind must fit both.

Source: Bayes' rule for jointly Gaussian numbers (textbook); two explanations weighed by their
probability of what was measured.
"""

from dataclasses import dataclass, replace

import numpy as np

from analyzer.environment.wind import BEYOND_WIND, Air
from analyzer.hull.curve_fit import STUDENT_DOF, leg_cov, shared_cov
from analyzer.hull.power_curve import CurvePoints, PowerCurve, Recent
from analyzer.series.series import Bools, Floats

NOT_ALONE = 0.2  # of the days, that sails helped or weed held it on some leg, unseen; assumed


@dataclass(frozen=True)
class Day:
    """The curve that the present is asked of, draw by draw.

    Args:
        curves: One mean, two covariances. second: Which draws have the second, (n,).
        moved: How far off that mean each draw's curve lies, (n, m).
        log_chance: Of each draw, (n,).
    """

    curves: tuple[PowerCurve, PowerCurve]
    second: Bools
    moved: Floats
    log_chance: Floats

    def lines(self, n: int, rng: np.random.Generator) -> Floats:
        """Equally likely ln power before it is moved, (n, m)."""
        first, other = self.curves
        lines = first.lines(n, rng)
        count = int(self.second.sum())
        if count:
            lines[self.second] = other.lines(count, rng)
        return lines

    def cov_rows(self, water_mps: Floats) -> Floats:
        """Covariance of ln power at each draw's own speed with the grid, (n, m)."""
        first, other = self.curves
        rows = first.cov_rows(water_mps)
        if self.second.any():
            rows[self.second] = other.cov_rows(water_mps[self.second])
        return rows


@dataclass(frozen=True)
class _After:
    """The curve as some legs leave it, its mean that of before; how far each draw's legs move it,
    (n, m); and ln probability of the legs in each draw, (n,), but for a constant.
    """

    curve: PowerCurve
    moved: Floats
    log_chance: Floats


def after_the_day(
    curve: PowerCurve,
    legs: Recent | None,
    air: Air,
    rng: np.random.Generator,
) -> Day:
    """The curve after earlier trips and, draw by draw, after the legs of the last hours.

    They were sailed in the wind that blows now, so each draw's wind must fit them too; unless
    sails or something else helped or held the boat there, and then they tell little of it.

    Args:
        curve: With all legs in it, for where `legs` is None.
        legs: But the one that goes on, for which the present stands.
    """
    n = len(air.wind_mps)
    if legs is None or not len(legs.end_s):
        one = curve if legs is None else legs.before
        return Day(
            curves=(one, one),
            second=np.zeros(n, dtype=bool),
            moved=np.zeros((n, len(curve.speed_mps))),
            log_chance=np.zeros(n),
        )
    alone, aided = _in_this_wind(legs, air), _in_any_wind(legs)
    log_alone = alone.log_chance + np.log1p(-NOT_ALONE)
    log_aided = aided.log_chance + np.log(NOT_ALONE)
    total = np.logaddexp(log_alone, log_aided)
    second = rng.random(n) < np.exp(log_aided - total)
    return Day(
        curves=(alone.curve, aided.curve),
        second=second,
        moved=np.where(second[:, None], aided.moved, alone.moved),
        log_chance=total,
    )


def _in_this_wind(legs: Recent, air: Air) -> _After:
    """After the legs, each draw's own wind taken out of their power."""
    points, leg_sd = legs.points, legs.before.leg_sd
    still_w = air.still_w(
        legs.heading_deg,
        points.speed_mps,
        points.power_w,
    )
    # A wind that was measured is out of the power already.
    still_w = np.where(points.winds > 0, still_w, points.power_w)
    beyond = np.full(len(points.group), BEYOND_WIND * leg_sd)
    return _after_legs(legs, np.log(still_w), beyond)


def _in_any_wind(legs: Recent) -> _After:
    """After the legs as they are, whatever wind or sails did to each: one row for all draws."""
    points = legs.points
    doubt = np.hypot(legs.before.leg_sd, points.winds)
    return _after_legs(legs, np.log(points.power_w)[None, :], doubt)


def _after_legs(recent: Recent, log_w: Floats, leg_sd: Floats) -> _After:
    """The curve after recent legs whose power each draw may think otherwise.

    Gaussian conditioning, S = H·C·H' + R: moved = C·H'·S^-1·(ln P - H·m), C' = C - C·H'·S^-1·H·C.

    Args:
        log_w: ln P of each draw and leg, (n, k).
        leg_sd: What wind and sea may have done to each leg's, shared by a group, (k,).
    """
    curve, points = recent.before, recent.points
    rows = curve.weights(points.speed_mps)
    cross = curve.cov @ rows.T
    slope = np.maximum(curve.slope(points.speed_mps), 1.0)
    noise = np.diag(points.log_sd**2) + shared_cov(points, slope)
    total = rows @ cross + noise + points.same_group * np.outer(leg_sd, leg_sd)
    off = log_w - rows @ curve.log_power
    pull = np.linalg.solve(total, off.T).T
    cov = curve.cov - cross @ np.linalg.solve(total, cross.T)
    squares = np.einsum("nk,nk->n", off, pull)
    return _After(
        curve=replace(curve, cov=(cov + cov.T) / 2),
        moved=np.einsum("nk,mk->nm", pull, cross),
        log_chance=-0.5 * (squares + np.linalg.slogdet(total)[1]),
    )


def doubted(curve: PowerCurve, points: CurvePoints) -> CurvePoints:
    """The points with larger errors of their own where they lie far off a curve (Student t)."""
    legs_var = np.diag(leg_cov(points, curve.leg_sd))
    curve_var = np.square(curve.log_sd(points.speed_mps))
    spread = points.log_sd**2 + legs_var + curve_var
    mean = curve.weights(points.speed_mps) @ curve.log_power
    off = np.log(points.power_w) - mean
    weight = (STUDENT_DOF + 1) / (STUDENT_DOF + off**2 / spread)
    more = np.maximum(1 / weight - 1, 0.0) * spread
    return replace(points, log_sd=np.sqrt(points.log_sd**2 + more))
