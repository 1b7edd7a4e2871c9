"""The bank of filters: it must stay a proper probability."""

import numpy as np
import pytest
from pytest import approx

from analyzer.pack.cell_model import default_cell
from analyzer.pack.soc_filter import (
    EDGES,
    LN_Q,
    OFFSET,
    SOC,
    STATES,
    Guesses,
    Step,
)
from logger.boat import Pack

PACK = Pack(chemistry="lfp", cells_in_series=1, rated_capacity_ah=100)


@pytest.fixture
def bank():
    return Guesses(default_cell(PACK))


def step(charge_as=0.0, length_s=20.0, volts=3.2):
    return Step(charge_as, length_s, 0.0, 1.0, 0.0, volts, 0.0, 0.0, 0.0, (0.0,) * 7, 1e-3, 1, 0)


def test_fresh_bank_knows_nothing(bank):
    mean, var = bank.mean_var()
    # evenly spread over 0 to 1: mean 1/2, variance 1/12
    assert mean[SOC] == approx(0.5, abs=0.01)
    assert var[SOC] == approx(1 / 12, rel=0.1)
    assert bank.weights() == approx(np.diff(EDGES))


def test_advance_counts_charge_and_offset(bank):
    before = bank.x[SOC].copy()
    bank.advance(step(charge_as=3600.0, length_s=3600.0), np.zeros(STATES))
    # 1 Ah of 100 Ah
    inside = before > 0.05
    assert before[inside] - bank.x[SOC][inside] == approx(0.01)
    # an offset of sd 0.4 A over an hour: 0.004 of charge, with capacity's share beside
    assert bank.p[SOC, OFFSET] == approx(0.4**2 / 100)


def test_see_voltage_moves_to_the_knee_and_keeps_covariance_positive(bank):
    for _ in range(200):
        bank.advance(step(), np.zeros(STATES))
        bank.see_voltage(step(volts=2.95), 20.0, 0.0)
        bank.tidy()
    mean, var = bank.mean_var()
    # on both published curves 2.95 V lies at 3-4 % of charge
    assert mean[SOC] < 0.07
    assert var[SOC] ** 0.5 < 0.03
    for k in range(bank.p.shape[2]):
        assert np.linalg.eigvalsh(bank.p[:, :, k]).min() > -1e-9


def test_see_voltage_on_the_plateau_leaves_much_open(bank):
    bank.see_voltage(step(volts=3.305), 20.0, 0.0)
    assert bank.mean_var()[1][SOC] ** 0.5 > 0.1


def test_split_keeps_mean_and_covariance(bank):
    mean, var = bank.mean_var()
    wide = bank.p[SOC, SOC] > 0.02**2
    assert wide.any()
    bank._split(wide)
    again, again_var = bank.mean_var()
    assert again == approx(mean)
    assert again_var == approx(var, rel=1e-6)


def test_see_soc_ends_the_doubt(bank):
    bank.see_soc(1.0, 0.01)
    mean, var = bank.mean_var()
    assert mean[SOC] == approx(1.0, abs=0.02)
    assert var[SOC] ** 0.5 < 0.02


def test_correct_weighs_copies_of_one_error_as_one_measurement(bank):
    # twenty steps share one error of variance R: for a guess whose own doubt of the voltage is P
    # the density of what is measured is that of the normal distribution of variance P + R
    error, copies, off = 0.002**2, 20, 0.004
    h = np.zeros((STATES, len(bank.logw)))
    h[SOC] = np.linspace(0.0, 0.3, len(bank.logw))  # from flat to steep, V per unit of charge
    own = h[SOC] ** 2 * bank.p[SOC, SOC]
    start, centre = bank.logw.copy(), bank.x[SOC].copy()
    for _ in range(copies):
        innovation = off - h[SOC] * (bank.x[SOC] - centre)
        bank.correct(innovation, h, np.full(len(own), copies * error), 1 / copies)
    expected = start - 0.5 * (off**2 / (own + error) + np.log(own + error))
    assert bank.logw - bank.logw.max() == approx(expected - expected.max(), abs=1e-6)


def test_a_curve_seen_twice_is_no_fresh_evidence(bank):
    # full, then twice down to half and back: what the curve is off by there stays one error, so
    # that the second pass leaves the capacity's doubt nearly as the first did
    bank.see_soc(1.0, 0.01)
    sds = []
    for _ in range(2):
        for sign in (1, -1):
            for _ in range(100):
                bank.advance(step(charge_as=sign * 1800.0), np.zeros(STATES))
                soc = float(bank.weights() @ bank.x[SOC])
                volts = float(bank.kind.ocv_v(soc))
                bank.see_voltage(step(charge_as=sign * 1800.0, volts=volts), 20.0, 0.0)
        sds.append(bank.mean_var()[1][LN_Q] ** 0.5)
    assert sds[0] < bank.cell.capacity_sd
    assert sds[1] > 0.8 * sds[0]
