"""What is known of the cells from trip to trip."""

import json

import numpy as np
from pytest import approx

from analyzer.cells.hypotheses import CAPACITY, CHARGE, GRID, PRIOR, USUAL, after_levelling
from analyzer.cells.memory import CellMemory, combined, passed_on

CELLS = 3


def at(cause, size):
    """The hypothesis nearest to a size."""
    apart = np.abs(GRID.size - size) + 10.0 * (GRID.cause != cause)
    return int(np.argmin(apart))


def sure_of(cause, size, weight=0.98):
    """Cells of which one hypothesis is nearly sure."""
    out = np.tile((1 - weight) * PRIOR, (CELLS, 1, 1))
    out[:, USUAL, at(cause, size)] += weight
    return out


def test_a_memory_survives_json():
    weight = sure_of(CAPACITY, 0.2)
    memory = CellMemory(
        "a pack", ("cell 1", "cell 2", "cell 3"), weight, np.array([1e-4, 0.0, 2e-5]),
        np.array([1e-5, np.inf, 3e-6]), {"cell 2": ["cell_capacity", "cell_resistance"]},
    )  # fmt: skip
    back = CellMemory.from_dict(json.loads(json.dumps(memory.to_dict())))
    assert (back.label, back.names, back.told) == (memory.label, memory.names, memory.told)
    # three digits are kept, and what is unlikelier than 1e-5 is left out
    assert back.weight == approx(weight, rel=0.01, abs=2e-5)
    assert back.excess_ohm == approx(memory.excess_ohm)
    assert back.excess_sd_ohm == approx(memory.excess_sd_ohm)
    assert len(json.dumps(memory.to_dict())) < 2000 * CELLS


def test_a_full_charge_may_level_charge_but_mends_no_capacity():
    low, small = sure_of(CHARGE, 0.1), sure_of(CAPACITY, 0.1)
    capacity = GRID.cause == CAPACITY
    assert after_levelling(small)[..., capacity] == approx(small[..., capacity])
    after = after_levelling(low)
    # whether its resistance is raised is another matter
    assert after.sum(axis=2) == approx(low.sum(axis=2))
    # half stays, and no cell is further behind than before
    assert after[0, USUAL, at(CHARGE, 0.1)] == approx(0.5 * low[0, USUAL, at(CHARGE, 0.1)], rel=0.1)
    larger = (GRID.cause == CHARGE) & (GRID.charge > 0.11)
    assert (after[..., larger] <= low[..., larger]).all()
    assert after[0, USUAL, 0] > low[0, USUAL, 0] + 0.2


def test_a_stretch_that_tells_nothing_changes_nothing():
    known = sure_of(CAPACITY, 0.2)
    assert combined(known, np.zeros_like(known)) == approx(known)


def test_without_earlier_evidence_it_is_bayes():
    log_likelihood = np.random.default_rng(3).normal(0, 2, (CELLS, *PRIOR.shape))
    prior = np.tile(PRIOR, (CELLS, 1, 1))
    product = prior * np.exp(log_likelihood)
    expected = product / product.sum(axis=(1, 2), keepdims=True)
    assert combined(prior, log_likelihood) == approx(expected)


def test_a_hundred_like_stretches_count_as_ten():
    """They share the error of a voltage input; sums of squares, done by hand."""
    log_likelihood = np.zeros((CELLS, *PRIOR.shape))
    k = at(CAPACITY, 0.1)
    log_likelihood[:, USUAL, k] = 0.5
    known = np.tile(PRIOR, (CELLS, 1, 1))
    for _ in range(100):
        known = combined(known, log_likelihood)
    ratio = known[0, USUAL] / PRIOR[USUAL]
    assert np.log(ratio[k] / ratio[0]) == approx(0.5 * 100**0.5)


def test_contrary_evidence_counts_in_full():
    known, k = sure_of(CAPACITY, 0.2), at(CAPACITY, 0.2)
    log_likelihood = np.zeros_like(known)
    log_likelihood[:, USUAL, k] = -3.0
    before, after = known[0, USUAL], combined(known, log_likelihood)[0, USUAL]
    # Bayes: the odds fall by e to the third
    assert after[k] / after[0] == approx(before[k] / before[0] * np.exp(-3.0))


def test_every_hypothesis_stays_possible():
    assert (passed_on(sure_of(CHARGE, 0.3, 1.0), levelled=True) >= 0.0009 * PRIOR).all()


def test_a_cause_known_for_days_outweighs_a_contrary_stretch_of_a_few_nats():
    """A fault is no weather: by a hazard of a thousandth a stretch, a stretch of e to the fourth
    against it leaves it the likelier by far (Bayes by hand)."""
    known = passed_on(sure_of(CAPACITY, 0.3, 1.0), levelled=False)
    capacity, charge = at(CAPACITY, 0.3), at(CHARGE, 0.1)
    log_likelihood = np.zeros_like(known)
    log_likelihood[:, :, capacity] = -4.0
    after = combined(known, log_likelihood)[0, USUAL]
    before = known[0, USUAL]
    assert after[capacity] / after[charge] == approx(
        np.exp(-4.0) * before[capacity] / before[charge], rel=1e-6
    )
    assert after[capacity] > 100 * after[charge]
