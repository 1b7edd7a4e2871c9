"""What is told of a cell, from probabilities set by hand."""

import numpy as np
import pytest
from pytest import approx

from analyzer.cells.deficit import Evidence
from analyzer.cells.hypotheses import CAPACITY, CHARGE, GRID, HEALTHY
from analyzer.cells.verdict import verdict

SEEN = Evidence.nothing(1)


def weights(**causes):
    """Probabilities: cause=(size, weight) ...; what is left is healthy."""
    out = np.zeros(len(GRID.prior))
    for cause, (size, weight) in causes.items():
        number = {"charge": CHARGE, "capacity": CAPACITY}[cause]
        apart = np.abs(GRID.size - size) + 10.0 * (GRID.cause != number)
        out[np.argmin(apart)] += weight
    out[GRID.cause == HEALTHY] += 1 - out.sum()
    return out


@pytest.mark.parametrize(
    ("charge", "capacity", "before", "kind"),
    [
        (0.65, 0.0, "", ""),  # odds below two to one
        (0.68, 0.0, "", "cell_behind"),
        (0.79, 0.20, "", "cell_behind"),  # a cause wants four to one
        (0.81, 0.0, "", "cell_charge"),
        (0.0, 0.95, "", "cell_capacity"),
        (0.55, 0.0, "cell_charge", "cell_charge"),  # once told it stays until it is a toss-up
        (0.45, 0.0, "cell_charge", ""),
        (0.50, 0.45, "cell_charge", "cell_charge"),  # a cause, until the other is the likelier
        (0.44, 0.46, "cell_charge", "cell_behind"),
        (0.10, 0.85, "cell_charge", "cell_capacity"),
    ],
)
def test_kind_by_probability_and_by_what_was_told(charge, capacity, before, kind):
    found = verdict(weights(charge=(0.1, charge), capacity=(0.2, capacity)), SEEN, 0, before)
    assert found.kind == kind
    sure = {"cell_charge": charge, "cell_capacity": capacity}.get(kind, charge + capacity)
    assert found.sureness_frac == approx(sure)
    assert found.behind_frac == approx(charge + capacity)


def test_sizes_are_means_within_the_cause_and_expected_over_both():
    weight = weights(charge=(0.1, 0.45), capacity=(0.2, 0.45))
    found = verdict(weight, SEEN, 0, "")
    # bins are 12 % apart, so that a size lies within 6 % of its bin
    assert found.charge.mean == approx(0.1, rel=0.07)
    assert found.capacity.mean == approx(0.2, rel=0.07)
    assert found.expected == approx(0.45 * (found.charge.mean + found.capacity.mean))
    # behind by charge at every depth, by capacity c / (1 - c) for each unit given
    behind = 0.5 * found.charge.mean + 0.5 * SEEN.depth * 0.2 / 0.8
    assert found.size.mean == approx(behind, rel=0.08)


def test_spread_of_two_sizes_is_that_of_their_mixture():
    weight = weights(charge=(0.1, 0.5)) + weights(charge=(0.3, 0.5)) - weights()
    found = verdict(weight, SEEN, 0, "")
    at = np.flatnonzero(weight * (GRID.cause == CHARGE))
    sizes, sds = GRID.charge[at], GRID.charge_sd[at]
    drawn = np.random.default_rng(1).normal(sizes, sds, (200_000, 2)).ravel()
    assert found.charge.mean == approx(drawn.mean(), abs=1e-3)
    assert found.charge.sd == approx(drawn.std(), abs=1e-3)


def test_more_charge_than_the_others_is_not_behind():
    weight = np.zeros(len(GRID.prior))
    weight[np.argmin(GRID.charge)] = 1.0
    assert verdict(weight, SEEN, 0, "").kind == ""


def test_capacity_below_what_matters_is_not_told():
    assert verdict(weights(capacity=(0.022, 1.0)), SEEN, 0, "").kind == ""
    assert verdict(weights(capacity=(0.035, 1.0)), SEEN, 0, "").kind == "cell_capacity"
