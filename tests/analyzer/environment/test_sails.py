"""Sails as a hypothesis, against the exponentially modified normal distribution of scipy."""

import numpy as np
import pytest
from scipy import stats

from analyzer.environment import sails
from logger.boat import Hull


def _density(off: float, sd: float) -> float:
    """Of ln power measured less what is thought of it, e - x, x exponential of mean 1: scipy has
    x - e with K = 1 / sd."""
    return float(stats.exponnorm.pdf(-off, K=1 / sd, scale=sd))


@pytest.mark.parametrize("sd", [0.1, 0.2, 0.5])
@pytest.mark.parametrize("off", [-2.0, -1.0, -0.4, 0.0, 0.3])
def test_the_density_under_sails_is_the_exact_one(off: float, sd: float):
    """Within a twentieth: 32 helps stand for all."""
    weighed = sails.weigh(np.array([off]), np.array([sd**2]), 1.0)
    density = np.exp(weighed.log_chance[0]) / np.sqrt(2 * np.pi)
    assert density == pytest.approx(_density(off, sd), rel=0.05, abs=0.005)


@pytest.mark.parametrize(("off", "sd"), [(-0.2, 0.2), (-0.8, 0.3), (0.1, 0.2), (-2.0, 0.4)])
def test_sails_are_drawn_as_often_as_bayes_rule_has_it(off: float, sd: float):
    """One in ten beforehand, against the boat alone with a normal error."""
    n = 20_000
    weighed = sails.weigh(np.full(n, off), np.full(n, sd**2), 0.1)
    drawn = weighed.draw(np.arange(n), np.random.default_rng(1))
    under = 0.1 * _density(off, sd)
    want = under / (under + 0.9 * stats.norm.pdf(off, scale=sd))
    assert (drawn > 0).mean() == pytest.approx(want, rel=0.06, abs=0.004)
    assert (drawn >= 0).all()


def test_without_sails_nothing_is_thought_of_them():
    """A launch has none, and a probability of 0 stays 0 however little power is measured."""
    launch = Hull(kind="motor_launch", waterline_m=5, beam_waterline_m=1.8, draught_m=0.4,
                  displacement_kg=600)  # fmt: skip
    assert sails.prior(launch) == 0.0
    weighed = sails.weigh(np.full(50, -5.0), np.full(50, 0.01), sails.prior(launch))
    drawn = weighed.draw(np.arange(50), np.random.default_rng(1))
    assert not drawn.any()
