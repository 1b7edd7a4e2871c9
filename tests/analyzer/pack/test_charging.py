"""Charging answers on invented readings."""

import numpy as np
import pytest
from pytest import approx

from analyzer.pack.cell_model import default_cell, measured_capacity
from analyzer.pack.charging import findings, time_to_full
from analyzer.pack.chemistry import chemistry
from analyzer.pack.soc import known
from analyzer.series.series import Series
from logger.boat import Pack

PACK = Pack(chemistry="lfp", cells_in_series=16, rated_capacity_ah=200)


def readings(amps, volts, **more):
    n = 600
    values = {"pack_current_a": np.full(n, amps), "pack_voltage_v": np.full(n, volts)}
    return Series(0, 1.0, n, {**values, **{k: np.full(n, v) for k, v in more.items()}})


def test_time_to_full_by_hand():
    # 100 Ah missing at 50 A: two hours, and the tail of twenty minutes; capacity measured
    cell = measured_capacity(default_cell(PACK), 0.08)
    found = time_to_full(known(PACK, 0.5, 0.02, cell), PACK, 50.0)
    assert found.mid == approx(7200 + 1200, rel=0.03)
    assert found.low < found.mid < found.high


def test_time_to_full_s_range_is_that_of_the_charge():
    # 2 % of 100 Ah at 50 A is 2.4 minutes each standard deviation; 80 % of a normal lie within 1.28
    cell = measured_capacity(default_cell(PACK), 1e-4)
    found = time_to_full(known(PACK, 0.5, 0.02, cell), PACK, 50.0, draws=20_000)
    one_sd_s = 0.02 * 200 / 50 * 3600 / chemistry("lfp").charge_efficiency
    assert found.high - found.mid == approx(1.2816 * one_sd_s, rel=0.05)
    assert found.mid - found.low == approx(1.2816 * one_sd_s, rel=0.05)


def test_more_has_to_go_in_than_is_missing():
    # 100 Ah missing; of each ampere-hour a lead-acid bank keeps nine tenths on the whole (its
    # chemistry's figure), at 50 A, and the tail of twenty minutes
    pack = Pack(chemistry="lead_acid", cells_in_series=12, rated_capacity_ah=200)
    cell = measured_capacity(default_cell(pack), 1e-4)
    found = time_to_full(known(pack, 0.5, 1e-3, cell), pack, 50.0)
    assert found.mid == approx(100 / 0.9 / 50 * 3600 + 1200, rel=0.01)


def test_a_voltage_too_high_is_told_as_it_was_read():
    over = [f for f in findings(readings(-20.0, 16 * 3.75), PACK) if f.kind == "over_voltage"]
    assert len(over) == 1
    size = over[0].size
    assert size.mid == approx(3.75)
    assert size.low < size.mid < size.high


def test_only_lead_acid_is_said_to_lose_capacity_where_it_is_never_full():
    for name, loses in (("lfp", False), ("nmc", False), ("lead_acid", True), ("agm", True)):
        pack = Pack(chemistry=name, cells_in_series=12, rated_capacity_ah=200)
        still = readings(0.0, 12 * chemistry(name).ocv_v(0.5))
        never = [f for f in findings(still, pack, 30.0) if f.kind == "never_full"]
        assert len(never) == 1
        assert ("lead-acid" in never[0].cure) == loses
        assert never[0].size.mid == approx(30 * 86_400)  # seconds of thirty days


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


def shore(held_v, minutes=90):
    """A charger that holds a voltage while the current tails off from 0.2 C; invented."""
    t = np.arange(minutes * 60.0)
    amps = -np.maximum(40.0 * np.exp(-t / 1200.0), 3.0)
    volts = np.minimum(52.8 + t / 600.0, held_v)
    return Series(0, 1.0, len(t), {"pack_current_a": amps, "pack_voltage_v": volts})


def test_findings_charger_that_stops_short_of_the_top():
    # 53.4 V is 3.34 V a cell: on the flat part, where nothing is full
    short = findings(shore(53.4), PACK)
    assert [f.kind for f in short] == ["charge_stops_short"]
    assert "3.34 V" in short[0].text
    # 56 V is 3.50 V a cell: the tail there is how a charge ends
    assert findings(shore(56.0), PACK) == ()


def test_findings_slow_sun_is_no_charger_that_stops_short():
    # the same small current all along, voltage rising: it only needs time
    t = np.arange(5400.0)
    values = {"pack_current_a": np.full(5400, -5.0), "pack_voltage_v": 53.2 + t * 2e-5}
    assert findings(Series(0, 1.0, 5400, values), PACK) == ()


@pytest.mark.parametrize(
    ("cold_s", "told"),
    [
        ((90,), True),
        ((40,), False),
        ((40, 40), False),
        ((20, 20, 20, 90), True),
        ((40,) * 5, False),
    ],
)
@pytest.mark.parametrize("step_s", [1, 10])
def test_cold_charge_counts_the_longest_time_of_it_at_any_rate_of_readings(cold_s, told, step_s):
    """A minute on end is told, as the module has it; minutes added up are not."""
    temps = [np.r_[np.full(s // step_s, -3.0), np.full(60 // step_s, 5.0)] for s in cold_s]
    temp_c = np.concatenate(temps)
    values = {"pack_current_a": np.full(len(temp_c), -20.0), "pack_temp_c": temp_c}
    values |= {"pack_voltage_v": np.full(len(temp_c), 16 * 3.35)}
    found = findings(Series(0, float(step_s), len(temp_c), values), PACK)
    assert any(f.kind == "cold_charge" for f in found) == told


def test_a_trickle_in_the_cold_is_no_charge():
    # half a per cent of 200 Ah is 1 A
    for amps, told in ((-0.8, False), (-1.2, True)):
        found = findings(readings(amps, 16 * 3.35, pack_temp_c=-3.0), PACK)
        assert any(f.kind == "cold_charge" for f in found) == told


def test_where_a_charger_stops_short_is_told_as_it_was_read():
    n = 5400
    amps = -np.maximum(40.0 * np.exp(-np.arange(n) / 1200.0), 1.5)
    values = {"pack_current_a": amps, "pack_voltage_v": np.full(n, 16 * 3.36)}
    short = [f for f in findings(Series(0, 1.0, n, values), PACK) if f.kind == "charge_stops_short"]
    assert len(short) == 1
    size = short[0].size
    assert size.mid == approx(3.36)
    assert size.low < size.mid < size.high
