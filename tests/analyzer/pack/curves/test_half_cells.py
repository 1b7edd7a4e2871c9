"""Half-cell curves against the values published beside their fits."""

import numpy as np
from pytest import approx

from analyzer.pack.curves.half_cells import (
    graphite_2020_v,
    graphite_v,
    lfp_cell_v,
    lfp_electrode_2017_v,
    lfp_electrode_v,
    lfp_spread_v,
    nmc532_electrode_v,
    nmc_cell_v,
    nmc_spread_v,
)


def test_graphite_v_at_published_points():
    # Safari and Delacourt 2011, Table I, evaluated apart from this code
    x = np.array([0.10, 0.30, 0.50, 0.80])
    assert graphite_v(x) == approx([0.21665, 0.13293, 0.11606, 0.08592], abs=1e-5)


def test_lfp_electrode_v_at_published_points():
    # same table
    y = np.array([0.05, 0.30, 0.90])
    assert lfp_electrode_v(y) == approx([3.48976, 3.43230, 3.41423], abs=1e-5)


def test_lfp_electrode_2017_v_at_published_points():
    # Afshar 2017, arXiv 1709.03970, evaluated apart from this code
    y = np.array([0.05, 0.30, 0.90])
    assert lfp_electrode_2017_v(y) == approx([3.40696, 3.40162, 3.34465], abs=1e-5)


def test_lfp_cell_v_lies_near_the_first_fit_where_both_agree():
    # Safari and Delacourt's fits alone, hand sums, windows 0.0085-0.78 and 0.95-0.03; the
    # second fit differs by up to 9 mV at 10 % and 3 mV elsewhere on the plateau
    soc = np.array([0.1, 0.2, 0.5, 0.8, 0.9])
    assert lfp_cell_v(soc) == approx([3.197, 3.252, 3.309, 3.338, 3.345], abs=0.010)
    assert np.abs(lfp_spread_v(soc)).max() < 0.010
    assert np.abs(lfp_spread_v(np.array([0.0, 1.0]))).min() > 0.010


def test_nmc532_and_its_graphite_at_points_of_a_library():
    # PyBaMM's set "Mohtat2020", evaluated there
    x = np.array([0.1, 0.5, 0.9])
    assert nmc532_electrode_v(x) == approx([4.194490, 3.814781, 3.650387], abs=1e-6)
    assert graphite_2020_v(x) == approx([0.193892, 0.099499, 0.090296], abs=1e-6)


def test_nmc_cell_v_is_sure_at_the_top_and_unsure_where_makes_differ():
    # both kinds end at 4.2 V; over most of the charge published cells lie 50 to 130 mV apart
    assert nmc_cell_v(np.array([1.0]))[0] == approx(4.2, abs=0.01)
    spread = np.abs(nmc_spread_v(np.linspace(0.1, 0.9, 81)))
    assert 0.02 < spread.mean() < 0.06
