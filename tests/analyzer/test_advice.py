"""What would make the answer surer is said where it is the capacity that is not known."""

from types import SimpleNamespace

import numpy as np
import pytest

from analyzer.advice import LEARN_CAPACITY, by_capacity, next_action


def result(distance_m):
    """Draws at one speed, nothing else that matters."""
    return SimpleNamespace(distance_m=np.asarray(distance_m)[:, None], speeds_mps=np.array([2.0]))


@pytest.fixture
def capacity_ah():
    return 200 * np.exp(0.06 * np.random.default_rng(1).standard_normal(2000))


def test_by_capacity_where_the_distance_goes_with_it(capacity_ah):
    # charge counted from full: between 50 % and 20 % left, 1 % of capacity is 2.7 % of distance
    distance = 20_000 * (1 + 2.7 * (capacity_ah / 200 - 1))
    assert by_capacity(result(distance), 0, capacity_ah)
    assert LEARN_CAPACITY in next_action(result(distance), 0, None, capacity_ah)


def test_not_by_capacity_where_something_else_is_wide(capacity_ah):
    rng = np.random.default_rng(2)
    stream = 20_000 * (1 + 0.3 * rng.standard_normal(len(capacity_ah)) + capacity_ah / 200 - 1)
    assert not by_capacity(result(stream), 0, capacity_ah)
    assert LEARN_CAPACITY not in next_action(result(stream), 0, None, capacity_ah)


def test_not_by_capacity_where_the_range_is_narrow(capacity_ah):
    assert not by_capacity(result(20_000 * (capacity_ah / 200)), 0, capacity_ah)


def test_who_must_turn_is_told_nothing_else(capacity_ah):
    distance = 20_000 * (1 + 2.7 * (capacity_ah / 200 - 1))
    home = SimpleNamespace(
        turn_in=SimpleNamespace(low=0.0), back_speed_mps=2.0, can_return_frac=0.9
    )
    assert next_action(result(distance), 0, home, capacity_ah).startswith("turn for home now")
    assert LEARN_CAPACITY not in next_action(result(distance), 0, home, capacity_ah)
