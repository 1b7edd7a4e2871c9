"""Chemistries: curves, temperature, defaults."""

import json
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx

from analyzer.pack.cell_model import (
    Cell,
    arrhenius,
    chemistry,
    default_cell,
    default_params,
)
from analyzer.pack.curves.service_prior import moments
from logger.boat import Pack

NAMES = ["lfp", "nmc", "lead_acid", "agm", "gel"]


@pytest.mark.parametrize("name", NAMES)
def test_ocv_v_rises_with_charge_and_arrays_equal_scalars(name):
    kind = chemistry(name)
    soc = np.linspace(0, 1, 101)
    volts = kind.ocv_v(soc)
    assert (np.diff(volts) > 0).all()
    assert volts[37] == kind.ocv_v(0.37)
    assert np.isnan(kind.ocv_v(np.nan))


@pytest.mark.parametrize("name", NAMES)
def test_soc_at_turns_ocv_v_round(name):
    kind = chemistry(name)
    soc = np.linspace(0.02, 0.98, 25)
    assert kind.soc_at(kind.ocv_v(soc, 10.0, -1.0), 10.0, -1.0) == approx(soc, abs=0.003)


def test_docv_dsoc_is_small_on_the_plateau():
    # mean slopes of three published graphite fits, hand sums at 78 % filling: 1.91, 1.09 and 1.82
    # mV per % at 20-50 %, 0.97, 0.97 and 0.99 at 50-80 %, and half of the 0.19 of one iron
    # phosphate of two: 1.70 and 1.07 when new. Lithium lost moves graphite's step up
    kind = chemistry("lfp")
    assert kind.docv_dsoc(np.linspace(0.2, 0.5, 301)).mean() == approx(0.170, rel=0.2)
    assert kind.docv_dsoc(np.linspace(0.5, 0.8, 301)).mean() == approx(0.107, rel=0.2)


def test_arrhenius_at_published_factors():
    # published charge-transfer energy 33.8 kJ/mol; factors by hand from the formula
    assert arrhenius(np.array([-10.0, 0.0, 10.0, 25.0, 40.0]), 33.8e3) == approx(
        [6.13, 3.48, 2.06, 1.0, 0.520], rel=2e-3
    )


def test_default_params_lie_where_large_cells_lie():
    # common practice, no source: 0.3-1 milliohm for 100-300 Ah prismatic cells
    for ah in (100.0, 200.0, 300.0):
        p = default_params(Pack(chemistry="lfp", cells_in_series=16, rated_capacity_ah=ah))
        assert 0.3e-3 < p.r0_ohm + p.r1_ohm < 1.1e-3


def test_default_params_take_the_makers_resistance():
    pack = Pack(
        chemistry="lfp", cells_in_series=4, rated_capacity_ah=100, cell_resistance_ohm=0.5e-3
    )
    p = default_params(pack)
    assert p.r0_ohm + p.r1_ohm == approx(0.5e-3)


@pytest.mark.parametrize("learned", [False, True])
def test_cell_goes_through_json(learned):
    cell = default_cell(Pack(chemistry="lfp", cells_in_series=4, rated_capacity_ah=100))
    if learned:
        cell = replace(cell, kind=replace(cell.kind, mean_v=cell.kind.mean_v + 0.01))
    again = Cell.from_dict(json.loads(json.dumps(cell.to_dict())))
    assert again.params == cell.params
    assert again.kind.mean_v == approx(cell.kind.mean_v)


def test_a_maker_s_resistance_scales_the_whole_circuit_alike():
    plain = default_params(Pack(chemistry="lfp", cells_in_series=4, rated_capacity_ah=100))
    told = Pack(
        chemistry="lfp", cells_in_series=4, rated_capacity_ah=100, cell_resistance_ohm=0.002
    )
    own = default_params(told)
    assert own.r0_ohm + own.r1_ohm == approx(0.002)
    assert own.r1_ohm / own.r0_ohm == approx(plain.r1_ohm / plain.r0_ohm)
    assert own.r2_ohm / own.r0_ohm == approx(plain.r2_ohm / plain.r0_ohm)


@pytest.mark.parametrize("name", NAMES)
def test_an_age_that_is_told_counts_for_the_one_of_packs_in_service(name):
    """New cells hold their label within a few per cent (`curves/service_prior.py`, its sources)."""
    pack = Pack(chemistry=name, cells_in_series=6, rated_capacity_ah=100)
    untold, new = default_cell(pack), default_cell(pack.model_copy(update={"age_years": 0.0}))
    service_mean, service_sd = moments(chemistry(name).capacity)
    assert (untold.capacity_ln_mean, untold.capacity_sd) == approx((service_mean, service_sd))
    assert -0.01 < new.capacity_ln_mean < 0.03
    assert new.capacity_sd < 0.75 * service_sd
    # the curve's mean stays that of packs in service
    assert untold.curve_ln_q == new.curve_ln_q == approx(service_mean)
