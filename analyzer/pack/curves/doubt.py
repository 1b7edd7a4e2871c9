"""How far a published curve may lie from the cell aboard: covariances where the filter has them.

Forms that published cells differ by are modes; between them anything smooth may be; at both ends
of the label the curve is right by definition.
"""

import numpy as np
import numpy.typing as npt

from analyzer.pack.curves.half_cells import nmc_spread_v

Floats = npt.NDArray[np.float64]

# 401 places make the tables finer than any knee; assumed.
GRID = np.linspace(0.0, 1.0, 401)
EMPTY_SD = 0.015  # of the place of 0 % on the curve; assumed
FULL_SD = 0.02  # of the place of 100 %: what is called full reaches from 3.4 to 3.65 V; assumed
# A third draw's standard deviation about the mean of two, over half their distance d: by definition
# the sample variance is d²/2, and a third draw's about the mean 3/2 of that.
THIRD = 3**0.5
MOST_SHIFT_V = 0.1  # of a shifted knee; assumed
KNEE_SOC = 0.02  # over so little charge a knee's form may change; assumed
# Where the curve's error is carried: close where graphite bends and where the knees are. Assumed.
KNOTS = np.array(
    [0, 0.015, 0.03, 0.05, 0.075, 0.1, 0.13, 0.16, 0.2, 0.27, 0.35, 0.45, 0.55, 0.62, 0.68, 0.74,
     0.82, 0.9, 0.95, 0.98, 1]
)  # fmt: skip


def shape(points: dict[float, float]) -> Floats:
    """A table on `GRID` through points by charge."""
    places = list(points)
    factors = list(points.values())
    return np.interp(GRID, places, factors)


def alike(x: Floats, sd: float | Floats, reach: float) -> Floats:
    """Covariance of values that are the more alike the nearer they are. Shape (n,) to (n, n)."""
    sd = np.broadcast_to(sd, x.shape)
    # exponential: a process without memory along the charge (Ornstein-Uhlenbeck)
    apart = np.abs(x[:, None] - x)
    cov = np.outer(sd, sd) * np.exp(-apart / reach)
    # a little of its own at each place keeps the matrix invertible
    cov += 1e-10 * np.eye(len(x))
    return np.asarray(cov)


def doubt(sd_v: float, reach: float, *modes: Floats) -> Floats:
    """Covariance at `KNOTS`: an error alike near by, and errors of a known form on `GRID`."""
    # forms that published cells differ by are certain; between the knots anything smooth may be
    cov = alike(KNOTS, sd_v, reach)
    for mode in modes:
        at = at_knots(mode)
        whole = np.outer(at, at)
        cov += whole
    return cov


# What a make's curve has that no mixture of the other published makes has, each left out in turn
# (`tests/analyzer/pack/curves/test_prior.py`): root of the mean square, and over what charge it
# stays alike.
LFP_OWN_V, NMC_OWN_V, OWN_REACH = 0.009, 0.027, 0.1


def curve_cov_v2(curve_v: Floats, own_v: float, shared_v2: Floats) -> Floats:
    """Covariance at `KNOTS` of a cell's curve about its chemistry's. [V²]

    Args:
        curve_v: The chemistry's, on `GRID`.
        own_v: What it has of its own; no more than what makes differ by, where they agree.
        shared_v2: Of what it shares with published makes and with aged cells, at `KNOTS`, (k, k).
    """
    shared = alike(KNOTS, 0.0, OWN_REACH) + shared_v2
    own_sd_v = np.minimum(own_v, np.sqrt(np.diag(shared)))
    own = alike(KNOTS, own_sd_v, OWN_REACH)
    return shared + own + alike(KNOTS, ends_v(curve_v), KNEE_SOC)


def at_knots(values: Floats) -> Floats:
    """Of values on `GRID`."""
    return np.asarray(np.interp(KNOTS, GRID, values))


def end_shift(curve_v: Floats, shift: float) -> Floats:
    """Doubt near empty where 0 % may lie `shift` off, fading out at 20 %; all on `GRID`. [V]"""
    fade = (0.2 - GRID) / 0.1
    return _shifted_v(curve_v, shift, fade)


def top_shift(curve_v: Floats, shift: float) -> Floats:
    """Doubt near full where 100 % may lie `shift` off, fading out at 90 %. [V]"""
    fade = (GRID - 0.87) / 0.05
    return _shifted_v(curve_v, shift, fade)


def _shifted_v(curve_v: Floats, shift: float, fade: Floats) -> Floats:
    """What a place of the curve `shift` off makes in voltage, where it does not fade. [V]"""
    slope = np.abs(np.gradient(curve_v, GRID))
    # straight lines end at the knee's end: 0.1 V at most
    off_v = np.minimum(slope * shift, MOST_SHIFT_V)
    return np.asarray(off_v * np.clip(fade, 0.0, 1.0))


# Over so much charge the two makes' distance stays alike: correlated by 0.78 a tenth apart and by
# 0.31 a fifth apart, where exp(-d / 0.3) has 0.72 and 0.51; assumed between.
NMC_REACH = 0.3
NMC_METER_V = 0.02  # 0.5 % of 4.2 V, a pack meter's class; makers' data sheets
NMC_EMPTY_V = 3.0  # where a discharge ends; makers' data sheets


def nmc_spread() -> float:
    """How far an NMC cell may lie off the mean of the two, along the curve: a standard deviation.
    [V]

    Where two curves happen to cross they say nothing of a third, so that their distance is pooled
    from 15 to 95 % of charge.
    """
    along = (GRID >= 0.15) & (GRID <= 0.95)
    spread = THIRD * nmc_spread_v(GRID[along])
    # from two makes over so many independent stretches of charge: a Student distribution's variance
    freedom = 1 + float(np.ptp(GRID[along])) / NMC_REACH
    pooled = np.mean(spread**2) * freedom / (freedom - 2)
    return float(np.sqrt(pooled))


def ends_v(curve_v: Floats) -> Floats:
    """How far the knees' own form may be off, at `KNOTS`; the curve on `GRID`. [V]"""
    empty_v = end_shift(curve_v, EMPTY_SD)
    full_v = top_shift(curve_v, FULL_SD)
    return at_knots(empty_v + full_v)
