"""The place on the axis of charge moved, by invented steps."""

import numpy as np
import pytest
from pytest import approx

from analyzer.cells.levels import LEVEL_C, Levels
from logger.boat import Pack

PACK = Pack(chemistry="lfp", cells_in_series=4, rated_capacity_ah=100)
TOP_V, TAIL_A = 3.45, -2.0  # held at the top, with a twentieth of the capacity or less


def move(levels, median_v, amps, minutes):
    """Steps of ten seconds; whether any of them was the first after a full charge."""
    return sum(levels.move(median_v, amps, 10.0) for _ in range(round(6 * minutes))) > 0


def place(levels):
    levels.clear()
    for _ in range(6):
        levels.add(3.3, np.zeros(4), 10.0, 10.0)
    return float(levels.table().place[0])


def test_each_full_charge_ends_at_the_place_of_the_first():
    levels = Levels(PACK, 4)
    move(levels, 3.3, 40.0, 30)  # 20 Ah
    assert place(levels) == approx(0.20, abs=LEVEL_C)
    move(levels, 3.4, -40.0, 30)
    assert not move(levels, TOP_V, TAIL_A, 1.0)
    first = place(levels)
    # a second outing whose charge is counted 5 Ah too high
    assert move(levels, 3.3, 40.0, 30)
    move(levels, 3.4, -40.0, 37.5)
    move(levels, TOP_V, TAIL_A, 1.5)
    assert place(levels) == approx(first, abs=LEVEL_C)
    levels.add(3.3, np.zeros(4), 10.0, 10.0)
    assert levels.table().full_place == approx(first, abs=LEVEL_C)


@pytest.mark.parametrize(
    ("volts", "amps", "minutes"), [(3.3, TAIL_A, 5), (TOP_V, -20.0, 5), (TOP_V, TAIL_A, 0.5)]
)
def test_what_is_not_a_full_charge(volts, amps, minutes):
    """Not at the top; still taking much; not for a minute."""
    levels = Levels(PACK, 4)
    move(levels, 3.3, 40.0, 30)
    move(levels, volts, amps, minutes)
    assert not move(levels, 3.3, 40.0, 10)
    place(levels)
    assert levels.table().full_place is None


def test_a_top_that_little_was_charged_to_levels_nothing():
    levels = Levels(PACK, 4)
    move(levels, 3.3, 10.0, 6)  # 1 Ah of 100: less than two in a hundred
    move(levels, TOP_V, TAIL_A, 2)
    assert not move(levels, 3.3, 40.0, 10)


def test_a_lost_place_is_of_no_full_charge():
    levels = Levels(PACK, 4)
    move(levels, 3.3, 40.0, 30)
    move(levels, TOP_V, TAIL_A, 2)
    levels.lose_place()
    assert not move(levels, 3.3, 40.0, 10)
    place(levels)
    assert levels.table().full_place is None


def test_ways_are_giving_taking_and_neither():
    levels = Levels(PACK, 4)
    for amps in (10.0, 1.0, -1.0, -10.0):
        for _ in range(6):
            levels.add(3.3, np.full(4, amps), amps, 10.0)
    table = levels.table()
    assert dict(zip(table.way.tolist(), table.distance_v[:, 0], strict=True)) == approx(
        {1: 10.0, 0: 0.0, -1: -10.0}
    )


def test_lossy_cells_are_not_judged_while_they_take():
    levels = Levels(PACK.model_copy(update={"chemistry": "lead_acid"}), 4)
    for amps in (10.0, -10.0):
        for _ in range(6):
            levels.add(2.0, np.zeros(4), amps, 10.0)
    assert levels.table().way.tolist() == [1]


def test_a_level_seen_shortly_under_load_is_left_out():
    levels = Levels(PACK, 4)
    for _ in range(2):
        levels.add(3.3, np.zeros(4), 10.0, 10.0)
    assert levels.table() is None
    levels.add(3.3, np.zeros(4), 10.0, 10.0)
    assert levels.table() is not None
