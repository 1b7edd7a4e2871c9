"""The present operating point, from whatever channels a boat has."""

from dataclasses import replace

import numpy as np
import pytest

from analyzer.environment.stream import given as given_stream
from analyzer.environment.stream import unknown
from analyzer.hull.hull import prior
from analyzer.range import inputs
from analyzer.range.monte_carlo import Now
from analyzer.series.series import Series
from tests.support.hull_boat import boat
from tests.support.range_inputs import cubic_curve, range_input

SECONDS = 300


def log(seconds=SECONDS, *, before=None, **values) -> Series:
    """A steady 1,040 W at 2 m/s northward; `before`: the pack's current until a minute ago."""
    n = seconds
    given = {
        "pack_voltage_v": 52.0,
        "pack_current_a": 20.0,
        "hotel_power_w": 40.0,
        "speed_ground_mps": 2.0,
        "course_ground_deg": 0.0,
    } | values
    made = {k: np.full(n, v, dtype=float) for k, v in given.items() if v is not None}
    if before is not None:
        made["pack_current_a"][:-60] = before
    return Series(0, 1.0, n, made)


def test_pack_and_receiver_alone_are_enough():
    # by hand: 52 V x 20 A less 40 W of hotel
    found = inputs.now(log(), boat())
    assert found.power_w == pytest.approx(1000.0)
    assert found.speed_ground_mps == pytest.approx(2.0)
    assert inputs.doing(log(), boat()) == "motoring steadily"


def test_one_minute_of_log_is_enough_and_less_sure():
    short, long = inputs.now(log(60), boat()), inputs.now(log(), boat())
    # a third of the time: root of three times the error
    assert short.log_sd == pytest.approx(np.sqrt(3) * long.log_sd)
    assert inputs.now(log(40), boat()) is None
    assert inputs.doing(log(40), boat()) == "motoring, not steadily yet"


def test_a_minute_at_a_new_setting_counts_once_it_has_gathered_way():
    assert inputs.now(log(before=60.0), boat()).power_w == pytest.approx(1000.0)
    still_slowing = log(before=60.0)
    still_slowing.values["speed_ground_mps"] = np.linspace(4.0, 2.0, SECONDS)
    assert inputs.now(still_slowing, boat()) is None


def test_the_controller_stands_in_for_a_pack_that_is_not_measured():
    series = log(
        pack_current_a=None,
        controller_voltage_v=51.0,
        controller_current_a=20.0,
        shaft_speed_rps=12.0,
    )
    assert inputs.now(series, boat()).power_w == pytest.approx(51.0 * 20.0)


def test_power_under_a_shaft_that_stands_still_is_not_the_motor_s():
    assert inputs.now(log(shaft_speed_rps=0.0), boat()) is None
    assert inputs.doing(log(shaft_speed_rps=0.0), boat()) == "motor off, under way"
    dead_sensor = log(shaft_speed_rps=0.0, controller_voltage_v=51.0, controller_current_a=20.0)
    assert inputs.now(dead_sensor, boat()) is not None


def test_what_is_missing_is_said():
    assert inputs.doing(log(speed_ground_mps=None), boat()) == (
        "motoring, with no speed and course over ground to go by"
    )
    assert inputs.doing(log(pack_current_a=None), boat()) == "the motor's power is not measured"
    assert inputs.doing(log(pack_current_a=1.0), boat()) == "motor off, under way"


def test_as_many_draws_as_are_asked_for_whatever_the_seed():
    known = inputs.RangeInputs(boat(), None, prior(boat()), unknown(""))
    asked = [known.question(n=7, seed=seed).charge["capacity_ah"] for seed in (3, 3, 4)]
    assert [len(draws) for draws in asked] == [7, 7, 7]
    assert np.array_equal(asked[0], asked[1])
    assert not np.array_equal(asked[0], asked[2])


def through_water(power_w, stream_sd_mps, spread, stream_north_mps=0.0):
    """Present speed through water at 2 m/s northward over ground, by `inputs`."""
    present = Now(2.0, 0.0, power_w, 1e-4)
    stream = given_stream(0.0, 0.0, sd_mps=stream_sd_mps)
    stream = replace(stream, parts_mean=np.array([0, 0, 0, 0, stream_north_mps, 0, 0, 0.0]))
    given = range_input(20_000, curve=cubic_curve(spread), now=present, stream=stream)
    return inputs.present_water_mps(given, present)


def test_where_no_stream_is_known_the_power_tells_the_speed_through_water():
    # by hand: on 100 W s³/m³ x v³, 1,600 W are drawn at the cube root of 16
    assert through_water(1600.0, 0.6, 1e-3) == pytest.approx(16 ** (1 / 3), abs=0.01)


def test_where_the_stream_is_known_the_ground_speed_less_the_stream_tells_it():
    # by hand: 2 m/s over ground with 0.3 m/s of stream, whatever the power
    assert through_water(1600.0, 1e-4, 0.3, 0.3) == pytest.approx(1.7, abs=0.01)


def test_two_witnesses_of_the_speed_through_water_count_by_their_precision():
    # textbook: two normal witnesses have the mean weighted by 1 / sd²; a curve of the third power
    # known to 6 % in power is one known to 2 % in speed
    by_ground, ground_sd = 2.0, 0.04
    by_power = 2.1
    power_sd = by_power * 0.06 / 3
    weights = np.array([ground_sd**-2, power_sd**-2])
    want = float(weights @ [by_ground, by_power] / weights.sum())
    found = through_water(100 * by_power**3, ground_sd, 0.06)
    assert found == pytest.approx(want, abs=0.004)


@pytest.mark.parametrize(("was_deg", "told"), [(344.0, True), (16.0, True), (330.0, False),
                                               (30.0, False), (180.0, False)])  # fmt: skip
def test_the_point_before_a_step_counts_on_the_present_course(was_deg, told):
    """A minute ago the throttle went from 10 A to 20 A, 480 W to 1,000; the course is north now.
    Some 20 degrees to either side are one course, across north too."""
    stepped = log(before=10.0)
    stepped.values["course_ground_deg"][:-60] = was_deg
    point = inputs.before_step(stepped, boat())
    assert (point is not None) == told
    if told:
        assert point.power_w == pytest.approx(480.0)
        assert point.course_deg == pytest.approx(was_deg)
