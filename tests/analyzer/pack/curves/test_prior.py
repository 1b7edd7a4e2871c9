"""The prior of rest curves: against half cells, exact moments, and what ageing does."""

import numpy as np
import pytest
from pytest import approx

from analyzer.pack.chemistry import chemistry
from analyzer.pack.curves import oxides
from analyzer.pack.curves.doubt import GRID, KNOTS, LFP_OWN_V, NMC_OWN_V
from analyzer.pack.curves.half_cells import graphite_fast_v, graphite_v, lfp_electrode_v
from analyzer.pack.curves.kept_prior import drawn_anew, kept_prior
from analyzer.pack.curves.prior import (
    FAMILIES,
    WIDE,
    aged,
    beyond_published,
    curve_prior,
    in_new_cell,
)
from analyzer.pack.curves.service_prior import moments

NOTHING = np.zeros(2)  # no active material gone


def curve(family, positive, negative, soc, lost=0.0):
    """Curve at charges and capacity of a cell, windows at their middles."""
    electrodes = in_new_cell(positive, 0.5, 0.5), in_new_cell(negative, 0.5, 0.5)
    volts, capacity = aged(*electrodes, lost, NOTHING, family.ends_v)
    return np.interp(soc, np.linspace(0, 1, len(WIDE)), volts), capacity


def first(name, soc, lost=0.0):
    """Of the first make of both electrodes."""
    family = FAMILIES[name]
    return curve(family, family.positives[0], family.negatives[0], soc, lost)


def test_a_new_cell_between_its_windows_is_the_two_half_cells():
    soc = np.linspace(0.2, 0.9, 8)
    found, capacity = first("lfp", soc)
    # windows at their middles: graphite 0.01 to 0.78, iron phosphate 0.95 to 0.0275
    plain = lfp_electrode_v(0.95 - 0.9225 * soc) - graphite_v(0.01 + 0.77 * soc)
    assert found == approx(plain, abs=0.004)
    assert capacity == approx(1.0, abs=0.02)


@pytest.mark.parametrize("name", ["lfp", "nmc"])
def test_a_new_cell_of_every_make_holds_what_its_windows_say(name):
    family = FAMILIES[name]
    for positive in family.positives:
        for negative in family.negatives:
            assert curve(family, positive, negative, GRID)[1] == approx(1.0, abs=0.04)


@pytest.mark.parametrize("name", ["lfp", "nmc"])
def test_lithium_lost_is_capacity_lost(name):
    capacity = [first(name, GRID, lost)[1] for lost in (0.0, 0.1, 0.2)]
    assert np.diff(capacity) == approx([-0.1, -0.1], abs=0.02)


def test_a_bend_of_an_aged_cell_lies_at_a_higher_charge():
    # lithium lost fills the graphite less at full; its stage at a filling of 0.569 (Safari and
    # Delacourt 2011) is met later: (0.569 - 0.01) / (0.77 · 0.9) = 0.81 of the charge, not 0.73
    soc = np.linspace(0.6, 0.88, 281)  # below the knee at full

    def steepest(lost):
        return float(soc[np.argmax(np.gradient(first("lfp", soc, lost)[0]))])

    assert steepest(0.0) == approx(0.73, abs=0.02)
    assert steepest(0.1) == approx(0.81, abs=0.02)


def test_active_material_gone_leaves_the_electrode_s_filling_higher():
    # a graphite of nine tenths holds the same lithium at a filling of ten ninths
    make = in_new_cell(FAMILIES["lfp"].negatives[0], 0.5, 0.5)
    positive = in_new_cell(FAMILIES["lfp"].positives[0], 0.5, 0.5)
    whole, _ = aged(positive, make, 0.1, NOTHING, (2.5, 3.4))
    less, _ = aged(positive, make, 0.1, np.array([0.0, 1.0]), (2.5, 3.4))
    # the stage at 0.569 is then met at a lower charge
    soc = np.linspace(0, 1, len(WIDE))
    flat = (soc > 0.55) & (soc < 0.88)
    bend = [float(soc[flat][np.argmax(np.gradient(v)[flat])]) for v in (whole, less)]
    assert bend[1] / bend[0] == approx(0.9, abs=0.03)


@pytest.mark.parametrize("makes", [2, 3, 4, 7])
def test_a_further_make_scatters_as_its_own_and_the_mean_s_doubt_have_it(makes):
    # exact over all pairs: a + k (a - b), a and b any of m numbers, has (1 + 1/m) S
    values = np.array([0.3, -1.0, 2.0, 0.7, 1.1, -0.2, 0.9])[:makes]
    k = beyond_published(makes)
    a, b = np.meshgrid(values, values)
    assert np.var(a + k * (a - b)) == approx((1 + 1 / makes) * np.var(values, ddof=1))


@pytest.mark.parametrize("name", ["lfp", "nmc"])
def test_regression_leaves_nothing_that_goes_with_the_capacity(name):
    prior = curve_prior(name, KNOTS)
    assert prior.rest_v.sum(axis=0) == approx(0.0, abs=1e-9)
    assert -0.2 < moments(prior.parts)[0] < 0.0
    assert chemistry(name).capacity == prior.parts


def test_lithium_lost_bends_the_prior_as_it_bends_one_cell():
    """d(curve)/d(ln C): that of the mean cell by difference, within the makes' spread of it."""
    prior, family = curve_prior("nmc", KNOTS), FAMILIES["nmc"]
    slopes = []
    for positive in family.positives:
        for negative in family.negatives:
            new, c0 = curve(family, positive, negative, KNOTS)
            old, c1 = curve(family, positive, negative, KNOTS, 0.1)
            slopes.append((old - new) / np.log(c1 / c0))
    inside = (KNOTS > 0.1) & (KNOTS < 0.95)
    off = (prior.beta_v - np.mean(slopes, axis=0))[inside]
    assert np.abs(off).max() < 2 * np.std(slopes, axis=0)[inside].max()


def outside(curves):
    """What each curve has that no mixture of the others has, root of the mean square. (m, n)"""
    left = []
    for k, own in enumerate(curves):
        others = np.delete(curves, k, axis=0)
        off = own - others.mean(axis=0)
        modes = np.linalg.svd(others - others.mean(axis=0), full_matrices=False)[2]
        modes = modes[: len(others) - 1]
        left.append(off - modes.T @ (modes @ off))
    return float(np.sqrt(np.mean(np.square(left))))


@pytest.mark.parametrize(("name", "own_v"), [("lfp", LFP_OWN_V), ("nmc", NMC_OWN_V)])
def test_what_a_make_has_of_its_own_is_what_each_published_one_has(name, own_v):
    """Each make left out in turn, positive and negative electrodes apart, variances added."""
    family = FAMILIES[name]
    soc = KNOTS[(KNOTS > 0.09) & (KNOTS < 0.96)]
    table = np.array(
        [[curve(family, p, n, soc)[0] for n in family.negatives] for p in family.positives]
    )
    if name == "lfp":  # the level is a state of its own
        table -= table.mean(axis=2, keepdims=True)
    both = np.hypot(outside(table.mean(axis=1)), outside(table.mean(axis=0)))
    assert own_v == approx(both, rel=0.1)


def test_the_top_of_an_nmc_cell_is_as_sure_as_published_makes_agree():
    """At 4.10 V all of them hold 89 to 93 % (each pair of half cells, inverted)."""
    family = FAMILIES["nmc"]
    at = [
        float(np.interp(4.10, curve(family, p, n, GRID)[0], GRID))
        for p in family.positives
        for n in family.negatives
    ]
    kind = chemistry("nmc")
    assert kind.soc_at(4.10) == approx(np.mean(at), abs=0.01)
    place = float(kind.soc_at(4.10))
    sd_v = np.interp(place, KNOTS, np.sqrt(np.diag(kind.curve_cov_v2)))
    # within a factor of two of what they differ by, levels of meters apart
    assert 0.5 * np.std(at) < sd_v / float(kind.docv_dsoc(place)) < 3 * np.std(at)


def test_fits_at_a_full_electrode_are_the_sums_of_their_coefficients():
    y = np.array(1.0)
    rest = -5.573191762723310e-4 * np.exp(6.560240842659690)
    assert oxides.nmc532_2020_v(y) == approx(sum(oxides.OXIDE_532_2020) + rest)
    assert oxides.nca_v(y) == approx(sum(oxides.OXIDE_NCA_2011) - 0.61386 * np.exp(5.8201))


def test_published_half_cells_fall_with_filling():
    """Thermodynamics: the potential of a stable electrode never rises with its filling."""
    x = np.linspace(0.01, 0.9, 300)
    assert np.diff(graphite_fast_v(x)).max() < 1e-4
    y = np.linspace(0.35, 0.95, 300)
    assert np.diff(oxides.nmc532_2020_v(y)).max() < 0
    assert np.diff(oxides.nca_v(y)).max() < 0


@pytest.mark.parametrize("name", ["lfp", "nmc"])
def test_what_is_kept_is_what_is_drawn(name):
    # `python -m analyzer.pack.curves.kept_prior` draws it anew
    for kept, drawn in zip(kept_prior(name), drawn_anew(name), strict=True):
        np.testing.assert_allclose(kept, drawn, rtol=1e-9, atol=1e-14)
