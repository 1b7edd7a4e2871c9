"""The load beside the motor: measured, told, thought, or learned with the motor off."""

from dataclasses import replace

import numpy as np
import pytest

from analyzer.pack.soc import known
from analyzer.range import inputs
from analyzer.range.hotel import AtRest, at_rest, thought_w
from analyzer.range.monte_carlo import Now
from analyzer.range.reach import reach
from analyzer.series.series import Series
from logger.boat import Boat
from tests.support.hull_boat import boat
from tests.support.range_inputs import cubic_curve, range_input

VOLTS = 52.0


def of(**tables) -> Boat:
    """The boat with other tables."""
    return Boat.model_validate({**boat().model_dump(), **tables})


def sailing(load_w: float, seconds: int = 900, **changes) -> Series:
    """Under sail with the motor off: the pack gives the load alone."""
    one = np.ones(seconds)
    values = {
        "pack_voltage_v": VOLTS * one,
        "pack_current_a": load_w / VOLTS * one,
        "speed_ground_mps": 2.0 * one,
        "shaft_speed_rps": 0.0 * one,
    }
    return Series(0, 1.0, seconds, values | {k: v * one for k, v in changes.items()})


def test_under_sail_the_shunt_measures_the_load():
    found = at_rest(sailing(65.0), of())
    assert found.mean_w == pytest.approx(65.0)
    assert found.seconds == 900.0
    # a shunt off by 0.3 A (common practice) at 52 V, and a load that changes by 30 % (assumed)
    assert found.sd_w == pytest.approx(np.hypot(0.3 * VOLTS, 0.3 * 65.0))


def test_what_the_shunt_reads_too_much_is_taken_off():
    charge = replace(known(of().pack, 0.6, 0.02), offset_a=0.5, offset_sd_a=0.1)
    found = at_rest(sailing(65.0), of(), charge)
    assert found.mean_w == pytest.approx(65.0 - 0.5 * VOLTS)
    assert found.sd_w == pytest.approx(np.hypot(0.1 * VOLTS, 0.3 * found.mean_w))


@pytest.mark.parametrize(
    ("changes", "tables"),
    [
        ({"speed_ground_mps": 0.1}, {}),  # alongside: a charger may feed it
        ({"shaft_speed_rps": 9.0}, {}),  # the propeller turns
        ({"hotel_power_w": 60.0}, {}),  # it is measured
        ({}, {"solar": {"peak_w": 200.0}}),  # panels that nobody measures feed it
        ({}, {"hotel": {"measured_in_pack_current": False}}),
    ],
)
def test_where_it_cannot_be_told_nothing_is_learned(changes, tables):
    assert at_rest(sailing(65.0, **changes), of(**tables)) is None


def test_measured_sun_is_added_and_a_few_minutes_are_too_few():
    found = at_rest(sailing(65.0, solar_power_w=30.0), of(solar={"peak_w": 200.0}))
    assert found.mean_w == pytest.approx(95.0)
    assert at_rest(sailing(65.0, seconds=299), of()) is None


def test_thought_and_learned_are_weighed_by_their_precision():
    # by hand: 40 +- 12 W told (30 %), 70 +- 16 W learned: 40 + 144 / (144 + 256) x 30 = 50.8
    told = of(hotel={"power_w": 40.0})
    mean_w, sd_w = thought_w(told, AtRest(70.0, 16.0, 900.0))
    assert mean_w == pytest.approx(50.8)
    assert sd_w == pytest.approx(12.0 * 16.0 / 20.0)
    assert thought_w(told, None) == pytest.approx((40.0, 12.0))
    # a file that says none is put right by the shunt
    assert thought_w(of(hotel={"power_w": 0.0}), AtRest(70.0, 16.0, 900.0)) == (70.0, 16.0)


def test_a_measured_load_is_that_whatever_is_thought():
    series = sailing(65.0, hotel_power_w=55.0)
    assert inputs.hotel_w(series, of(), AtRest(200.0, 1.0, 900.0))[0] == pytest.approx(55.0)


def test_what_is_learned_survives_json():
    found = at_rest(sailing(65.0), of())
    assert AtRest.from_dict(found.to_dict()) == found


def test_the_pack_still_gives_what_it_gives_whatever_is_thought_of_the_load():
    # 900 W from the pack, of which 40 W were taken off as thought: 860 W for the motor; were the
    # load 100 W the motor took 800 W, and the pack gives 900 W either way
    now = Now(2.0, 0.0, 860.0, less_hotel=True, taken_w=40.0)
    given = range_input(400, now=now, as_now=6, hotel_w=(100.0, 20.0), curve=cubic_curve(0.1))
    result = reach(given)
    assert np.median(result.total_w[:, 6]) == pytest.approx(900.0, rel=0.01)
    assert np.median(result.motor_w[:, 6]) == pytest.approx(800.0, rel=0.01)
