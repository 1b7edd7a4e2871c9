"""The charge followed: anchors by the label's definition, order of events, counting by hand.

Cells invented: the chemistry's own curve and one resistor, so that what must come out is a sum of
ampere-hours. The label: makers count the charge from the full voltage to the cut-off.
"""

import numpy as np
import pytest
from pytest import approx

from analyzer.pack.cell_model import default_cell, measured_capacity
from analyzer.pack.chemistry import chemistry
from analyzer.pack.soc import known, sign_reversed, track
from analyzer.pack.soc.track import FULL_HELD_S
from analyzer.series.series import Series
from logger.boat import Pack

AH = 100.0
OHM = 0.6e-3


def pack_of(name, cells=1):
    return Pack(chemistry=name, cells_in_series=cells, rated_capacity_ah=AH)


def readings(name, current_a, soc, step_s=1.0, true_ah=AH, **more):
    """A cell of a chemistry's own curve under a load, and its charge."""
    true = soc - np.cumsum(current_a) * step_s / 3600 / true_ah
    volts = chemistry(name).ocv_v(np.clip(true, 0, 1)) - OHM * current_a
    values = {"pack_current_a": current_a, "pack_voltage_v": volts, **more}
    return Series(0, step_s, len(current_a), values), true


def counts(state, amps, hours, **more):
    """A stretch whose voltage is missing: nothing but counting is left."""
    n = round(hours * 3600)
    values = {"pack_current_a": np.full(n, amps), "pack_voltage_v": np.full(n, np.nan), **more}
    return track(Series(state.t_us, 1.0, n, values), pack_of("lfp"), state)


def sure(soc, name="lfp"):
    """A charge and a capacity that are known."""
    pack = pack_of(name)
    return known(pack, soc, 0.001, measured_capacity(default_cell(pack), 0.001))


@pytest.mark.parametrize("amps", [20.0, 37.5])
def test_without_a_voltage_charge_is_counted(amps):
    found = counts(sure(0.9), amps, 1.0)
    assert found.soc_frac[-1] == approx(0.9 - amps / AH, abs=2e-3)


def test_a_charge_counts_less_the_chemistry_s_loss():
    found = counts(sure(0.2), -30.0, 1.0)
    kept = chemistry("lfp").charge_efficiency
    assert found.soc_frac[-1] == approx(0.2 + kept * 0.3, abs=2e-3)


def test_there_and_back_is_where_it_began():
    out = counts(sure(0.5), 25.0, 1.0).final
    back = counts(out, -25.0 / chemistry("lfp").charge_efficiency, 1.0)
    assert back.soc_frac[-1] == approx(0.5, abs=2e-3)


def test_one_stretch_is_its_two_halves():
    amps = np.repeat(np.random.default_rng(3).uniform(0, 60, 30), 120)
    series, _ = readings("lfp", amps, 0.8)
    start = known(pack_of("lfp"), 0.8, 0.02)
    whole = track(series, pack_of("lfp"), start).final
    first = track(series.cut(0, 1800), pack_of("lfp"), start).final
    second = track(series.cut(1800, 3600), pack_of("lfp"), first).final
    assert second.soc == approx(whole.soc, abs=2e-3)
    assert second.capacity_ah == approx(whole.capacity_ah, rel=2e-3)
    assert second.t_us == whole.t_us


def test_a_pack_of_many_cells_is_its_cell_many_times():
    amps = np.full(1200, 40.0)
    one, _ = readings("lfp", amps, 0.7)
    values = {**one.values, "pack_voltage_v": 16 * one.values["pack_voltage_v"]}
    many = track(Series(0, 1.0, one.n, values), pack_of("lfp", 16))
    alone = track(one, pack_of("lfp"))
    assert many.soc_frac == approx(alone.soc_frac, abs=1e-9)
    assert many.ocv_v == approx(16 * alone.ocv_v, rel=1e-9)
    assert many.v_r0 == approx(16 * alone.v_r0, rel=1e-9)


def test_losses_add_up_to_what_the_voltage_fell():
    amps = np.full(3600, 40.0)
    series, _ = readings("lfp", amps, 0.7)
    found = track(series, pack_of("lfp"), known(pack_of("lfp"), 0.7, 0.01))
    terminal_v = found.ocv_v - found.v_r0 - found.v_rc
    # the filter's own voltage is the measured one within its reading and its circuit
    late = slice(1800, None)
    assert terminal_v[late] == approx(series.get("pack_voltage_v")[late], abs=0.015)


@pytest.mark.parametrize(("held_v", "full"), [(4.20, True), (4.05, False)])
def test_nmc_is_full_at_its_label_s_voltage_and_not_where_a_charger_stops_short(held_v, full):
    pack = pack_of("nmc")
    n = round(10 * FULL_HELD_S)
    values = {"pack_current_a": np.full(n, -2.0), "pack_voltage_v": np.full(n, held_v)}
    after = track(Series(0, 1.0, n, values), pack, known(pack, 0.85, 0.05)).final
    if full:
        assert after.soc == approx(1.0, abs=0.02)
    else:
        # 4.05 V at rest by the published curve
        at_rest = float(chemistry("nmc").soc_at(held_v))
        assert after.soc == approx(at_rest, abs=0.05)
        assert after.soc < 0.95


def test_a_discharge_to_the_cut_off_is_empty_by_the_label():
    pack = pack_of("nmc")
    amps = np.full(600, 30.0)
    volts = np.linspace(3.3, 2.99, 600)
    series = Series(0, 1.0, 600, {"pack_current_a": amps, "pack_voltage_v": volts})
    after = track(series, pack, known(pack, 0.2, 0.08)).final
    assert after.soc == approx(0.0, abs=0.02)
    assert after.emptied


@pytest.mark.parametrize("amps", [300.0, 2.0])
def test_a_load_that_no_label_means_empties_nothing(amps):
    # at 3 C the cut-off comes early, and hardly any load draws the last of it
    pack = pack_of("nmc")
    values = {"pack_current_a": np.full(60, amps), "pack_voltage_v": np.full(60, 2.99)}
    after = track(Series(0, 1.0, 60, values), pack, known(pack, 0.2, 0.01)).final
    assert not after.emptied


def test_one_end_of_a_discharge_is_one_anchor():
    # however the readings come in pieces: the posterior is no surer for it
    pack = pack_of("nmc")
    amps = np.full(240, 30.0)
    series = Series(0, 1.0, 240, {"pack_current_a": amps, "pack_voltage_v": np.full(240, 2.99)})
    start = known(pack, 0.02, 0.02)
    whole = track(series, pack, start).final
    state = start
    for first in range(0, 240, 60):
        state = track(series.cut(first, first + 60), pack, state).final
    assert state.sd == approx(whole.sd, rel=0.05)


def test_full_to_empty_and_back_shows_the_capacity():
    """83 Ah under a label of 100: known by counting between the two ends."""
    pack = pack_of("nmc")
    true_ah, hours = 83.0, 2.0
    down = np.full(round(hours * 3600), true_ah / hours)
    series, true = readings("nmc", down, 1.0, true_ah=true_ah)
    series.values["pack_voltage_v"] = np.where(true <= 0.002, 2.99, series.get("pack_voltage_v"))
    held = np.full(600, -1.0)
    top = Series(0, 1.0, 600, {"pack_current_a": held, "pack_voltage_v": np.full(600, 4.2)})
    state = track(top, pack).final
    later = Series(state.t_us, 1.0, series.n, series.values)
    state = track(later, pack, state).final
    assert state.capacity_ah == approx(true_ah, rel=0.03)
    assert abs(state.capacity_ah - true_ah) < 2 * state.capacity_sd_ah


def test_a_voltage_that_jumps_without_a_load_says_little():
    pack = pack_of("lfp")
    rng = np.random.default_rng(6)
    still = np.zeros(1200)
    series, _ = readings("lfp", still, 0.02)  # deep in the knee: a voltage that says much
    said = track(series, pack, known(pack, 0.3, 0.15)).final
    jumping = series.get("pack_voltage_v") + rng.normal(0, 0.2, 1200)
    loose = Series(0, 1.0, 1200, {"pack_current_a": still, "pack_voltage_v": jumping})
    unsaid = track(loose, pack, known(pack, 0.3, 0.15)).final
    assert said.sd < 0.03
    assert unsaid.sd > 3 * said.sd


@pytest.mark.parametrize("ohm", [OHM, -OHM])
def test_a_shunt_the_wrong_way_round_is_seen_by_the_sign_of_its_resistance(ohm):
    rng = np.random.default_rng(8)
    amps = np.repeat(rng.uniform(0, 80, 60), 60)
    volts = 3.3 - ohm * amps + rng.normal(0, 5e-4, len(amps))
    series = Series(0, 1.0, len(amps), {"pack_current_a": amps, "pack_voltage_v": volts})
    assert sign_reversed(series, pack_of("lfp")) == (ohm < 0)


def test_a_series_without_readings_changes_nothing_but_the_time():
    start = known(pack_of("lfp"), 0.6, 0.03)
    empty = Series(0, 1.0, 0, {"pack_current_a": np.zeros(0), "pack_voltage_v": np.zeros(0)})
    after = track(empty, pack_of("lfp"), start).final
    assert (after.soc, after.capacity_ah) == approx((start.soc, start.capacity_ah), rel=1e-9)
