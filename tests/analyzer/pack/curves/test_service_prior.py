"""Capacity of packs in service: against exact moments, and against what the field has shown."""

import numpy as np
import pytest
from pytest import approx

from analyzer.pack.curves.service_prior import (
    LEAD_ACID,
    LITHIUM,
    SERVICE,
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
    # ln(new) and rate · age are independent. Rate log-normal; age by its density, integrated
    density = np.exp(-service.growth * (t := np.linspace(0, service.life, 10_001)))
    of_age = [np.trapezoid(t**k * density, t) for k in (0, 1, 2)]
    once, twice = of_age[1] / of_age[0], of_age[2] / of_age[0]
    lost = service.rate * np.exp(service.rate_ln_sd**2 / 2) * once
    squared = service.rate**2 * np.exp(2 * service.rate_ln_sd**2) * twice
    mean, sd = moments(without_wrong_labels(drawn_parts(service, n=40_000)))
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
    age = LITHIUM.ages(np.linspace(0, 1, 10_001)).mean()
    a_year = -np.log(1 - lost).mean() / age
    assert 0.018 < a_year < 0.03
    # the tail is to low
    share = new * (1 - lost)
    assert share.mean() < np.median(share)


def test_ages_are_those_of_a_market_that_grows():
    """Electric boats: 5.0 to 16.6 thousand million dollars from 2021 to 2030, 4.5 to 20 from 2020
    to 2027 by another count. Year by year, counted out, those of the last ten years."""
    rates = [np.log(16.6 / 5.0) / 9, np.log(20 / 4.5) / 7]
    assert np.sqrt(np.prod(rates)) == approx(LITHIUM.growth, abs=0.005)
    age = np.arange(10) + 0.5
    count = np.exp(-LITHIUM.growth * age)
    share = np.linspace(0, 1, 100_001)
    drawn = LITHIUM.ages(share)
    assert drawn.mean() == approx(np.average(age, weights=count), abs=0.1)
    assert np.mean(drawn > 4) == approx(count[age > 4].sum() / count.sum(), abs=0.02)


@pytest.mark.parametrize("age_years", [0.0, 2.0, 8.0])
def test_a_told_age_is_a_told_loss(age_years):
    # ln C = ln(new) - rate · age, independent; the mean of a log-normal rate is exp(sd²/2) above
    mean, sd = moments(without_wrong_labels(drawn_parts(LITHIUM, age_years, n=40_000)))
    a_year = LITHIUM.rate * np.exp(LITHIUM.rate_ln_sd**2 / 2)
    scatter = a_year * age_years * np.sqrt(np.expm1(LITHIUM.rate_ln_sd**2))
    assert mean == approx(np.log(LITHIUM.new) - a_year * age_years, abs=0.004)
    assert sd == approx(np.hypot(LITHIUM.new_sd, scatter), rel=0.06)
    # lead-acid's unit is a life of 3.2 years where flooded
    flooded = moments(drawn_parts(SERVICE["lead_acid"], 3.2))[0]
    assert flooded == approx(moments(drawn_parts(SERVICE["agm"], 5.3))[0])


def test_a_worn_bank_is_at_80_percent_in_the_median():
    """IEEE 1188: replaced at 80 %."""
    at_the_end = np.exp(-LEAD_ACID.rate * LEAD_ACID.life)
    assert at_the_end == approx(0.8, abs=0.005)
