"""The charge filter on cells made here with another circuit than its own parameters."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx

from analyzer.pack.cell_model import chemistry, default_cell
from analyzer.pack.soc import (
    PackPosterior,
    known,
    sign_reversed,
    track,
)
from analyzer.series.series import Series
from logger.boat import Pack

PACK = Pack(chemistry="lfp", cells_in_series=16, rated_capacity_ah=230)


def invented(current_a, soc, r_ohm=0.5e-3, **more):
    """Readings of sixteen equal cells with one resistor each; invented."""
    ah = np.cumsum(current_a) / 3600
    true = soc - ah / 230
    volts = 16 * (chemistry("lfp").ocv_v(true) - current_a * r_ohm)
    values = {"pack_current_a": current_a, "pack_voltage_v": volts, **more}
    return Series(0, 1.0, len(current_a), values), true


def test_track_counts_after_full():
    held = np.linspace(-40, -2, 1800)
    amps = np.r_[held, np.full(7200, 60.0)]
    series, _ = invented(amps, 0.955)  # full after the 10.5 Ah that are taken
    series.values["pack_voltage_v"][:1800] = 16 * 3.55
    series.values["pack_voltage_v"][1800:] -= 16 * chemistry("lfp").gap_v()  # gives from then on
    charge = track(series, PACK)
    assert charge.soc_frac[1799] == approx(1.0, abs=0.01)
    # half of what is not known of the capacity stays open, and the charger's volts are no curve's
    assert charge.final.soc == approx(1 - 120 / 230, abs=2 * charge.final.sd)
    assert charge.final.sd < 0.06


def test_track_keeps_when_the_pack_was_full():
    held = np.linspace(-40, -2, 1800)
    series, _ = invented(np.r_[held, np.full(3600, 60.0)], 0.98)
    series.values["pack_voltage_v"][:1800] = 16 * 3.55
    full = track(series, PACK).final.full_us
    assert full is not None
    assert 0 < full <= 1800e6
    later, _ = invented(np.full(600, 20.0), 0.6)
    state = PackPosterior.from_dict(json.loads(json.dumps(track(series, PACK).final.to_dict())))
    assert track(Series(9_000_000_000, 1.0, 600, later.values), PACK, state).final.full_us == full
    assert track(later, PACK).final.full_us is None


def test_track_is_unsure_on_the_plateau_and_sure_at_the_knee():
    flat, _ = invented(np.full(3600, 20.0), 0.7)
    low, _ = invented(np.full(3600, 20.0), 0.13)
    unsure, sure = track(flat, PACK).final, track(low, PACK).final
    assert unsure.sd > 3 * sure.sd
    assert sure.soc == approx(0.043, abs=0.03)


def test_track_gap_widens_the_range():
    amps = np.full(7200, 20.0)
    series, _ = invented(amps, 0.7)
    holed, _ = invented(amps.copy(), 0.7)
    holed.values["pack_current_a"][2000:5600] = np.nan
    holed.values["pack_voltage_v"][2000:5600] = np.nan
    assert track(holed, PACK).final.sd > track(series, PACK).final.sd


def test_track_goes_on_from_a_state_through_json():
    series, true = invented(np.tile([30.0] * 600 + [0.0] * 600, 6), 0.9)
    whole = track(series, PACK).final
    half = track(series.cut(0, 3600), PACK).final
    again = PackPosterior.from_dict(json.loads(json.dumps(half.to_dict())))
    rest = track(series.cut(3600, series.n), PACK, again).final
    assert rest.soc == approx(whole.soc, abs=0.02)
    assert abs(rest.soc - true[-1]) < 2.5 * rest.sd


def test_draws_match_the_state():
    series, _ = invented(np.full(3600, 20.0), 0.7)
    final = track(series, PACK).final
    draws = final.draws(20000, np.random.default_rng(1))
    assert draws["soc"].mean() == approx(final.soc, abs=0.005)
    assert draws["soc"].std() == approx(final.sd, rel=0.1)
    assert draws["capacity_ah"].mean() == approx(final.capacity_ah, rel=0.02)
    assert {len(v) for v in draws.values()} == {20000}


def test_track_without_voltage_or_current_says_nothing_sure():
    blank = Series(0, 1.0, 100, {})
    assert track(blank, PACK).final.sd > 0.25


def outing_and_charge(seed=3):
    """Two hours of changing load and an hour of charge; invented."""
    rng = np.random.default_rng(seed)
    load = np.repeat(rng.choice([0.0, 30.0, 60.0, 90.0], 60), 120)
    return invented(np.r_[load, np.full(3600, -40.0)], 0.9)


def test_track_turns_a_shunt_that_is_the_wrong_way_round():
    right, true = outing_and_charge()
    wrong = {**right.values, "pack_current_a": -right.values["pack_current_a"]}
    charge = track(Series(0, 1.0, right.n, wrong), PACK)
    plain = track(right, PACK)
    assert charge.final.sign_reversed
    assert not plain.final.sign_reversed
    assert charge.final.soc == approx(plain.final.soc, abs=1e-9)
    low, high = charge.range_frac(0.95)
    assert low[-1] < true[-1] < high[-1]


def test_track_keeps_the_sense_where_nothing_changes():
    right, _ = outing_and_charge()
    wrong = {**right.values, "pack_current_a": -right.values["pack_current_a"]}
    state = track(Series(0, 1.0, right.n, wrong), PACK).final
    state = PackPosterior.from_dict(json.loads(json.dumps(state.to_dict())))
    quiet, _ = invented(np.full(1200, -20.0), 0.5)
    quiet.values["pack_voltage_v"] = np.full(1200, 52.8)
    at_70 = replace(known(PACK, 0.7, 0.01, t_us=11_000_000_000), sign_reversed=state.sign_reversed)
    after = track(Series(11_000_000_000, 1.0, 1200, quiet.values), PACK, at_70)
    assert after.final.sign_reversed
    assert after.final.soc < 0.7 - 20 * 1200 / 3600 / 230  # given, not taken; 3.3 V is of less


def test_turned_is_not_misled_by_frames_that_come_seconds_apart():
    right, _ = outing_and_charge()
    late = {**right.values, "pack_voltage_v": np.roll(right.values["pack_voltage_v"], 4)}
    assert not sign_reversed(Series(0, 1.0, right.n, late), PACK)


@pytest.mark.parametrize("wrong_by", [0.85, 1.15])
def test_track_learns_a_wrong_capacity_between_full_and_low(wrong_by):
    # 230 Ah are there; the boat file says 15 % less or more
    held = np.linspace(-40, -2, 1800)
    amps = np.r_[held, np.tile(np.r_[np.full(900, 80.0), np.zeros(300)], 11)]
    series, true = invented(amps, 0.98)
    series.values["pack_voltage_v"][:1800] = 16 * 3.55
    said = Pack(chemistry="lfp", cells_in_series=16, rated_capacity_ah=wrong_by * 230)
    final = track(series, said).final
    low, high = final.range_frac(0.95)
    assert low < true[-1] < high
    assert abs(final.capacity_ah - 230) < 2.5 * final.capacity_sd_ah
    assert abs(final.capacity_ah - 230) < 0.5 * abs(wrong_by - 1) * 230


def test_track_starts_late_and_without_a_temperature():
    # the log begins in the middle of an outing under load
    series, true = invented(np.repeat([60.0, 20.0, 80.0, 0.0] * 6, 300), 0.55)
    low, high = track(series, PACK).range_frac(0.95)
    assert np.mean((low < true) & (true < high)) > 0.9


def test_track_is_less_sure_of_the_capacity_after_a_winter():
    series, _ = outing_and_charge()
    before = track(series, PACK).final
    rest, _ = invented(np.zeros(600), 0.6)
    half_a_year_us = round(0.5 * 8766 * 3600e6)
    after = track(Series(before.t_us + half_a_year_us, 1.0, 600, rest.values), PACK, before).final
    # three per cent a year, as a random walk: 0.03 * sqrt(1/2) beside what was not known before
    grown = np.sqrt(after.capacity_sd_ah**2 - before.capacity_sd_ah**2) / before.capacity_ah
    assert grown == approx(0.03 * np.sqrt(0.5), rel=0.2)


@pytest.mark.parametrize("went_on", [True, False])
def test_track_bridges_a_gap_under_way_and_is_unsure_of_it(went_on):
    # half an hour without readings at a quarter of the capacity an hour: 12 % of charge
    amps = np.full(3 * 3600, 57.5)
    if not went_on:
        amps[3600:5400] = 0.0
    series, true = invented(amps.copy(), 0.9)
    for values in series.values.values():
        values[3600:5400] = np.nan
    start = known(PACK, 0.9, 0.01)
    charge = track(series, PACK, start)
    whole = track(invented(amps, 0.9)[0], PACK, start)
    low, high = charge.range_frac(0.8)
    assert low[6000] < true[6000] < high[6000]
    assert charge.sd_frac[5500] > 0.05 > whole.sd_frac[5500]
    assert abs(charge.final.capacity_ah - 230) < charge.final.capacity_sd_ah


def test_a_stretch_cut_in_two_is_no_second_witness_of_full():
    held = np.linspace(-40, -2, 3000)
    series, _ = invented(np.r_[held, np.zeros(1200)], 0.98)
    series.values["pack_voltage_v"][:3000] = 16 * 3.55
    whole = track(series, PACK).final
    cut = track(series.cut(0, 2700), PACK).final
    cut = track(series.cut(2700, series.n), PACK, cut).final
    assert cut.sd == approx(whole.sd, rel=0.02)
    assert cut.full_us == whole.full_us


@pytest.mark.parametrize("piece_s", [60, 300, 3600])
def test_taken_up_again_and_again_at_low_charge_it_is_as_in_one_go(piece_s):
    rng = np.random.default_rng(1)
    amps = np.repeat(rng.uniform(0, 120, 60), 120)
    series, _ = invented(amps, 0.42)
    start = known(PACK, 0.42, 0.02)
    whole = track(series, PACK, start).final
    state = start
    for at in range(0, series.n, piece_s):
        state = track(series.cut(at, at + piece_s), PACK, state).final
    assert state.v2_v == approx(whole.v2_v, rel=0.03)
    assert state.soc == approx(whole.soc, abs=0.004)
    assert state.sd == approx(whole.sd, rel=0.1)


@pytest.mark.parametrize("gap_s", [300, 2400])
def test_a_load_on_both_sides_of_a_silence_went_on_wherever_the_log_is_cut(gap_s):
    series, _ = invented(np.full(1200 + gap_s, 60.0), 0.7)
    for values in series.values.values():
        values[600 : 600 + gap_s] = np.nan
    series.values["pack_voltage_v"][:] = np.nan  # counting alone
    start = known(PACK, 0.7, 0.02)
    whole = track(series, PACK, start).final
    before = track(series.cut(0, 600), PACK, start).final
    cut = track(series.cut(600 + gap_s, series.n), PACK, before).final
    # by hand: 60 A all the time; of log-normal parts the mean of 1/C is exp(-mean + sd²/2), and
    # what else may have been in 40 minutes is 3 % likely
    parts = default_cell(PACK).capacity
    over_label = sum(weight * math.exp(sd**2 / 2 - mean) for weight, mean, sd in parts)
    used = 60 * (1200 + gap_s) / 3600 / PACK.rated_capacity_ah * over_label
    assert cut.soc == approx(0.7 - used, abs=0.01)
    assert cut.soc == approx(whole.soc, abs=0.01)
    assert cut.sd == approx(whole.sd, rel=0.25)
