"""What is left open of the cells' resistances: by algebra and by hand."""

import numpy as np
import pytest
from pytest import approx

from analyzer.cells.ohms import KNOTS, ROUND, SLOW_EXCESS, VARIES, Ohms, hats, varies
from analyzer.pack.cell_model import chemistry

MEDIAN = 0.5e-3
UNSEEN = Ohms(MEDIAN, np.zeros(3), np.full(3, np.inf))


def test_where_no_load_step_was_seen_a_raised_one_is_as_raised_ones_are():
    # an exponential distribution of scale 0.4 that begins at 0.18: its mean and deviation
    raised = UNSEEN.if_raised()
    assert raised.excess == approx(0.58 * MEDIAN)
    assert raised.excess_sd == approx(0.4 * MEDIAN)
    usual = UNSEEN.if_usual()
    assert usual.excess == approx(0.0)
    assert usual.excess_sd == approx(0.2 * MEDIAN)
    assert not UNSEEN.known


def test_load_steps_outweigh_what_is_usual_by_their_precision():
    seen = Ohms(MEDIAN, np.array([0.3 * MEDIAN]), np.array([0.1 * MEDIAN]))
    # two normal distributions multiplied, by hand: precisions 100 and 6.25
    raised = seen.if_raised()
    assert raised.excess[0] / MEDIAN == approx((0.3 * 100 + 0.58 * 6.25) / 106.25)
    assert raised.excess_sd[0] / MEDIAN == approx(106.25**-0.5)
    assert not seen.known
    assert Ohms(MEDIAN, np.zeros(1), np.array([0.01 * MEDIAN])).known


def test_hats_share_a_charge_among_its_neighbours():
    charge = np.array([-0.2, 0.0, 0.15, 0.3, 0.65, 1.0, 1.1])
    shares = hats(charge)
    assert shares.sum(axis=0) == approx(1.0)
    assert KNOTS @ shares == approx(np.clip(charge, 0.0, 1.0))


@pytest.mark.parametrize("name", ["lfp", "nmc"])
def test_a_raised_resistance_is_doubted_most_near_empty(name):
    """There slow polarisation is three times that at mid charge, as the chemistry's table says."""
    kind = chemistry(name)
    share = varies(kind)
    assert share[0] == approx(np.hypot(VARIES, 2 * SLOW_EXCESS))
    assert share.argmax() == 0


def test_what_is_left_open_grows_with_how_far_a_resistance_is_raised():
    kind = chemistry("lfp")
    excess = np.array([0.0, 0.05, 1.0]) * MEDIAN
    ohms = Ohms(MEDIAN, excess, np.full(3, 0.01 * MEDIAN))
    open_sd = ohms.left_open_sd(kind)
    assert (open_sd[0] == open_sd[1]).all()  # as healthy cells differ
    # beyond twice the 4 % by which healthy ones differ, and 5 % of slow polarisation; rounded up
    exact = np.hypot(np.hypot(0.01, 0.05), 0.92 * varies(kind)) * MEDIAN
    assert (open_sd[2] >= exact * (1 - 1e-9)).all()
    assert (open_sd[2] <= exact * ROUND).all()
    mean, sd = ohms.slow()
    assert mean == approx(0.225 * excess)
    assert sd[2] > sd[1] == sd[0]
