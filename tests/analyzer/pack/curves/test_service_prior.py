"""Capacity of packs in service: against exact moments, and against what the field has shown."""

import numpy as np
import pytest
from pytest import approx

from analyzer.pack.chemistry import chemistry
from analyzer.pack.curves.doubt import GRID, KNOTS
from analyzer.pack.curves.half_cells import graphite_v, lfp_electrode_v
from analyzer.pack.curves.prior import MAKES, _aged, curve_prior
from analyzer.pack.curves.service_prior import (
    LEAD_ACID,
    LITHIUM,
    WRONG_LABEL,
    drawn_parts,
    moments,
    parts_of,
)


def without_wrong_labels(parts):
    """The parts of packs whose label is right, which are all but the last."""
    return [(weight / (1 - WRONG_LABEL), mean, sd) for weight, mean, sd in parts[:-1]]


@pytest.mark.parametrize("service", [LITHIUM, LEAD_ACID])
def test_moments_of_the_story(service):
    # ln(new) and rate · age are independent. Rate log-normal; age exponential, with moments m and
    # 2m², or uniform up to L, with L/2 and L²/3
    of_age = (1.0, 2.0) if service.grows else (1 / 2, 1 / 3)
    lost = service.rate * np.exp(service.rate_ln_sd**2 / 2) * service.age * of_age[0]
    squared = (service.rate * service.age) ** 2 * np.exp(2 * service.rate_ln_sd**2) * of_age[1]
    mean, sd = moments(without_wrong_labels(drawn_parts(service, 40_000)))
    expected = np.log(service.new) - service.new_sd**2 / 2 - lost
    assert mean == approx(expected, abs=0.004)
    assert sd == approx(np.sqrt(service.new_sd**2 + squared - lost**2), rel=0.06)


def test_parts_keep_the_sample_s_moments_and_its_skew():
    rng = np.random.default_rng(4)
    ln_q = -rng.exponential(0.1, 5000)
    parts = parts_of(ln_q)
    assert sum(weight for weight, _, _ in parts) == approx(1.0)
    own = without_wrong_labels(parts)
    assert moments(own) == approx((ln_q.mean(), ln_q.std()), rel=1e-9)
    # the long tail's part is the rarest, and reaches below what one normal distribution would
    assert np.argmin([weight for weight, _, _ in own]) == 0
    assert parts[0][1] < ln_q.mean() - 1.2 * ln_q.std()


def test_packs_lose_what_the_field_has_shown():
    """Home storage 2 to 3 % a year (Figgener et al. 2024), electric cars 1.8 to 2.3 %."""
    new, lost = LITHIUM.draw(np.random.default_rng(3), 50_000)
    a_year = -np.log(1 - lost).mean() / LITHIUM.age
    assert 0.018 < a_year < 0.03
    # the tail is to low
    share = new * (1 - lost)
    assert share.mean() < np.median(share)


def test_ages_are_those_of_a_market_that_grew():
    """Home batteries registered in Germany, thousands, 2016 to 2024; 2021 and 2022 by halves of
    what their sum leaves, all before 2016 taken for two years older. Its industry's association."""
    count = np.array([32, 20, 30, 40, 60, 88, 177, 177, 594, 580])
    age = np.array([10.5, 8.5, 7.5, 6.5, 5.5, 4.5, 3.5, 2.5, 1.5, 0.5])
    assert count.sum() == approx(1800, rel=0.01)
    assert np.average(age, weights=count) == approx(LITHIUM.age, abs=0.3)
    # as many are older than four years as an exponential distribution has it, within some per cent
    assert count[age > 4].sum() / count.sum() == approx(np.exp(-4 / LITHIUM.age), abs=0.05)


def test_a_worn_bank_is_at_80_percent_in_the_median():
    """IEEE 1188: replaced at 80 %."""
    at_the_end = np.exp(-LEAD_ACID.rate * LEAD_ACID.age)
    assert at_the_end == approx(0.8, abs=0.005)


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
    assert -0.2 < moments(prior.parts)[0] < 0.0
    assert chemistry(name).capacity == prior.parts
