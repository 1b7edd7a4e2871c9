"""The pack's current from the controller's, against the balance by hand."""

from dataclasses import replace

import numpy as np
import pytest

from analyzer.series import bridges
from analyzer.series.series import Series
from logger.boat import Hotel
from tests.support.motor_boat import motor_boat

BOAT = motor_boat(hotel=Hotel(power_w=100.0, measured_in_pack_current=True))


def log(known: int, ratio: float = 1.0, n: int = 1200) -> Series:
    """50 V at the pack, 60 A into the controller, 100 W beside it and 50 W of sun; the pack's
    current, (ratio·50·60 + 100 - 50) / 50, is read for the first `known` seconds.
    """
    current = np.full(n, (ratio * 3000 + 100 - 50) / 50)
    current[known:] = np.nan
    values = {
        "pack_voltage_v": np.full(n, 50.0),
        "controller_current_a": np.full(n, 60.0),
        "hotel_power_w": np.full(n, 100.0),
        "solar_power_w": np.full(n, 50.0),
        "pack_current_a": current,
    }
    return Series(0, 1.0, n, values)


@pytest.mark.parametrize("ratio", [0.72, 0.95, 1.0, 1.08, 1.38])
def test_a_silent_shunt_is_bridged_by_the_ratio_that_the_boat_has_shown(ratio: float):
    found = bridges.pack_current(log(600, ratio), BOAT)
    assert found.bridged.tolist() == [False] * 600 + [True] * 600
    assert found.series.get("pack_current_a") == pytest.approx((ratio * 3000 + 50) / 50)
    # by hand: 600 s at that current
    assert bridges.bridged_ah(found) == pytest.approx((ratio * 3000 + 50) / 50 / 6)


def test_a_ratio_not_learned_is_one_and_doubted_more():
    learned, not_learned = (bridges.pack_current(log(k), BOAT).share_sd for k in (600, 0))
    found = bridges.pack_current(log(0), BOAT).series.get("pack_current_a")
    assert found == pytest.approx(61.0)
    assert not_learned > 2 * learned


def test_a_hotel_load_only_assumed_is_doubted_more():
    bare = log(0)
    del bare.values["hotel_power_w"]
    given = bridges.pack_current(log(0), BOAT)
    assert bridges.pack_current(bare, BOAT).share_sd > given.share_sd


@pytest.mark.parametrize("ratio", [0.68, 1.42, 2.0])
def test_a_ratio_that_cannot_be_bridges_nothing(ratio: float):
    assert not bridges.pack_current(log(600, ratio), BOAT).bridged.any()


@pytest.mark.parametrize(("drive_w", "learns"), [(330.0, True), (270.0, False)])
def test_a_ratio_is_learned_from_five_times_what_idling_takes(drive_w: float, learns: bool):
    """Idling is a hundredth of the rated 6,000 W: below 300 W the hotel load rules the ratio."""
    series = log(600)
    series.values["controller_current_a"][:] = drive_w / 50
    series.values["pack_current_a"][:600] = (1.2 * drive_w + 50) / 50
    found = bridges.pack_current(series, BOAT).series.get("pack_current_a")[-1]
    assert found == pytest.approx(((1.2 if learns else 1.0) * drive_w + 50) / 50)


@pytest.mark.parametrize(("seconds", "learns"), [(124, True), (116, False)])
def test_a_ratio_is_learned_from_two_minutes(seconds: int, learns: bool):
    """Readings two seconds apart: what counts is time, not their number."""
    whole = log(seconds // 2, 1.08, n=300)
    found = bridges.pack_current(replace(whole, step_s=2.0), BOAT)
    want = 1.08 if learns else 1.0
    assert found.series.get("pack_current_a")[-1] == pytest.approx((want * 3000 + 50) / 50)


def test_what_is_read_stays_as_read():
    whole = log(1200)
    assert not bridges.lacks_current(whole)
    assert bridges.pack_current(whole, BOAT).series is whole


def test_doubt_of_what_was_filled_is_the_stated_one():
    """2 % at the least once learned, 6 % where not, and 30 % of a hotel load that is assumed: of
    3,050 W as filled (50 V x 61 A) a hundred watts' doubt is 30 / 3,050."""
    assert bridges.pack_current(log(600), BOAT).share_sd == pytest.approx(0.02)
    assert bridges.pack_current(log(0), BOAT).share_sd == pytest.approx(0.06)
    bare = log(0)
    del bare.values["hotel_power_w"]
    filled_w = 3000 + 100 - 50
    want = np.hypot(0.06, 0.3 * 100 / filled_w)
    assert bridges.pack_current(bare, BOAT).share_sd == pytest.approx(want)


def test_a_learned_ratio_s_doubt_is_half_of_what_two_in_three_lie_apart():
    """Of the ratios as numpy's percentiles have them: 16th to 84th, two deviations of a normal."""
    uneven = log(1000)
    uneven.values["pack_current_a"][:1000] *= np.random.default_rng(1).normal(1.0, 0.05, 1000)
    ratios = (uneven.values["pack_current_a"][:1000] * 50 - 50) / 3000
    low, high = np.percentile(ratios, [16, 84])
    assert bridges.pack_current(uneven, BOAT).share_sd == pytest.approx((high - low) / 2)


@pytest.mark.parametrize(("scale", "believed"), [(1.0, True), (4.0, True), (10.0, False)])
def test_a_controller_that_gives_more_than_its_motor_can_take_bridges_nothing(scale, believed):
    """3 kW into a motor of 6 kW; four times that is twice its rating, ten times five."""
    bare = log(0)
    bare.values["controller_current_a"] *= scale
    found = bridges.pack_current(bare, BOAT)
    assert found.bridged.all() == believed
    assert (bridges.beyond_rating_w(bare, BOAT) is None) == believed


@pytest.mark.parametrize("torque", [True, False])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_controller_whose_current_has_the_wrong_sign_bridges_nothing(sign: float, torque: bool):
    """3 kW at 10 turns a second: while a motor turns its shaft, power goes into it. Without a
    torque, half of a motor's rating is more than any propeller gives back."""
    bare = log(0)
    bare.values["controller_current_a"] *= sign
    bare.values["shaft_speed_rps"] = np.full(bare.n, 10.0)
    if torque:
        bare.values["motor_torque_nm"] = np.full(bare.n, 40.0)
    found = bridges.gives_back_w(bare, BOAT)
    assert bridges.pack_current(bare, BOAT).bridged.all() == (sign > 0)
    assert (found is None) == (sign > 0)
    assert found is None or found == pytest.approx(3000.0)


def test_a_propeller_that_gives_back_under_sail_is_no_wrong_sign():
    """200 W of a motor of 6 kW, its torque against its turns, or no torque read at all."""
    for torque in (None, -3.0):
        bare = log(0)
        bare.values["controller_current_a"] = np.full(bare.n, -4.0)
        bare.values["shaft_speed_rps"] = np.full(bare.n, 5.0)
        if torque is not None:
            bare.values["motor_torque_nm"] = np.full(bare.n, torque)
        assert bridges.gives_back_w(bare, BOAT) is None
        assert bridges.pack_current(bare, BOAT).bridged.all()
