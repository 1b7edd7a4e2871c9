"""The evidence of each hypothesis, on invented cells on the published curve."""

from dataclasses import replace

import numpy as np
import pytest
from pytest import approx
from scipy.special import logsumexp

from analyzer.cells.deficit import Evidence, _fit, evidence, least_visible
from analyzer.cells.full_place import axes
from analyzer.cells.hypotheses import CAPACITY, CHARGE, GRID, PRIOR, USUAL
from analyzer.cells.levels import Levels
from analyzer.cells.median_curve import MedianCurve
from analyzer.cells.memory import combined
from analyzer.cells.ohms import Ohms
from analyzer.cells.verdict import Told, verdict
from analyzer.pack.cell_model import chemistry
from logger.boat import Pack
from tests.support.cell_levels import run_down

PACK = Pack(chemistry="lfp", cells_in_series=4, rated_capacity_ah=100)
OHMS = Ohms(0.5e-3, np.zeros(4), np.full(4, 1e-5))
KIND = chemistry("lfp")


def cycle(less=0.0, smaller=0.0, low=0.03, high=0.995):
    """From nearly full to low at 20 A and back; the last cell differs; invented."""
    levels = Levels(PACK, 4)
    down = np.arange(high, low, -20 * 10 / 3600 / 100)
    for soc, amps in [*((s, 20.0) for s in down), *((s, -20.0) for s in down[::-1])]:
        last = 1 - less - (1 - soc) / (1 - smaller)
        branch = -np.sign(amps)
        other, own = (float(KIND.ocv_v(at, 25.0, branch)) for at in (soc, max(last, 0.0)))
        distance = np.array([0.0, 1e-4, -1e-4, own - other])
        levels.move(other - 0.5e-3 * amps, amps, 10.0)
        levels.add(other - 0.5e-3 * amps, distance, amps, 10.0)
    return levels.table()


def told(seen: Evidence, cell=3, before=""):
    weight = combined(np.tile(PRIOR, (4, 1, 1)), seen.log_likelihood)
    return verdict(weight[cell], seen, cell, Told(before))


@pytest.mark.parametrize(
    ("fault", "kind"),
    [
        ({"less": 0.03}, "cell_charge"),
        ({"less": 0.14}, "cell_charge"),
        ({"less": 0.6, "low": 0.5}, "cell_charge"),
        ({"smaller": 0.05}, "cell_capacity"),
        ({"smaller": 0.2, "low": 0.25}, "cell_capacity"),
    ],
)
def test_cause_and_size_are_those_that_the_cell_has(fault, kind):
    found = told(evidence(cycle(**{"low": 0.06, **fault}), KIND, OHMS))
    assert found.kind == kind
    assert found.sureness_frac > 0.9
    # the cell was made with that size
    assert found.size.mean == approx(fault.get("less") or fault["smaller"], rel=0.25)


def halfway(cause):
    """A fault halfway between two bins, where each by itself is 6 % off: its size, the bins', and
    what is found in each."""
    sizes = GRID.size[(GRID.cause == cause) & (GRID.size > 0.05) & (GRID.size < 0.2)]
    true = float(np.sort(sizes)[[3, 4]].mean())
    seen = evidence(cycle(**{"less" if cause == CHARGE else "smaller": true}), KIND, OHMS)
    near = np.flatnonzero((GRID.cause == cause) & (np.abs(GRID.size / true - 1) < 0.08))
    charge, loss = seen.charge[3, USUAL], seen.loss[3, USUAL]
    found = charge if cause == CHARGE else loss / (1 + loss)
    assert len(near) == 2
    return true, GRID.size[near], found[near]


HALF = pytest.mark.xfail(
    strict=True,
    reason="0.52 of the way between two bins of charge is left, asked 0.5, since the curve's ends "
    "are doubted more; floor: 0.6, and each within a tenth of the truth, below",
)


@pytest.mark.parametrize("cause", [pytest.param(CHARGE, marks=HALF), CAPACITY])
def test_two_bins_beside_the_truth_are_corrected_towards_each_other(cause):
    _, bins, found = halfway(cause)
    assert np.ptp(found) < 0.5 * np.ptp(bins)


@pytest.mark.parametrize("cause", [CHARGE, CAPACITY])
def test_each_bin_beside_the_truth_finds_it(cause):
    true, bins, found = halfway(cause)
    assert found == approx(true, rel=0.1)
    assert np.ptp(found) < 0.6 * np.ptp(bins)


def test_a_level_seen_for_half_a_minute_counts_in_full():
    """No longer look at it says more; a shorter one says less."""
    table = cycle(less=0.05, low=0.2)

    def seen(seconds):
        looked = replace(table, seconds=np.full(len(table.place), seconds))
        return evidence(looked, KIND, OHMS).log_likelihood

    assert seen(3000.0) == approx(seen(30.0))
    assert np.ptp(seen(3.0)[3]) < np.ptp(seen(30.0)[3])


def test_like_cells_are_healthy():
    seen = evidence(cycle(), KIND, OHMS)
    for cell in range(3):
        assert told(seen, cell).kind == ""
        assert told(seen, cell).behind_frac < 0.01


def test_least_visible_is_small_at_the_knees_and_large_on_the_flat():
    assert least_visible(cycle(), KIND, 0.5e-3) < 0.01
    assert least_visible(cycle(low=0.5, high=0.6), KIND, 0.5e-3) > 0.1


def test_least_visible_is_the_error_over_the_slope_that_is_sure():
    """On NMC's slope of some 0.7 V per unit: four times the error of a reading, done by hand."""
    kind = chemistry("nmc")
    pack = Pack(chemistry="nmc", cells_in_series=4, rated_capacity_ah=100)
    levels = run_down(pack, 20.0, 0.8, 0.4)
    slope = kind.docv_dsoc(np.linspace(0.4, 0.8, 50)).max()
    surely = slope - np.sqrt(2) * kind.shape_sd_v / kind.shape_soc
    expected = 4 * np.hypot(0.001, 0.0015) / surely
    assert least_visible(levels.table(), kind, 1e-9) == approx(expected, rel=0.25)


def test_where_full_was_not_seen_all_places_count_alike():
    table = cycle(less=0.05, low=0.3, high=0.9)
    assert table.full_place is None
    found = evidence(table, KIND, OHMS)
    fits = [
        _fit(MedianCurve(table, KIND, axis, OHMS.median), OHMS.if_usual())
        for axis in axes(table, KIND, OHMS.median)
    ]
    assert len(fits) > 1
    # the mean likelihood of equally likely places; of cell 1, which misses nothing by its noise
    each = np.array([-0.5 * (fit.chi + fit.volume)[0] for fit in fits])
    assert min(fit.chi[0].min() for fit in fits) < fits[0].readings
    assert found.log_likelihood[0, USUAL] == approx(logsumexp(each, axis=0, b=1 / len(fits)))
    share = np.exp(each - logsumexp(each, axis=0))
    assert found.charge[0, USUAL] == approx((share * [fit.charge[0] for fit in fits]).sum(axis=0))


def test_a_cell_behind_on_the_flat_part_is_given_no_cause_that_cannot_be_seen():
    found = told(evidence(cycle(less=0.05, low=0.45, high=0.6), KIND, OHMS))
    assert found.kind in ("", "cell_behind")
    assert found.sureness_frac < 0.9


def test_sizes_stay_within_what_a_cell_can_lack():
    """A cell that reads 2 V below the others, which no cell on the curve can."""
    table = cycle(less=0.05, low=0.06)
    table.distance_v[:, 3] = -2.0
    found = told(evidence(table, KIND, OHMS))
    for size in (found.size, found.charge, found.capacity):
        assert 0.0 <= size.mean <= 1.0


def test_hypotheses_stand_in_their_bounds_and_their_prior_sums_to_one():
    assert GRID.prior.sum() == approx(1.0)
    assert np.abs(GRID.charge[GRID.cause == CHARGE]).max() < 1.0
    missing = GRID.size[GRID.cause == CAPACITY]
    assert (missing > 0).all()
    assert (missing < 1).all()
    for cause in (CHARGE, CAPACITY):
        assert (np.diff(np.sort(np.abs(GRID.size[GRID.cause == cause]))) >= 0).all()


def test_a_raised_resistance_alone_leaves_no_cell_behind():
    """A discharge and a charge at changing current, the last cell with twice the resistance: its
    distance is -r I (Ohm's law), which load steps have told."""
    r_ohm, table = 0.5e-3, cycle(low=0.06)
    table.distance_v[:, 3] = -r_ohm * table.amps[:, 0]
    known = Ohms(r_ohm, np.array([0, 0, 0, r_ohm]), np.full(4, 1e-5))
    assert told(evidence(table, KIND, known)).behind_frac < 0.05


def test_a_resistance_of_the_wrong_sign_shows_as_something_else():
    r_ohm, table = 0.5e-3, cycle(low=0.06)
    table.distance_v[:, 3] = r_ohm * table.amps[:, 0]
    known = Ohms(r_ohm, np.array([0, 0, 0, -r_ohm]), np.full(4, 1e-5))
    right = evidence(table, KIND, known).log_likelihood[3, USUAL, 0]
    wrong = evidence(table, KIND, Ohms(r_ohm, -known.excess, known.excess_sd))
    assert right > wrong.log_likelihood[3, USUAL, 0] + 10


def test_without_a_load_step_a_bad_link_is_told_by_what_turns_with_the_current():
    """Given and taken at 20 A each: twice the resistance is 10 mV low, then 10 mV high (Ohm)."""
    table = cycle(low=0.55, high=0.65)
    unseen = Ohms(0.5e-3, np.zeros(4), np.full(4, np.inf))
    table.distance_v[:, 3] = -0.5e-3 * table.amps[:, 0]
    found = told(evidence(table, KIND, unseen))
    assert found.kind == ""
    assert found.raised_frac > 0.5
    assert told(evidence(table, KIND, unseen), cell=0).raised_frac < 0.01


@pytest.mark.parametrize(("fault", "kind"), [({"less": 0.05}, "cell_charge"),
                                             ({"smaller": 0.08}, "cell_capacity")])  # fmt: skip
def test_the_top_of_charge_tells_charge_from_capacity(fault, kind):
    """Low at the top is a lack of charge, level there and low below a lack of capacity; where only
    the middle was seen, either may be."""
    assert told(evidence(cycle(**fault, low=0.3, high=0.55), KIND, OHMS)).kind == "cell_behind"
    found = told(evidence(cycle(**fault, low=0.4, high=0.999), KIND, OHMS))
    assert found.kind == kind
    assert found.sureness_frac > 0.95


def test_a_span_that_no_capacity_allows_still_has_places_of_full():
    """A current read ten times too large: each place is impossible, and the least so is taken."""
    table = cycle(less=0.05, low=0.3, high=0.9)
    wild = replace(table, place=10 * table.place)
    found = axes(wild, KIND, OHMS.median)
    assert found
    assert all(np.isfinite([axis.charge, axis.held]).all() for axis in found)
