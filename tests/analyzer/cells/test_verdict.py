"""What is told of a cell, from probabilities set by hand."""

import numpy as np
import pytest
from pytest import approx

from analyzer.cells.deficit import Evidence
from analyzer.cells.hypotheses import CAPACITY, CHARGE, GRID, HEALTHY, PRIOR, RAISED, USUAL
from analyzer.cells.verdict import Told, verdict

SEEN = Evidence.nothing(1)


def weights(row=USUAL, **causes):
    """Probabilities: cause=(size, weight) ...; what is left is healthy."""
    out = np.zeros(PRIOR.shape)
    for cause, (size, weight) in causes.items():
        number = {"charge": CHARGE, "capacity": CAPACITY}[cause]
        apart = np.abs(GRID.size - size) + 10.0 * (GRID.cause != number)
        out[row, np.argmin(apart)] += weight
    out[row, GRID.cause == HEALTHY] += 1 - out.sum()
    return out


# By hand, with p behind and q by the cause named; to tell nothing costs 0.6 p, "behind" 1 - p +
# 0.1 p, a cause (1 - q), half of that more where it is new; half where a name is changed, a fifth
# where what was told is over.
@pytest.mark.parametrize(
    ("charge", "capacity", "before", "kind"),
    [
        (0.65, 0.0, "", ""),  # 0.39 beside 0.415
        (0.68, 0.0, "", "cell_behind"),  # 0.408, 0.388
        (0.82, 0.0, "", "cell_behind"),  # 0.262 beside 0.27
        (0.85, 0.0, "", "cell_charge"),  # 0.235 beside 0.225
        (0.79, 0.20, "", "cell_behind"),  # 0.109 beside 0.315
        (0.0, 0.95, "", "cell_capacity"),
        (0.52, 0.0, "cell_charge", "cell_charge"),  # 0.48 beside 0.512 to say that it is over
        (0.48, 0.0, "cell_charge", ""),  # 0.52, 0.488
        (0.44, 0.46, "cell_charge", "cell_charge"),  # 0.56 beside 0.69 and 1.31
        (0.35, 0.62, "cell_charge", "cell_behind"),  # 0.65, 0.627
        (0.02, 0.97, "cell_charge", "cell_capacity"),  # 0.98, 0.609, 0.545
        (0.55, 0.0, "cell_behind", "cell_behind"),  # 0.505 beside 0.53
        (0.0, 0.95, "cell_behind", "cell_capacity"),  # to name the cause takes nothing back
    ],
)
def test_what_is_told_costs_least(charge, capacity, before, kind):
    weight = weights(charge=(0.1, charge), capacity=(0.2, capacity))
    found = verdict(weight, SEEN, 0, Told(before))
    assert found.kind == kind
    sure = {"cell_charge": charge, "cell_capacity": capacity}.get(kind, charge + capacity)
    assert found.sureness_frac == approx(sure)
    assert found.behind_frac == approx(charge + capacity)


def test_a_name_that_flickers_about_a_threshold_stays():
    """Odds that go up and down by a factor of three give one name, from when it is given."""
    told, names = Told(), []
    for share in [0.7, 0.9, 0.7, 0.9, 0.6, 0.9, 0.5, 0.8]:
        weight = weights(charge=(0.1, share), capacity=(0.2, 0.99 - share))
        told = verdict(weight, SEEN, 0, told).told
        names.append(told.kind)
    assert names == ["cell_behind"] * 8
    for share in [0.95, 0.7, 0.9, 0.5, 0.45, 0.8]:
        weight = weights(charge=(0.1, share), capacity=(0.2, 0.99 - share))
        told = verdict(weight, SEEN, 0, told).told
        assert told.kind == "cell_charge"


def test_one_mixture_holds_a_raised_resistance_beside_the_other_causes():
    both = 0.6 * weights(RAISED, charge=(0.1, 1.0)) + 0.4 * weights(USUAL, capacity=(0.2, 1.0))
    found = verdict(both, SEEN, 0, Told())
    assert (found.charge_frac, found.capacity_frac) == (approx(0.6), approx(0.4))
    assert found.raised_frac == approx(0.6)
    assert not found.told.raised
    for share, before, raised in [(0.89, False, False), (0.91, False, True), (0.4, True, True),
                                  (0.3, True, False)]:  # fmt: skip
        weight = share * weights(RAISED) + (1 - share) * weights(USUAL)
        assert verdict(weight, SEEN, 0, Told("", before)).told == Told("", raised)


@pytest.mark.parametrize("kinds", [[], ["cell_charge"], ["cell_behind", "cell_resistance"],
                                   ["cell_resistance"]])  # fmt: skip
def test_what_is_told_survives_as_a_list(kinds):
    assert Told.of(kinds).kinds == kinds


def test_sizes_are_means_within_the_cause_and_expected_over_both():
    weight = weights(charge=(0.1, 0.45), capacity=(0.2, 0.45))
    found = verdict(weight, SEEN, 0, Told())
    # bins are 12 % apart, so that a size lies within 6 % of its bin
    assert found.charge.mean == approx(0.1, rel=0.07)
    assert found.capacity.mean == approx(0.2, rel=0.07)
    assert found.expected == approx(0.45 * (found.charge.mean + found.capacity.mean))
    # behind by charge at every depth, by capacity c / (1 - c) for each unit given
    behind = 0.5 * found.charge.mean + 0.5 * SEEN.depth * 0.2 / 0.8
    assert found.size.mean == approx(behind, rel=0.08)


def test_spread_of_two_sizes_is_that_of_their_mixture():
    weight = weights(charge=(0.1, 0.5)) + weights(charge=(0.3, 0.5)) - weights()
    found = verdict(weight, SEEN, 0, Told())
    at = np.flatnonzero(weight[USUAL] * (GRID.cause == CHARGE))
    sizes, sds = GRID.charge[at], GRID.charge_sd[at]
    drawn = np.random.default_rng(1).normal(sizes, sds, (200_000, 2)).ravel()
    assert found.charge.mean == approx(drawn.mean(), abs=1e-3)
    assert found.charge.sd == approx(drawn.std(), abs=1e-3)


def test_more_charge_than_the_others_is_not_behind():
    weight = np.zeros(PRIOR.shape)
    weight[USUAL, np.argmin(GRID.charge)] = 1.0
    assert verdict(weight, SEEN, 0, Told()).kind == ""


def test_capacity_below_what_matters_is_not_told():
    assert verdict(weights(capacity=(0.022, 1.0)), SEEN, 0, Told()).kind == ""
    assert verdict(weights(capacity=(0.035, 1.0)), SEEN, 0, Told()).kind == "cell_capacity"
