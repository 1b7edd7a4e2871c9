"""Motor or controller too hot for a speed: how long it holds, and that it ends the run."""

from dataclasses import replace

import numpy as np
import pytest

from analyzer.range.reach import reach
from analyzer.range.thermal_limit import Warmth, warmths
from analyzer.series.series import Series
from tests.support.range_inputs import question
from tests.support.two_node_drive import BOAT, two_nodes

NONE = ((0.0,) * 3,) * 3
SURE = Warmth("motor", 100.0, 40.0, (20.0, 100.0, float(np.log(1000.0))), NONE, 2000.0)


def test_holds_as_one_warming_body_does():
    # by hand: at rated power it settles at 120 °C; from 40 °C it passes 100 °C after
    # 1000 s x ln(80 / 20); at 80 % of the power it settles at 84 °C and never does
    holds = SURE.holds_s(np.array([[2000.0, 1600.0]]), np.random.default_rng(1))
    assert holds[0, 0] == pytest.approx(1000 * np.log(4))
    assert np.isinf(holds[0, 1])


def test_a_part_beyond_its_limit_holds_no_more():
    hot = replace(SURE, temp_c=101.0)
    assert hot.holds_s(np.array([[2000.0]]), np.random.default_rng(1))[0, 0] == 0.0


def test_the_motor_s_temperature_ends_a_fast_run_and_leaves_a_slow_one():
    asked = question(warmths=(SURE,))
    cool, warm = reach(question()), reach(asked)
    fast, slow = warm.nearest(3.0), warm.nearest(2.0)  # 100 v^3: 2.7 kW and 0.8 kW
    assert next(iter(warm.limit_shares(fast))) == "motor's temperature"
    assert warm.distance(fast).mid < cool.distance(fast).mid
    assert warm.run.end_soc[:, fast].min() > 0.2  # charge is left: the trip goes on, slower
    assert warm.distance(slow).mid == cool.distance(slow).mid


def test_warmths_are_seen_in_a_log_and_foretell_the_passing():
    """A quarter of an hour on a two-node body of another physics; then the same load goes on."""
    load_a = np.full(7200, 110.0)
    temp = two_nodes(load_a, 20.0, 480.0, 3)
    passes_s = int(np.flatnonzero(temp > 110)[0])
    n = 900
    assert passes_s > n
    values = {
        "controller_current_a": load_a[:n],
        "motor_temp_c": temp[:n],
        "ambient_temp_c": np.full(n, 20.0),
    }
    (found,) = warmths(Series(0, 1.0, n, values), BOAT)
    power_w = BOAT.motor.rated_power_w * 110.0 / 113.6  # of the current at rated power, 52.8 V
    holds = found.holds_s(np.full((2000, 1), power_w), np.random.default_rng(1))[:, 0]
    low, high = np.quantile(holds, (0.05, 0.95), method="lower")
    print(f"\npasses 110 °C after {passes_s - n} s more; predicted {low:.0f} to {high:.0f} s")
    assert low < passes_s - n < high


def test_warmths_say_nothing_without_a_limit_or_a_reading():
    still = Series(0, 1.0, 60, {"motor_temp_c": np.full(60, np.nan)})
    assert warmths(still, BOAT) == ()
    bare = BOAT.model_copy(
        update={"motor": BOAT.motor.model_copy(update={"motor_max_temp_c": None})}
    )
    assert warmths(Series(0, 1.0, 60, {"motor_temp_c": np.full(60, 30.0)}), bare) == ()
