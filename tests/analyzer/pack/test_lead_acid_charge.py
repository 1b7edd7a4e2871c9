"""Charge acceptance, gassing and full charge against published figures."""

import numpy as np
import pytest

from analyzer.pack.lead_acid_charge import accepted, gassing_a, is_full

KINDS = ("lead_acid", "agm", "gel")


def test_gassing_is_the_published_law():
    # Schiffer et al. 2007: 20 mA per 100 Ah at 2.23 V and 20 °C; e-fold each 1/11 V
    assert gassing_a("lead_acid", np.array(2.23), np.array(20.0), 100.0) == pytest.approx(0.020)
    up = gassing_a("lead_acid", np.array(2.23 + 1 / 11), np.array(20.0), 100.0)
    assert up == pytest.approx(0.020 * np.e)
    warm = gassing_a("agm", np.array(2.23), np.array(30.0), 100.0)
    assert warm == pytest.approx(0.010 * np.exp(0.6))


@pytest.mark.parametrize("kind", KINDS)
def test_less_is_kept_and_it_is_less_sure_the_higher_the_voltage(kind):
    volts = np.linspace(2.1, 2.6, 30)
    kept, doubt = accepted(kind, np.full(30, 10.0), volts, np.full(30, 25.0), 100.0)
    assert (np.diff(kept) <= 0).all()
    assert (np.diff(doubt) >= 0).all()
    assert kept[0] > 0.9 > kept[-1]


def test_whole_recharge_is_within_what_makers_ask_for():
    """Flooded 110 to 130 % back, sealed 110 to 120 %: nine tenths below gassing, the rest at it."""
    volts = np.r_[np.full(60, 2.25), np.full(40, 2.42)]
    for kind, most in (("lead_acid", 1.30), ("agm", 1.20), ("gel", 1.20)):
        kept, _ = accepted(kind, np.full(100, 8.0), volts, np.full(100, 25.0), 100.0)
        assert 1.05 < 1 / kept.mean() < most


def test_a_current_that_gassing_explains_is_not_kept():
    kept, _ = accepted("lead_acid", np.array([0.02]), np.array([2.45]), np.array([25.0]), 100.0)
    assert kept == pytest.approx(0.0)


def test_full_wants_voltage_and_tail():
    ah, c25 = 200.0, np.full(4, 25.0)
    volts, amps = np.array([2.45, 2.45, 2.20, 2.45]), np.array([5.0, 20.0, 5.0, -3.0])
    assert is_full(volts, amps, c25, ah).tolist() == [True, False, False, False]


def test_full_follows_the_charger_s_temperature_compensation():
    # 30 mV a block and kelvin: at 45 °C a 12 V charger holds 14.4 - 0.6 V = 2.30 V a cell
    assert is_full(np.array([2.30]), np.array([2.0]), np.array([45.0]), 200.0)[0]
    assert not is_full(np.array([2.30]), np.array([2.0]), np.array([10.0]), 200.0)[0]


def test_voltage_that_was_not_measured_counts_as_below_gassing():
    kept, _ = accepted("agm", np.array([10.0]), np.array([np.nan]), np.array([25.0]), 100.0)
    assert kept == pytest.approx(0.97)
