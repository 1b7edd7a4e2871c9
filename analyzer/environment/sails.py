"""Sails beside the motor: one of the hypotheses of what else drives the boat now.

A stream carries the boat, a wind pushes or holds its hull; both are drawn (`stream`, `wind`) and
go on by memories of their own. Sails that are set while the motor runs do more than either: the
drive then takes a share u of the power P that the boat would take alone at its speed,

    ln(power measured) = ln P - x,    x = -ln u,    u uniform between 0 and 1 (assumed),

so that x is exponential of mean 1. Each Monte Carlo draw, with its own stream, wind and curve, is
asked how likely it makes the present without sails (x = 0) and with each of some equally likely x.

Whoever reefs or takes sails down ends it at any moment, as a change of the throttle does: going on
as now keeps both, and is said to be on that condition; another speed, another course and the way
home are those of the motor alone.

Source: Bayes' rule over a discrete hypothesis; quantiles of the exponential distribution
(textbook).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from logger.boat import Hull

Floats = npt.NDArray[np.float64]

SET_SHARE = 0.1  # of steady motoring, that a sail helps a boat that can set one; assumed
LIKELY = 0.5  # from which on an answer says so: likelier than not, by definition
STEPS = 32  # helps that stand for the exponential distribution: a power down to 1/64; assumed
# x of each hypothesis: none first, then quantiles of the exponential distribution. (STEPS + 1,)
HELPS = np.concatenate([[0.0], -np.log((np.arange(STEPS) + 0.5) / STEPS)])


def prior(hull: Hull) -> float:
    """Probability, before anything is measured, that sails help beside the motor."""
    return 0.0 if hull.kind == "motor_launch" else SET_SHARE


@dataclass(frozen=True)
class Weighed:
    """How the hypotheses of `HELPS` fare in each draw.

    Args:
        log_chance: ln probability density of the present power in each draw, but for a
            constant, (n,).
        shares: Posterior probability of each hypothesis, (n, STEPS + 1).
    """

    log_chance: Floats
    shares: Floats

    def draw(self, which: npt.NDArray[np.int64], rng: np.random.Generator) -> Floats:
        """x of the draws picked by index: 0 where sails are down, (len(which),)."""
        below = np.cumsum(self.shares[which], axis=1)
        place = rng.random((len(which), 1)) * below[:, -1:]
        return np.asarray(HELPS[(below < place).sum(axis=1)])


def weigh(off: Floats, variance: Floats, set_share: float) -> Weighed:
    """What the present power says of the sails, draw by draw.

    Args:
        off: ln power measured less what the draw thinks of it, (n,).
        variance: Of all that lies between, (n,).
        set_share: Probability that a sail helps, before this is seen.
    """
    odds = np.full(len(HELPS), set_share / STEPS)
    odds[0] = 1.0 - set_share
    with np.errstate(divide="ignore"):
        log_odds = np.log(odds)
    miss = off[:, None] + HELPS
    log_each = log_odds - 0.5 * miss**2 / variance[:, None]
    most = log_each.max(axis=1)
    chance = np.exp(log_each - most[:, None])
    total = chance.sum(axis=1)
    log_chance = most + np.log(total) - 0.5 * np.log(variance)
    return Weighed(log_chance, chance / total[:, None])
