"""The propeller's usual load."""

import numpy as np

from analyzer.series.operating import shaft_rps, unaided
from analyzer.series.series import Series
from logger.boat import Boat
from tests.analyzer.hull.test_hull import boat


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
