"""Changes to drawn boats: each against a sum that can be done by hand."""

from dataclasses import replace

import numpy as np
import pytest

from analyzer.range.monte_carlo import Now, Throttle
from analyzer.range.reach import reach
from analyzer.range.run_down.discharge import Limits
from analyzer.range.sample import sample
from analyzer.range.what_if import changes
from logger.boat import Pack
from tests.support.range_inputs import charge, cubic_curve, question, range_input

PACK = Pack(chemistry="lfp", cells_in_series=16, rated_capacity_ah=100.0)


def distances(given):
    """At speeds that end within the three days that a run is followed."""
    found = reach(given).distance_m
    return found if found.shape[1] < 5 else found[:, 4:]


def test_twice_the_pack_goes_twice_as_far():
    """Without resistance energy goes with ampere-hours: distance too."""
    given = question()
    assert distances(changes.larger_pack(given, 2.0)) == pytest.approx(
        2 * distances(given), rel=1e-6
    )


def test_half_the_cells_go_half_as_far():
    """Half the volts at the same power is twice the current."""
    given = question()
    half = distances(changes.cells_in_series(given, 8))
    assert half == pytest.approx(distances(given) / 2, rel=1e-4)  # 1 nOhm is not nothing


def test_a_load_comes_out_of_the_whole_power():
    """100 W at 1 m/s and 100 W of load: 200 W; 50 W of load: 150 W, a third further."""
    given = question(hotel_w=(100.0, 0.0), speeds_mps=np.array([1.0]))
    less = changes.hotel_load(given, 50.0)
    ratio = distances(less) / distances(given)
    assert np.median(ratio) == pytest.approx(200 / 150, rel=2e-3)


def test_sun_twice_is_twice_the_sun():
    given = question(solar_w=(20.0, 0.0), speeds_mps=np.array([1.0]))
    ratio = distances(changes.sun_times(given, 2.0)) / distances(given)
    assert np.median(ratio) == pytest.approx(80 / 60, rel=2e-3)


def test_a_better_path_saves_current_squared_times_its_ohms():
    """100 W from about 52 V without resistance: 1.9 A; 1 ohm less saves 3.7 W."""
    given = question(speeds_mps=np.array([1.0]))
    volts = float(np.median(changes.loaded_v(sample(given).pack, np.full((400, 1), 100.0))))
    saved_w = (100.0 / volts) ** 2
    before, after = (
        reach(one).total_w[:, 0] for one in (given, changes.better_path(given, (1.0, 0.0)))
    )
    assert np.median(1 - after / before) == pytest.approx(saved_w / 100.0, rel=1e-3)


def test_the_loaded_voltage_solves_its_equation():
    """V = E - R P / V, put in again."""
    given = range_input(charge={**charge(200), "r0_ohm": np.full(200, 1e-3)})
    pack, power_w = sample(given).pack, np.full((200, 1), 900.0)
    volts = changes.loaded_v(pack, power_w)
    ohm = (pack.cells * pack.resistance_ohm)[:, None]
    idle = changes.loaded_v(pack, np.zeros((200, 1)))
    assert volts == pytest.approx(idle - ohm * power_w / volts, rel=1e-9)


def test_a_second_pack_adds_its_charge_and_halves_the_resistance():
    """Equal resistances in parallel; new cells hold 1.00 to 1.04 of their label (the source that
    `service_prior` names)."""
    given = range_input(n=1000, charge={**charge(1000), "r0_ohm": np.full(1000, 1e-3)})
    both = changes.second_pack(given, PACK)
    added = both.charge["capacity_ah"] - given.charge["capacity_ah"]
    assert 97.0 < np.median(added) < 106.0
    assert np.all(both.charge["r0_ohm"] < given.charge["r0_ohm"])


def test_the_present_power_goes_along_at_a_held_speed():
    """Power that is a tenth less at every speed is a tenth less now."""
    now = Now(speed_ground_mps=2.0, course_deg=0.0, power_w=800.0)
    given = replace(question(curve=cubic_curve(0.05)), now=now)

    def tenth_less(given, drawn):
        change = np.full(drawn.draws.log_power.shape, np.log(0.9))
        return changes.with_power(given, drawn, change)

    before, after = sample(given), sample(changes.after(given, tenth_less))
    assert after.draws.now_w == pytest.approx(0.9 * before.draws.now_w)


def test_a_held_throttle_keeps_its_power_and_gains_speed():
    """100 v³ W held at 800 W: v = (800 / (100 · 0.9))^(1/3) with a tenth less."""
    speeds = np.array([1.0, 2.0])
    given = question(throttle=Throttle(800.0, 1e-9), as_now=1, speeds_mps=speeds)

    def tenth_less(given, drawn):
        change = np.full(drawn.draws.log_power.shape, np.log(0.9))
        return changes.with_power(given, drawn, change)

    made = np.median(reach(changes.after(given, tenth_less)).ground_mps[:, 1])
    assert made == pytest.approx((800 / 90) ** (1 / 3), rel=5e-3)


def test_draws_stay_the_boat_s_own():
    """Common random numbers: the difference scatters far less than two answers apart."""
    given = question(curve=cubic_curve(0.15), hotel_w=(60.0, 20.0))
    less = changes.hotel_load(given, 55.0)
    paired = distances(less) - distances(given)
    apart = distances(replace(less, seed=2)) - distances(given)
    assert paired[:, 0].std() < 0.05 * apart[:, 0].std()


def test_more_reserve_left_is_less_way():
    """From 80 %: down to 20 % and to 50 %: half."""
    given = question()
    kept = replace(given, limits=Limits(0.5, 2.5))
    assert distances(kept) == pytest.approx(distances(given) / 2, rel=0.02)
