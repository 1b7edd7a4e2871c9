"""A step of the throttle: the answer stays with the present power."""

import importlib
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from pytest import approx

from analyzer.estimation.results import BEYOND
from analyzer.faces import sentences
from analyzer.hull.hull import prior
from analyzer.range import inputs
from analyzer.series.log import OpenLog
from analyzer.series.series import Series
from logger.reading import EXACT, Block, Group
from logger.store import Store
from tests.support.hull_boat import boat
from tests.support.invented import RANGE

# The package's own name for it is the function.
range_left = importlib.import_module("analyzer.answers.range_left")

S = 120


def series(watts_before: float, watts_now: float, now_s: int) -> Series:
    """Two minutes at 50 V; the last `now_s` seconds at another power, the speed still the old."""
    watts = np.r_[np.full(S - now_s, watts_before), np.full(now_s, watts_now)]
    values = {"pack_voltage_v": np.full(S, 50.0), "pack_current_a": watts / 50.0}
    values |= {"speed_ground_mps": np.full(S, 2.0), "course_ground_deg": np.full(S, 90.0)}
    return Series(0, 1.0, S, values)


def test_throttle_w_is_the_power_since_the_step():
    hotel_w = 0.6 * 8.2**2  # thought of a boat of 8.2 m that tells none (`usual_hotel_w`)
    found = inputs.throttle_w(series(800.0, 3000.0, 20), boat())
    assert found == approx(3000.0 - hotel_w)
    assert inputs.throttle_w(series(3000.0, 0.0, 20), boat()) is None


@pytest.mark.parametrize("now_s", [20, 50])
def test_before_step_is_the_point_until_the_throttle_was_moved(now_s):
    point = inputs.before_step(series(800.0, 3000.0, now_s), boat())
    assert point is not None
    assert point.power_w == approx(800.0 - 0.6 * 8.2**2, rel=0.01)
    assert (point.speed_ground_mps, point.course_deg) == approx((2.0, 90.0))


def test_before_step_asks_for_the_present_course():
    turned = series(800.0, 3000.0, 20)
    turned.values["course_ground_deg"][-60:] = 180.0
    assert inputs.before_step(turned, boat()) is None


def test_moving_mps_is_the_speed_of_the_last_seconds():
    speeding = series(800.0, 3000.0, 20)
    speeding.values["speed_ground_mps"][-15:] = 2.6
    assert inputs.moving_mps(speeding) == approx(2.6)
    speeding.values["speed_ground_mps"][:] = np.nan
    assert inputs.moving_mps(speeding) is None


def test_a_shaft_that_drives_beside_a_current_that_charges_tells_no_power():
    turned = series(-3000.0, -3000.0, 20)
    turned.values["shaft_speed_rps"] = np.full(S, 12.0)
    assert inputs.throttle_w(turned, boat()) is None


def test_a_charge_that_no_voltage_ever_told_is_not_known(tmp_path):
    names = ("pack_current_a", "latitude_deg", "longitude_deg")
    with Store.open(tmp_path / "log.sqlite", write=True) as store:
        writer = store.writer("boot")
        t_us = np.arange(600, dtype=np.int64) * 1_000_000
        rows = np.tile([20.0, 50.0, 0.0], (600, 1))
        writer.add(Block(Group("a", names, (EXACT,) * 3), t_us, rows))
        writer.close()
        answer = range_left.range_left(OpenLog(store, boat()))
    assert answer.charge.mid is None
    assert "the pack's voltage is not in the log" in sentences.how_far(answer)


def test_speed_at_w_asks_for_that_power():
    curve = prior(boat())
    for watts in (300.0, 1000.0, 3000.0):
        speed = inputs.speed_at_w(curve, watts)
        mean_log = np.interp(speed, curve.speed_mps, curve.log_power)
        assert np.exp(mean_log) == approx(watts, rel=0.02)


@pytest.mark.parametrize(
    ("present", "throttle_w", "asked_mps", "about"),
    [
        ("steady", 3000.0, None, "present"),
        (None, 3000.0, None, "power"),  # settling, or no GPS
        (None, None, None, "furthest"),  # motor off
        (None, 3000.0, 2.0, "asked"),
        ("steady", 3000.0, 2.0, "asked"),
    ],
)
def test_an_answer_says_which_speed_it_is_about(present, throttle_w, asked_mps, about):
    here = SimpleNamespace(present=present, throttle_w=throttle_w, curve=prior(boat()))
    own_mps = range_left._own_speed(here) if asked_mps is None else None
    assert range_left._about(here, asked_mps, own_mps) == about
    assert (own_mps is not None) == (about == "power")


@pytest.mark.parametrize(
    ("about", "first"),
    [
        ("present", "At 3.9 kn through the water you can go"),
        ("power", "At the present power, which gives about 3.9 kn"),
        ("furthest", "At 3.9 kn through the water, where the pack goes furthest"),
    ],
)
def test_the_first_clause_says_so(about, first):
    answer = replace(RANGE, about=about, speed_water_mps=2.0, condition="", data_age_s=0.0)
    assert sentences.how_far(answer).startswith(first)


@pytest.mark.parametrize(("share", "said"), [(0.3, True), (0.02, False)])
def test_a_range_whose_upper_end_is_no_end_says_or_more(share, said):
    # above the range lies a tenth of what is possible: more beyond three days, and its end is none
    shares = {"reserve": 1 - share, BEYOND: share}
    answer = replace(RANGE, limit_shares=shares)
    assert (" or more, eight times in ten" in sentences.how_far(answer)) is said
    assert ("or more." in sentences.ends_short(answer)) is said


def test_what_nothing_ends_is_said_to_be_followed_for_three_days():
    answer = replace(RANGE, limit=BEYOND, limit_shares={BEYOND: 1.0})
    assert "nothing within three days, beyond which is not looked" in sentences.ends(answer)
