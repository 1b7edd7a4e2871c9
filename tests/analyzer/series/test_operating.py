"""The propeller's usual load."""

import numpy as np
import pytest

from analyzer.series.operating import (
    at_rest,
    motoring,
    propulsion_power_w,
    settled,
    shaft_rps,
    unaided,
    usual_hotel_w,
)
from analyzer.series.series import Series
from logger.boat import Boat
from tests.support.hull_boat import boat


def test_unaided_leaves_out_what_sails_or_weed_load_differently():
    # by hand: 0.3 W per (turn per second) cubed is usual; half of it and twice it are not
    shaft = np.array([10.0, 12.0, 15.0, 12.0, 12.0, np.nan])
    load = np.array([0.30, 0.30, 0.31, 0.15, 0.60, 0.30])
    power = load * np.nan_to_num(shaft, nan=12.0) ** 3
    found = unaided(power, shaft, np.ones(6, dtype=bool))
    assert found.tolist() == [True, True, True, False, False, True]


def test_unaided_leaves_out_a_propeller_that_gives_power():
    shaft = np.array([12.0, 12.0, 6.0])
    found = unaided(np.array([500.0, 510.0, -80.0]), shaft, np.ones(3, dtype=bool))
    assert found.tolist() == [True, True, False]


def test_unaided_keeps_all_where_power_is_not_measured():
    assert unaided(np.full(3, np.nan), np.full(3, 12.0), np.ones(3, dtype=bool)).all()


def test_the_motor_s_speed_over_the_gear_stands_in_for_the_shaft_s():
    given = boat().model_dump()
    geared = Boat.model_validate(given | {"motor": {"rated_power_w": 8000.0, "gear_ratio": 2.5}})
    motor = {"motor_speed_rps": np.array([25.0, 25.0])}
    assert shaft_rps(Series(0, 1.0, 2, motor), geared).tolist() == [10.0, 10.0]
    both = motor | {"shaft_speed_rps": np.array([9.0, np.nan])}
    assert shaft_rps(Series(0, 1.0, 2, both), geared).tolist() == [9.0, 10.0]


def drive(pack_a: float, **given: float) -> Series:
    """One reading of a 50 V pack of a boat with an 8 kW motor: it motors from 80 W on."""
    values = {"pack_voltage_v": 50.0, "pack_current_a": pack_a} | given
    return Series(0, 1.0, 1, {name: np.array([value]) for name, value in values.items()})


@pytest.mark.parametrize(
    ("log", "drives"),
    [
        (drive(60.0), True),
        (drive(1.0), False),
        (drive(30.0, controller_current_a=0.0), False),  # a kettle
        (drive(30.0, shaft_speed_rps=0.0), False),  # a kettle
        (drive(30.0, shaft_speed_rps=0.0, controller_current_a=29.0), True),  # a dead shaft sensor
        (drive(30.0, shaft_speed_rps=12.0, controller_current_a=0.0), True),  # a dead controller
        (drive(np.nan, controller_current_a=29.0), True),  # a dead shunt
        (drive(1.0, shaft_speed_rps=5.0, controller_current_a=-4.0), False),  # turned by sails
        (drive(np.nan, shaft_speed_rps=12.0), False),  # not known
    ],
)
def test_motoring_is_what_two_of_three_meters_say(log: Series, drives: bool):
    assert motoring(log, boat()).tolist() == [drives]


def test_the_packs_meter_gives_the_power_and_the_controllers_stands_in():
    # by hand: 50 V x 18 A = 900 W from the pack, of which 0.6 W/m2 x (8.2 m)^2 = 40.3 W are thought
    # to go to the hotel load; 50 V x 14.94 A = 747 W where the pack is not measured
    given = {"controller_voltage_v": 50.0, "controller_current_a": 14.94}
    assert propulsion_power_w(drive(18.0, **given), boat()) == pytest.approx([859.7], abs=0.1)
    assert propulsion_power_w(drive(np.nan, **given), boat()) == pytest.approx([747.0])


def hotel_of(hotel: dict, length_m: float = 8.2) -> tuple[float, float]:
    """The load that is thought of a boat whose file says this of it."""
    return usual_hotel_w(
        Boat.model_validate(boat(waterline_m=length_m).model_dump() | {"hotel": hotel})
    )


def test_a_load_that_the_file_tells_is_that_and_none_where_it_says_none():
    assert hotel_of({"power_w": 80.0}) == pytest.approx((80.0, 24.0))
    assert hotel_of({"power_w": 0.0}) == (0.0, 0.0)
    assert hotel_of({"measured_in_pack_current": False}) == (0.0, 0.0)


def test_a_load_that_no_file_tells_is_that_of_boats_of_its_length():
    # published by cruisers of a yacht of 11.6 m: 63 W at anchor to 100 W under way (1.5 and 2.4 kWh
    # a day); on small boats, where a GPS, a log and a radio are all, 6 to 10 W (common practice)
    mean_w, sd_w = hotel_of({}, 11.6)
    assert mean_w - sd_w < 63.0
    assert mean_w + sd_w > 100.0
    small_w, small_sd_w = hotel_of({}, 5.0)
    assert small_w - small_sd_w < 6.0
    assert small_w + small_sd_w > 10.0


def test_settled_holds_power_speed_and_heading_still():
    # a change by a ninth and a scatter of 10 % are still; by a fifth, 15 % and 0.15 m/s are not
    alike, half = np.full(60, 1000.0), np.repeat([1.0, 1.111], 30)
    wave = np.tile([-1.0, 1.0], 30)
    powers = [alike, 900 * half, 900 * np.repeat([1.0, 1.22], 30), 1000 + 100 * wave]
    powers += [1000 + 150 * wave, alike, alike]
    speeds = [np.full(60, 2.0)] * 5 + [np.repeat([2.0, 2.15], 30), np.full(60, 2.0)]
    aims = [np.zeros(60)] * 6 + [np.linspace(0.0, 1.0, 60)]
    found = settled(np.stack(powers), np.stack(speeds), np.sin(aims), np.cos(aims))
    assert found.tolist() == [True, True, False, True, False, False, False]


def test_at_rest_is_below_a_hundredth_of_the_label():
    pack = boat().pack
    most = 0.01 * pack.rated_capacity_ah
    amps = {"pack_current_a": np.array([0.0, 0.99 * most, -0.99 * most, 1.01 * most, np.nan])}
    found = at_rest(Series(0, 1.0, 5, amps), pack)
    assert found.tolist() == [True, True, True, False, False]
