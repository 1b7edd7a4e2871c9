"""The next action, sentence by sentence, and on both sides of each threshold.

The thresholds are assumptions, told in `advice.py` beside their names; what is expected here is
worked by hand from them: 15 % farther, 20 minutes, 0.55 of the present speed, 20 W, 5 % of charge.
"""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from analyzer.estimation.estimate import Estimate
from analyzer.pack.soc import known
from analyzer.range import advice
from analyzer.range.advice import Situation, next_action, next_in
from analyzer.range.home import HomeAt, HomeReach
from logger.boat import Pack
from logger.units import KN, NMI

STEADY = Situation(True, "motoring steadily", 1000.0, soc_frac=0.8, reserve_frac=0.2)
OFF = replace(STEADY, steady=False, doing="motor off", power_w=0.0)


def told(distances_nmi, speeds_kn=(2.0, 3.0, 4.0)):
    """A result whose median distances are these."""
    metres = np.array(distances_nmi) * NMI
    return SimpleNamespace(
        distance_m=metres[None],
        speeds_mps=np.array(speeds_kn) * KN,
        ground_speed_mps=lambda k: 2.0,
        distance=lambda k: Estimate(metres[k], metres[k], metres[k], "m"),
    )


def home(turn_m, *, can=0.95, homeward=False):
    """A way home that can be put off for `turn_m` metres."""
    charge = Estimate(0.3, 0.2, 0.4, "frac")
    turn = Estimate(turn_m + 500.0, turn_m, turn_m + 900.0, "m")
    takes, gain = Estimate(7e3, 6e3, 8e3, "s"), Estimate(0.0, -0.1, 0.1, "m/s")
    at = HomeAt(2.5 * KN, can, charge, turn, takes, gain, None)
    return HomeReach(9_000.0, 90.0, 0.9, at, at, "as now", homeward)


def test_who_must_turn_is_told_at_what_speed_and_how_sure():
    assert next_action(told([9, 9, 9]), 2, home(0.0, can=0.42)) == (
        "turn for home now at 2.5 kn through water: 42 % sure of arriving above the reserve"
    )


def test_who_is_on_the_way_home_in_doubt_is_told_to_slow():
    assert next_action(told([9, 9, 9]), 2, home(0.0, can=0.42, homeward=True)) == (
        "slow to 2.5 kn through water, with a sail or another harbour ready: 42 % sure of being "
        "home above the reserve"
    )
    sure = home(0.0, can=0.9, homeward=True)
    assert next_action(told([9, 9, 9]), 2, sure).startswith("go on at this speed")
    assert next_in(replace(STEADY, steady=False), told([9, 9, 9]), 2, home(0.0)).startswith("turn")


@pytest.mark.parametrize(("minutes", "soon"), [(19.5, True), (20.5, False)])
def test_a_turn_within_twenty_minutes_comes_first(minutes, soon):
    # 2 m/s over ground: 19.5 min are 2,340 m, 1.3 nmi; 20.5 min 2,460 m
    action = next_action(told([30, 20, 9]), 2, home(120.0 * minutes))
    if soon:
        assert action == "turn for home within 1.3 nmi, back at 2.5 kn through water"
    else:
        assert action.startswith("slow to 3.0 kn through water: 20 nmi instead of 9.0")


@pytest.mark.parametrize(("farther", "worth"), [(1.14, False), (1.16, True)])
def test_slower_is_told_where_it_goes_fifteen_per_cent_farther(farther, worth):
    action = next_action(told([4, 8 * farther, 8]), 2)
    assert action.startswith("slow to 3.0 kn") == worth
    assert action == "go on at this speed: slowing down gains little" or worth


@pytest.mark.parametrize(("slow_kn", "told_so"), [(2.16, False), (2.24, True)])
def test_nobody_slows_below_0_55_of_the_present_speed(slow_kn, told_so):
    # 0.55 x 4 kn = 2.2 kn
    action = next_action(told([30, 9], (slow_kn, 4.0)), 1)
    assert action.startswith("slow to") == told_so


def test_who_goes_on_is_told_where_to_turn():
    assert next_action(told([8, 8, 8]), 2, home(12_000.0)) == "go on: turn for home within 6.5 nmi"
    assert next_action(told([8, 8, 8]), 2, home(20_000.0)) == "go on: turn for home within 11 nmi"
    assert advice._nmi(9.96 * NMI) == "10.0"
    assert advice._nmi(10.4 * NMI) == "10"


@pytest.mark.parametrize(("power_w", "charging"), [(-21.0, True), (-19.0, False), (None, False)])
def test_twenty_watts_into_the_pack_are_a_charger(power_w, charging):
    action = next_in(replace(OFF, power_w=power_w), told([8, 8, 8]), 2)
    assert (action == "leave the charger on") == charging


def test_low_on_the_charger_and_exactly_at_the_reserve():
    low = replace(OFF, power_w=-500.0, soc_frac=0.2)
    assert next_in(low, told([8, 8, 8]), 2) == "leave the charger on: the pack is below its reserve"
    assert next_in(replace(STEADY, soc_frac=0.2), told([8, 8, 8]), 2) == advice.HEAD_IN
    assert next_in(replace(STEADY, soc_frac=0.201), told([8, 8, 8]), 2).startswith("go on")


@pytest.mark.parametrize(("sd", "said"), [(0.049, False), (0.051, True)])
def test_a_silence_is_told_from_five_per_cent_of_charge(sd, said):
    pack = Pack(chemistry="lfp", cells_in_series=16, rated_capacity_ah=200)
    charge = replace(known(pack, 0.5, sd), gap_s=1_000.0, sd=sd)
    text = advice.after_silence(charge)
    assert bool(text) == said
    assert "for 1 h" in text or not said


@pytest.mark.parametrize(("days", "words"), [(1.9, "46 hours ago"), (2.1, "2 days ago")])
def test_since_when_it_was_full_is_told_in_hours_for_two_days(days, words):
    pack = Pack(chemistry="lfp", cells_in_series=16, rated_capacity_ah=200)
    charge = known(pack, 0.5, 0.15, t_us=1_790_000_000_000_000)
    full = replace(charge, full_us=charge.t_us - round(days * 86_400e6))
    assert words in advice._learn_charge(full)


def spread_of(share: float, wide: float):
    """Distances of which a cause has `share` of the variance; standard deviation over median."""
    cause, other = np.random.default_rng(5).standard_normal((2, 200_000))
    draws = np.sqrt(share) * cause + np.sqrt(1 - share) * other
    return SimpleNamespace(distance_m=1_000 * (1 + wide * draws)[:, None]), cause


@pytest.mark.parametrize(
    ("share", "wide", "rests"),
    [(0.52, 0.2, True), (0.48, 0.2, False), (0.9, 0.104, True), (0.9, 0.096, False)],
)
def test_a_range_rests_on_what_has_half_its_variance(share, wide, rests):
    result, cause = spread_of(share, wide)
    assert advice.rests_on(result, 0, cause) == rests
    assert not advice.rests_on(result, 0, -cause)


def test_what_a_meter_of_a_flow_would_buy_is_the_variance_it_explains():
    # a normal distribution with 36 % of its variance told is sqrt(0.64) = 0.8 as wide
    result, cause = spread_of(0.36, 0.2)
    one = np.ones((len(cause), 1))
    result.motor_w, result.total_w = 500.0 * one, 500.0 * one + cause[:, None]
    one_flow, both = ("the hotel load",), ("the hotel load", "the panels' power")
    assert "narrow this range by some 20 %" in advice.unmeasured(result, 0, one_flow)
    assert advice.unmeasured(result, 0, both).startswith("the hotel load and the panels' power are")
    result.total_w = 600.0 * one
    told = "a meter of the hotel load would tell what it is"
    assert advice.unmeasured(result, 0, one_flow) == told
