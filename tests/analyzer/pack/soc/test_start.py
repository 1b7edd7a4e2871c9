"""Where a log begins: stories drawn many times, against the filter's prior."""

import numpy as np
import pytest

from analyzer.pack.cell_model import chemistry, default_cell
from analyzer.pack.soc.filter import SOC_EDGES, STRETCHES, GaussianMixtureFilter
from analyzer.pack.soc.noise import CHARGED, FULL_SHARE, prior_moments, start_shares
from analyzer.pack.soc.states import FAST, LN_Q
from logger.boat import Pack

DRAWS = 400_000
PACK = Pack(chemistry="lfp", cells_in_series=1, rated_capacity_ah=100)
LEAD_PACK = Pack(chemistry="agm", cells_in_series=6, rated_capacity_ah=100)


def test_shares_are_those_of_charges_that_end_anywhere_above_their_start():
    rng = np.random.default_rng(1)
    start = rng.uniform(size=DRAWS)
    ended = np.where(rng.uniform(size=DRAWS) < FULL_SHARE, 1.0, rng.uniform(start, 1.0))
    drawn = np.where(rng.uniform(size=DRAWS) < CHARGED, ended, start)
    counted, _ = np.histogram(drawn, SOC_EDGES)
    assert start_shares(SOC_EDGES) == pytest.approx(counted / DRAWS, abs=0.003)
    assert start_shares(SOC_EDGES).sum() == pytest.approx(1.0)


@pytest.mark.parametrize("anywhere", [True, False])
def test_the_filter_begins_with_them(anywhere):
    bank = GaussianMixtureFilter(default_cell(PACK), anywhere)
    by_stretch = bank.weights().reshape(-1, STRETCHES).sum(axis=0)
    expected = np.diff(SOC_EDGES) if anywhere else start_shares(SOC_EDGES)
    assert by_stretch == pytest.approx(expected)


def test_a_worn_block_has_half_as_much_resistance_again():
    """IEEE 1188's limits, from memory: 80 % of the capacity, 150 % of the resistance."""
    worn, new = (prior_moments(default_cell(LEAD_PACK), np.log(q), 0.05) for q in (0.8, 1.0))
    assert np.exp(worn[0][FAST] - new[0][FAST]) == pytest.approx(1.5, rel=0.01)


def test_a_higher_resistance_tells_of_less_capacity():
    """Drawn many times: blocks of more resistance have less capacity, by the regression's slope."""
    mean, cov = prior_moments(default_cell(LEAD_PACK), -0.1, 0.1)
    rng = np.random.default_rng(2)
    ln_q = -0.1 + 0.1 * rng.standard_normal(DRAWS)
    ln_r = np.log(1.5) / np.log(0.8) * ln_q + chemistry("agm").fast_sd * rng.standard_normal(DRAWS)
    drawn = np.cov(ln_r, ln_q)
    assert mean[FAST] == pytest.approx(ln_r.mean(), abs=0.005)
    assert cov[np.ix_([FAST, LN_Q], [FAST, LN_Q])] == pytest.approx(drawn, rel=0.02)
