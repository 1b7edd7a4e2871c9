"""Where a log begins: the same story drawn many times, against the shares of the stretches."""

import numpy as np
import pytest

from analyzer.pack.cell_model import default_cell
from analyzer.pack.soc.filter import SOC_EDGES, STRETCHES, GaussianMixtureFilter
from analyzer.pack.soc.noise import CHARGED, FULL_SHARE, start_shares
from logger.boat import Pack

DRAWS = 400_000
PACK = Pack(chemistry="lfp", cells_in_series=1, rated_capacity_ah=100)


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
