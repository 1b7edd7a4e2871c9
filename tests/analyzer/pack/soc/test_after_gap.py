"""What may have become of the charge while nothing was measured. Figures invented."""

import numpy as np
import pytest
from pytest import approx

from analyzer.pack.cell_model import default_cell, measured_capacity
from analyzer.pack.soc.after_gap import (
    ANYTHING,
    LEFT_C,
    reset_after_gap,
    weigh_by_gauge,
)
from analyzer.pack.soc.filter import MOST_COMPONENTS, GaussianMixtureFilter
from analyzer.pack.soc.noise import CHARGED
from analyzer.pack.soc.states import HYST, LN_Q, SHIFT, SOC
from logger.boat import Pack

PACK = Pack(chemistry="lfp", cells_in_series=1, rated_capacity_ah=100)
HOUR_S = 3600.0


@pytest.fixture
def bank():
    """At 40 % within 1 %, after a discharge, its capacity 5 % over the label, and sure of it."""
    bank = GaussianMixtureFilter(measured_capacity(default_cell(PACK), 0.01))
    bank.keep(np.arange(len(bank.log_weight)) == 8)
    bank.mean[SOC, 0], bank.cov[SOC, SOC, 0] = 0.4, 0.01**2
    bank.mean[HYST, 0], bank.cov[HYST, HYST, 0] = -1.0, 0.1**2
    bank.mean[LN_Q, 0] = 0.05
    bank.cov[SOC, LN_Q, 0] = bank.cov[LN_Q, SOC, 0] = 0.5e-4
    return bank


def share(bank, low, high):
    """Weight of the guesses whose middle lies there."""
    inside = (bank.mean[SOC] >= low) & (bank.mean[SOC] <= high)
    return float(bank.weights()[inside].sum())


def test_after_half_an_hour_it_is_mostly_as_it_was_left(bank):
    reset_after_gap(bank, 1800.0, 0.0)
    assert share(bank, 0.39, 0.41) > 0.97
    assert bank.mean_var()[0][SOC] == approx(0.4, abs=0.01)


def test_after_a_week_it_may_be_full_and_may_be_anything(bank):
    reset_after_gap(bank, 7 * 24 * HOUR_S, 0.0)
    # a charge goes on to the end at least every other time
    assert 0.5 * CHARGED < share(bank, 0.97, 1.0) < CHARGED + 2 * ANYTHING
    for low in (0.05, 0.25, 0.5, 0.7, 0.9):
        assert share(bank, low, low + 0.1) > 0.005
    full = bank.mean[SOC] > 0.97
    assert bank.mean[HYST][full] @ bank.weights()[full] > 0.3 * bank.weights()[full].sum()


def test_a_night_leaves_room_for_what_a_sleeping_boat_draws(bank):
    reset_after_gap(bank, 10 * HOUR_S, 0.03)
    w, x = bank.weights(), bank.mean
    as_left = x[HYST] < -0.9
    mean = w[as_left] @ x[SOC][as_left] / w[as_left].sum()
    var = w[as_left] @ ((x[SOC] - mean) ** 2 + bank.cov[SOC, SOC])[as_left] / w[as_left].sum()
    assert mean == approx(0.4, abs=0.01)
    # 1 % of before, 3 % that counting had lost, 10 h of what is drawn
    assert var**0.5 == approx((0.01**2 + 0.03**2 + (10 * LEFT_C) ** 2) ** 0.5, rel=0.1)


@pytest.mark.parametrize("hours", [0.3, 3.0, 30.0, 3000.0])
def test_bank_stays_a_probability_and_keeps_what_it_learned(bank, hours):
    reset_after_gap(bank, hours * HOUR_S, 0.02)
    assert len(bank.log_weight) <= MOST_COMPONENTS
    assert bank.weights().sum() == approx(1.0)
    mean, var = bank.mean_var()
    assert mean[LN_Q] == approx(0.05, abs=1e-9)
    assert var[LN_Q] == approx(0.01**2, rel=1e-6)
    assert var[SHIFT] == approx(default_cell(PACK).kind.curve_sd_v ** 2, rel=1e-6)
    assert np.all((bank.mean[SOC] >= 0) & (bank.mean[SOC] <= 1))
    for k in range(bank.cov.shape[2]):
        assert np.linalg.eigvalsh(bank.cov[:, :, k]).min() > -1e-12


def test_longer_is_never_surer(bank):
    def width(hours):
        fresh = GaussianMixtureFilter(default_cell(PACK))
        fresh.mean, fresh.cov = bank.mean.copy(), bank.cov.copy()
        fresh.log_weight = bank.log_weight.copy()
        reset_after_gap(fresh, hours * HOUR_S, 0.0)
        return float(fresh.mean_var()[1][SOC])

    widths = [width(hours) for hours in (0.5, 1, 2, 5, 10, 20)]
    assert np.all(np.diff(widths) > 0)


def test_gauge_is_heard_and_not_obeyed(bank):
    reset_after_gap(bank, 48 * HOUR_S, 0.0)
    before = share(bank, 0.97, 1.0)
    weigh_by_gauge(bank, 1.0, 0.1)
    assert share(bank, 0.97, 1.0) > before
    # one that says what cannot be leaves the rest as it was
    ratio = share(bank, 0.2, 0.3) / share(bank, 0.4, 0.5)
    weigh_by_gauge(bank, 0.98, 0.02)
    assert share(bank, 0.2, 0.3) / share(bank, 0.4, 0.5) == approx(ratio, rel=1e-3)
    assert share(bank, 0.2, 0.6) > 0.02
