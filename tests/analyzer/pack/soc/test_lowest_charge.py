"""No cell gives what it does not hold, or takes what it has no room for: the filter's bounds of
charge against brute-force sampling."""

import numpy as np
import pytest
from pytest import approx

from analyzer.pack.soc.filter import GaussianMixtureFilter
from analyzer.pack.soc.states import LN_Q, OFFSET, SOC, STATES
from tests.support.charge_filter import Load, bank_of, cell_of, content, random_mixture

AH = 80.0
DRAWN_AS = 0.2 * 3600 * AH  # a fifth of the capacity in one step: invented


def bank(places, seed=3) -> GaussianMixtureFilter:
    return bank_of(cell_of(ah=AH), random_mixture(np.random.default_rng(seed), np.array(places)))


def unbounded(before: GaussianMixtureFilter, load: Load) -> GaussianMixtureFilter:
    """The same step without a bound: far below it."""
    free = bank_of(before.cell, content(before))
    low = np.full_like(free.mean[SOC], 0.5)
    free.mean[SOC] += low
    free.predict(load.step(), np.zeros(STATES))
    free.mean[SOC] -= low
    return free


def test_a_component_that_gave_too_much_is_what_sampling_leaves_of_it():
    before = bank([0.17])
    load = Load(charge_as=DRAWN_AS)
    free = content(unbounded(before, load))
    before.predict(load.step(), np.zeros(STATES))
    found = content(before)
    lowest = before.kind.lowest_soc
    rng = np.random.default_rng(1)
    draws = rng.multivariate_normal(free.mean[0], free.cov[0], 400_000)
    kept = draws[draws[:, SOC] > lowest]
    assert 0.01 < len(kept) / len(draws) < 0.5  # it is about a part of it, else it says nothing
    error = kept.std(axis=0) / np.sqrt(len(kept))
    assert np.abs(found.mean[0] - kept.mean(axis=0)) == approx(
        np.zeros(STATES), abs=5 * error.max()
    )
    assert found.cov[0][SOC, SOC] == approx(kept[:, SOC].var(), rel=0.05)
    assert found.cov[0][LN_Q, OFFSET] == approx(
        np.cov(kept[:, LN_Q], kept[:, OFFSET])[0, 1], abs=1e-4
    )


def test_a_component_that_holds_too_much_is_what_sampling_leaves_of_it():
    above = bank([0.95])
    free = content(above)
    sd = free.cov[0][SOC, SOC] ** 0.5
    highest = float(free.mean[0][SOC] - 0.5 * sd)
    above.stay_below(np.array([highest]))
    found = content(above)
    rng = np.random.default_rng(4)
    draws = rng.multivariate_normal(free.mean[0], free.cov[0], 400_000)
    kept = draws[draws[:, SOC] < highest]
    error = kept.std(axis=0) / np.sqrt(len(kept))
    assert np.abs(found.mean[0] - kept.mean(axis=0)) == approx(
        np.zeros(STATES), abs=5 * error.max()
    )
    assert found.cov[0][SOC, SOC] == approx(kept[:, SOC].var(), rel=0.05)


def test_weights_below_a_bound_go_with_the_share_that_sampling_leaves():
    both = bank([0.5, 0.95])
    free = content(both)
    sd = free.cov[1][SOC, SOC] ** 0.5
    highest = float(free.mean[1][SOC] - sd)
    both.stay_below(np.array([highest, highest]))
    after = content(both).weight
    ratio = after[1] / after[0] / (free.weight[1] / free.weight[0])
    # Φ(-1): table of the normal distribution
    assert ratio == approx(0.1587, abs=1e-4)


def test_weights_go_with_the_share_that_sampling_leaves():
    both = bank([0.17, 0.5])
    load = Load(charge_as=DRAWN_AS)
    free, before = content(unbounded(both, load)), content(both).weight
    both.predict(load.step(), np.zeros(STATES))
    after = content(both).weight
    rng = np.random.default_rng(2)
    share = [
        (rng.normal(m[SOC], p[SOC, SOC] ** 0.5, 400_000) > both.kind.lowest_soc).mean()
        for m, p in zip(free.mean, free.cov, strict=True)
    ]
    ratio = after[0] / after[1] / (before[0] / before[1])
    # of the higher one nothing is cut off
    assert share[1] == approx(1.0, abs=1e-3)
    assert ratio == approx(share[0], rel=0.05)


def test_a_start_too_low_is_given_up_however_well_the_voltage_fits():
    """Two starts, one of which cannot hold what is drawn: nothing else tells them apart."""
    two = bank([0.05, 0.9])
    before = content(two).weight
    assert before[0] > 0.1
    for _ in range(60):
        two.predict(Load(charge_as=0.005 * 3600 * AH).step(), np.zeros(STATES))
    assert content(two).weight[0] < 1e-3


@pytest.mark.parametrize("name", ["lfp", "agm", "lead_acid"])
def test_the_bound_lies_below_the_label_and_inside_the_tables(name):
    from analyzer.pack.chemistry import chemistry
    from analyzer.pack.soc.voltage_model import TABLE_LOW

    assert TABLE_LOW < chemistry(name).lowest_soc < 0.0
