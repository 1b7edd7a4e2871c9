"""What would make the answer surer is said where it is the capacity that is not known."""

import warnings
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from analyzer.pack.soc import known
from analyzer.range import advice
from analyzer.range.advice import Situation, next_in, rests_on
from analyzer.range.reach import reach
from logger.boat import Pack
from tests.support.range_inputs import question


def result(distance_m):
    """Draws at one speed, nothing else that matters."""
    return SimpleNamespace(distance_m=np.asarray(distance_m)[:, None], speeds_mps=np.array([2.0]))


@pytest.fixture
def capacity_ah():
    return 200 * np.exp(0.06 * np.random.default_rng(1).standard_normal(2000))


def test_by_capacity_where_the_distance_goes_with_it(capacity_ah):
    # charge counted from full: between 50 % and 20 % left, 1 % of capacity is 2.7 % of distance
    distance = 20_000 * (1 + 2.7 * (capacity_ah / 200 - 1))
    assert rests_on(result(distance), 0, capacity_ah)


def test_not_by_capacity_where_something_else_is_wide(capacity_ah):
    rng = np.random.default_rng(2)
    stream = 20_000 * (1 + 0.3 * rng.standard_normal(len(capacity_ah)) + capacity_ah / 200 - 1)
    assert not rests_on(result(stream), 0, capacity_ah)


def test_not_by_capacity_where_the_range_is_narrow(capacity_ah):
    assert not rests_on(result(20_000 * (capacity_ah / 200)), 0, capacity_ah)


def test_a_silence_is_named_while_it_leaves_the_charge_open():
    pack = Pack(chemistry="lfp", cells_in_series=16, rated_capacity_ah=200)
    open_charge = replace(known(pack, 0.5, 0.1), gap_s=36_000.0)
    assert "nothing was recorded for 10 h" in advice.after_silence(open_charge)
    assert advice.after_silence(replace(open_charge, sd=0.02)) == ""
    assert advice.after_silence(replace(open_charge, gap_s=0.0)) == ""


def test_a_charge_long_uncertain_is_what_a_full_charge_would_tell(capacity_ah):
    soc = 0.5 + 0.15 * np.random.default_rng(3).standard_normal(len(capacity_ah))
    draws = {"soc": soc, "capacity_ah": capacity_ah}
    far = result(50_000 * np.maximum(soc - 0.2, 0.0))
    pack = Pack(chemistry="lfp", cells_in_series=16, rated_capacity_ah=200)
    charge = known(pack, 0.5, 0.15, t_us=1_790_000_000_000_000)
    assert "the log has not seen it full" in advice.calibration_hint(charge, far, 0, draws)
    before = replace(charge, full_us=charge.t_us - 9 * 86_400_000_000)
    assert "last seen full 9 days ago" in advice.calibration_hint(before, far, 0, draws)
    # after a time without readings that is told already
    assert advice.calibration_hint(replace(before, gap_s=36_000.0), far, 0, draws) == ""
    assert advice.calibration_hint(before, result(20_000 * (capacity_ah / 200) ** 3), 0, draws) == (
        advice.LEARN_CAPACITY
    )


def test_no_distance_at_all_is_nobodys_fault(capacity_ah):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert not rests_on(result(np.zeros(2000)), 0, capacity_ah)


SITUATION = Situation(True, "motoring steadily", 1000.0, soc_frac=0.8, reserve_frac=0.2)
ACTIONS = [
    ({"urgent": "slow down: the lug is hot"}, "slow down: the lug is hot"),
    ({"doing": "motor off", "steady": False, "power_w": -900.0}, "leave the charger on"),
    ({"soc_frac": 0.15}, "head in now"),
    ({"soc_frac": 0.0, "doing": "motoring, not steadily yet", "steady": False}, "head in now"),
    ({"soc_frac": 0.1, "doing": "motor off", "steady": False}, "charge before motoring"),
    ({"doing": "motor off", "steady": False}, "nothing to do"),
    ({"doing": "motoring, not steadily yet", "steady": False}, "hold one throttle setting"),
]


@pytest.mark.parametrize(("changes", "begins"), ACTIONS)
def test_next_action_of_each_situation(changes, begins):
    result = reach(question(50))
    assert next_in(replace(SITUATION, **changes), result, 0).startswith(begins)


def test_never_go_on_beside_a_warning():
    result = reach(question(50))
    assert next_in(SITUATION, result, 0).startswith("go on")  # the slowest speed goes furthest
    assert next_in(replace(SITUATION, warned="look at the lug"), result, 0) == "look at the lug"
