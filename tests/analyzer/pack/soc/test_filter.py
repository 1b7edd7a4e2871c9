"""The bank of filters: it must stay a proper probability."""

import numpy as np
import pytest
from pytest import approx

from analyzer.pack.cell_model import default_cell, measured_capacity
from analyzer.pack.soc.filter import GaussianMixtureFilter
from analyzer.pack.soc.states import LN_Q, OFFSET, SOC, STATES
from logger.boat import Pack
from tests.support.charge_filter import Load

PACK = Pack(chemistry="lfp", cells_in_series=1, rated_capacity_ah=100)


@pytest.fixture
def bank():
    """Of a cell whose label is right."""
    return GaussianMixtureFilter(measured_capacity(default_cell(PACK), 0.08))


def step(charge_as=0.0, length_s=20.0, volts=3.2):
    return Load(charge_as=charge_as, length_s=length_s, voltage_v=volts).step()


def test_a_bank_that_begins_anywhere_is_evenly_spread():
    mean, var = GaussianMixtureFilter(default_cell(PACK), anywhere=True).mean_var()
    # evenly spread over 0 to 1: mean 1/2, variance 1/12
    assert mean[SOC] == approx(0.5, abs=0.01)
    assert var[SOC] == approx(1 / 12, rel=0.1)


def test_predict_counts_charge_and_offset(bank):
    before = bank.mean[SOC].copy()
    bank.predict(step(charge_as=3600.0, length_s=3600.0), np.zeros(STATES))
    # 1 Ah of 100 Ah
    inside = before > 0.05
    assert before[inside] - bank.mean[SOC][inside] == approx(0.01)
    # an offset of sd 0.4 A over an hour: 0.004 of charge, with capacity's share beside
    assert bank.cov[SOC, OFFSET] == approx(0.4**2 / 100)


def test_update_voltage_moves_to_the_knee_and_keeps_covariance_positive(bank):
    for _ in range(200):
        bank.predict(step(), np.zeros(STATES))
        bank.update_voltage(step(volts=2.95), 20.0, 0.0)
        bank.prune_and_split()
    mean, var = bank.mean_var()
    # on both published curves 2.95 V lies at 3-4 % of charge
    assert mean[SOC] < 0.07
    assert var[SOC] ** 0.5 < 0.03
    for k in range(bank.cov.shape[2]):
        assert np.linalg.eigvalsh(bank.cov[:, :, k]).min() > -1e-9


def test_update_voltage_on_the_plateau_leaves_much_open(bank):
    bank.update_voltage(step(volts=3.305), 20.0, 0.0)
    assert bank.mean_var()[1][SOC] ** 0.5 > 0.1


def test_split_keeps_mean_and_covariance(bank):
    mean, var = bank.mean_var()
    wide = bank.cov[SOC, SOC] > 0.02**2
    assert wide.any()
    bank._split(wide)
    again, again_var = bank.mean_var()
    assert again == approx(mean)
    assert again_var == approx(var, rel=1e-6)


def test_update_soc_ends_the_doubt(bank):
    bank.update_soc(1.0, 0.01)
    mean, var = bank.mean_var()
    assert mean[SOC] == approx(1.0, abs=0.02)
    assert var[SOC] ** 0.5 < 0.02


def test_update_weighs_copies_of_one_error_as_one_measurement(bank):
    # twenty steps share one error of variance R: for a guess whose own doubt of the voltage is P
    # the density of what is measured is that of the normal distribution of variance P + R
    error, copies, off = 0.002**2, 20, 0.004
    h = np.zeros((STATES, len(bank.log_weight)))
    h[SOC] = np.linspace(0.0, 0.3, len(bank.log_weight))  # from flat to steep, V per unit of charge
    own = h[SOC] ** 2 * bank.cov[SOC, SOC]
    start, centre = bank.log_weight.copy(), bank.mean[SOC].copy()
    for _ in range(copies):
        innovation = off - h[SOC] * (bank.mean[SOC] - centre)
        bank.update(innovation, h, np.full(len(own), copies * error), 1 / copies)
    expected = start - 0.5 * (off**2 / (own + error) + np.log(own + error))
    assert bank.log_weight - bank.log_weight.max() == approx(expected - expected.max(), abs=1e-6)


def test_a_curve_seen_twice_is_no_fresh_evidence(bank):
    # full, then twice down to half and back: what the curve is off by there stays one error, so
    # that the second pass leaves the capacity's doubt nearly as the first did
    bank.update_soc(1.0, 0.01)
    sds = []
    for _ in range(2):
        for sign in (1, -1):
            for _ in range(100):
                bank.predict(step(charge_as=sign * 1800.0), np.zeros(STATES))
                soc = float(bank.weights() @ bank.mean[SOC])
                volts = float(bank.kind.ocv_v(soc))
                bank.update_voltage(step(charge_as=sign * 1800.0, volts=volts), 20.0, 0.0)
        sds.append(bank.mean_var()[1][LN_Q] ** 0.5)
    assert sds[0] < bank.cell.capacity_sd
    assert sds[1] > 0.8 * sds[0]
