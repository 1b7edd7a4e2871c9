"""Capacity of packs in service: against exact moments, and against what the field has shown."""

import numpy as np
import pytest
from pytest import approx

from analyzer.pack.chemistry import GRID, KNOTS, chemistry
from analyzer.pack.curves.half_cells import graphite_v, lfp_electrode_v
from analyzer.pack.curves.prior import MAKES, _aged, curve_prior
from analyzer.pack.curves.service_prior import LEAD_ACID, LITHIUM, ln_moments


@pytest.mark.parametrize("service", [LITHIUM, LEAD_ACID])
def test_moments_of_the_story(service):
    # ln(new) and rate·age are independent: log-normal rate, uniform age
    mean_rate = service.rate * np.exp(service.rate_ln_sd**2 / 2)
    lost = mean_rate * service.oldest_y / 2
    squared = mean_rate**2 * np.exp(service.rate_ln_sd**2) * service.oldest_y**2 / 3
    mean, sd = ln_moments(service)
    expected = np.log(service.new) - service.new_sd**2 / 2 - lost
    assert mean == approx(expected, abs=0.008)
    assert sd == approx(np.sqrt(service.new_sd**2 + squared - lost**2), rel=0.06)


def test_home_storage_loses_what_the_field_has_shown():
    # 2 to 3 % a year (Figgener et al. 2024): the middle of the spread
    new, lost = LITHIUM.draw(np.random.default_rng(3), 20_000)
    assert 0.02 < -np.median(np.log(1 - lost)) / (LITHIUM.oldest_y / 2) < 0.03
    # few hold more than the label, the tail is to low
    share = new * (1 - lost)
    assert np.mean(share > 1) < 0.2
    assert np.mean(share) < np.median(share)


def test_a_new_cell_between_its_windows_is_the_two_half_cells():
    soc = np.linspace(0.2, 0.9, 8)
    make, place = MAKES["lfp"][0], np.full(6, 0.5)
    curve, capacity = _aged(make, 0.0, place, soc)
    # windows at their middles: graphite 0.01 to 0.78, iron phosphate 0.95 to 0.0275
    plain = lfp_electrode_v(0.95 - 0.9225 * soc) - graphite_v(0.01 + 0.77 * soc)
    assert curve == approx(plain, abs=0.004)
    assert capacity == approx(1.0, abs=0.02)


@pytest.mark.parametrize("name", ["lfp", "nmc"])
def test_lithium_lost_is_capacity_lost(name):
    make, place = MAKES[name][0], np.r_[np.full(4, 0.5), 0.0, 0.0]  # no active material lost
    capacity = [_aged(make, lost, place, GRID)[1] for lost in (0.0, 0.1, 0.2)]
    assert np.diff(capacity) == approx([-0.1, -0.1], abs=0.02)


def test_a_bend_of_an_aged_cell_lies_at_a_higher_charge():
    # lithium lost fills the graphite less at full; its stage at a filling of 0.569 (Safari and
    # Delacourt 2011) is met later: (0.569 - 0.01) / (0.77 · 0.9) = 0.81 of the charge, not 0.73
    make, place = MAKES["lfp"][0], np.r_[np.full(4, 0.5), 0.0, 0.0]
    soc = np.linspace(0.6, 0.88, 281)  # below the knee at full

    def steepest(lost):
        return float(soc[np.argmax(np.gradient(_aged(make, lost, place, soc)[0]))])

    assert steepest(0.0) == approx(0.73, abs=0.02)
    assert steepest(0.1) == approx(0.81, abs=0.02)


@pytest.mark.parametrize("name", ["lfp", "nmc"])
def test_regression_leaves_nothing_that_goes_with_the_capacity(name):
    prior = curve_prior(name, KNOTS)
    assert prior.rest_v.sum(axis=0) == approx(0.0, abs=1e-9)
    assert -0.2 < prior.ln_mean < 0.0
    kind = chemistry(name)
    assert kind.capacity_ln_mean == approx(prior.ln_mean, abs=0.01)
