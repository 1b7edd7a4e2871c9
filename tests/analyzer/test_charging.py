"""Charging answers on invented readings."""

import numpy as np
from pytest import approx

from analyzer.charging import findings, time_to_full
from analyzer.series import Series
from analyzer.soc import known
from logger.boat import Pack

PACK = Pack(chemistry="lfp", cells_in_series=16, rated_capacity_ah=200)


def readings(amps, volts, **more):
    n = 600
    values = {"pack_current_a": np.full(n, amps), "pack_voltage_v": np.full(n, volts)}
    return Series(0, 1.0, n, {**values, **{k: np.full(n, v) for k, v in more.items()}})


def test_time_to_full_by_hand():
    # 100 Ah missing at 50 A: two hours, and the tail of twenty minutes
    found = time_to_full(known(PACK, 0.5, 0.02), PACK, 50.0)
    assert found.mid == approx(7200 + 1200, rel=0.03)
    assert found.low < found.mid < found.high


def test_time_to_full_without_current_says_so():
    assert not time_to_full(known(PACK, 0.5, 0.02), PACK, 0.0).known


def test_findings_cold_charge():
    cold = findings(readings(-20.0, 53.0, pack_temp_c=-3.0), PACK)
    assert [f.kind for f in cold] == ["cold_charge"]
    assert findings(readings(20.0, 52.0, pack_temp_c=-3.0), PACK) == ()
    assert findings(readings(-20.0, 53.0, pack_temp_c=5.0), PACK) == ()
    # without a temperature nothing is said
    assert findings(readings(-20.0, 53.0), PACK) == ()


def test_findings_over_voltage_by_regeneration():
    high = findings(readings(-15.0, 16 * 3.70, shaft_speed_rps=8.0), PACK)
    assert [f.kind for f in high] == ["over_voltage"]
    assert "propeller" in high[0].text
    assert findings(readings(-15.0, 16 * 3.50, shaft_speed_rps=8.0), PACK) == ()


def test_findings_charger_that_never_fills():
    assert [f.kind for f in findings(readings(0.0, 53.0), PACK, 30.0)] == ["never_full"]
    assert findings(readings(0.0, 53.0), PACK, 3.0) == ()
