"""The circuit's loss under load against what makers' tables print (`fit_lead_loss`)."""

import numpy as np
import pytest

from analyzer.estimation.quantiles import Z80
from analyzer.pack.chemistry import LEAD_ACTIVATION_V, chemistry
from tests.field.fit_lead_loss import circuit_loss_v, discharged, printing_powers, published_loss_v

GAS_J_PER_MOL_K, FARADAY_C_PER_MOL = 8.314462618, 96485.33212  # CODATA 2018
BOAT_RATES = (0.1, 0.7)  # of the amp-hours an hour: from ten hours' motoring to one


def published_over_circuit() -> list[np.ndarray]:
    """By table, published loss over the circuit's at loads that a boat motors at."""
    ratios = []
    for table in printing_powers().values():
        rate, _ = discharged(table)
        usual = (rate > BOAT_RATES[0]) & (rate < BOAT_RATES[1])
        ratios.append(published_loss_v(table)[usual] / circuit_loss_v(table)[usual])
    return ratios


def test_the_middle_of_the_tables_is_the_circuits():
    ratios = np.concatenate(published_over_circuit())
    assert len(ratios) >= 30
    assert float(np.median(ratios)) == pytest.approx(1.0, abs=0.1)


def test_classes_lie_within_the_doubt_of_the_resistance():
    means = np.array([np.log(np.median(r)) for r in published_over_circuit()])
    doubt = chemistry("agm").fast_sd
    assert (np.abs(means) < Z80 * doubt).all()
    # and the doubt, which age adds to, is no more than three times what new classes scatter by
    assert doubt < 3 * means.std(ddof=1)


def test_the_form_is_the_charge_transfers():
    thermal_v = GAS_J_PER_MOL_K * 298.15 / FARADAY_C_PER_MOL
    assert pytest.approx(thermal_v, rel=0.01) == LEAD_ACTIVATION_V
    agm = chemistry("agm")
    loss_v = agm.activation_loss_v(np.array([-5.0, 0.0, 5.0]), 25.0, 100.0)
    # asinh(1) = 0.8814 (tables)
    assert loss_v == pytest.approx([-0.8814 * thermal_v, 0.0, 0.8814 * thermal_v], rel=0.01)


def test_lithium_cells_have_a_straight_line():
    for name in ("lfp", "nmc"):
        assert float(chemistry(name).activation_loss_v(np.array(50.0), 25.0, 100.0)) == 0.0


def test_a_small_step_sees_the_slope_of_the_loss():
    agm = chemistry("agm")
    amps = np.array([11.999, 12.001])
    low_v, high_v = agm.activation_loss_v(amps, 25.0, 100.0)
    assert agm.activation_ohm(12.0, 100.0) == pytest.approx((high_v - low_v) / 0.002, rel=1e-6)
