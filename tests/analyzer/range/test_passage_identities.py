"""A passage walked leg by leg against a boat stepped through time; advice against search."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from analyzer.environment.stream_table import StreamTable, TableStream
from analyzer.range.advice import slower
from analyzer.range.hindcast import _what_followed
from analyzer.range.monte_carlo import Now, Weak
from analyzer.range.passage import (
    LegEnd,
    NoSun,
    Surroundings,
    begin,
    draw_boats,
    walk_leg,
)
from analyzer.range.plan import Passage, cheapest, plan
from analyzer.range.route import Leg, Route
from analyzer.range.run_down.discharge import SOC_GRID, Limits
from analyzer.series.series import Series
from logger.boat import Hotel
from tests.support.range_inputs import range_input

LEG = Leg("north-east", 9_000.0, 40.0, 0.0, 0.0)


def tide(n: int) -> TableStream:
    """A stream that turns within hours, the same for every draw."""
    t = np.arange(0.0, 40_000.0, 600.0)
    table = StreamTable(t, 0.5 * np.cos(t / 5_000), -0.3 * np.sin(t / 4_000))
    return TableStream(table, np.ones(n), np.zeros((n, 2)))


class Noon:
    """Sun that comes and goes."""

    def at(self, t_s):
        return 250.0 * np.maximum(np.sin(np.asarray(t_s) / 6_000), 0.0)


def walker(n: int = 3, sun=None, route=(LEG,), **changes):
    given = range_input(n, limits=Limits(0.2, 2.5), hotel_w=(90.0, 0.0), **changes)
    given.charge["r0_ohm"] = np.full(n, 8e-4)
    given.charge["capacity_ah"] = np.array([70.0, 100.0, 20.0])[:n]
    return draw_boats(given, Route("", route), Surroundings(tide(n), sun or NoSun()))


def stepped(boats, i: int, leg: Leg, speed: float, from_s: float, soc: float):
    """Ten seconds at a time: the triangle of speeds, I·(V - I·R) = P, charge and energy."""
    way = np.array([np.sin(np.radians(leg.course_deg)), np.cos(np.radians(leg.course_deg))])
    motor = 100 * speed**3 * np.exp(boats.weather[i, 0])  # the curve's lines are sure
    t, gone, energy, ended, ohm = from_s, 0.0, 0.0, False, float(boats.pack.resistance_ohm[i])
    while gone < leg.distance_m:
        stream = np.array(
            [float(v[i]) for v in boats.around.water.at(np.full(len(boats.hotel_w), t))]
        )
        across = stream @ np.array([way[1], -way[0]])
        made = np.sqrt(speed**2 - across**2) + stream @ way
        power = motor + 90.0 - float(boats.around.sun.at(np.array([t]))[0])
        volts = np.interp(soc, SOC_GRID, boats.pack.ocv_v)
        amps = (volts - np.sqrt(volts**2 - 4 * ohm * power / 16)) / (2 * ohm)
        step = min(10.0, (leg.distance_m - gone) / made)
        gone, t, energy = gone + made * step, t + step, energy + power * step / 3600
        soc -= amps * step / 3600 / boats.pack.capacity_ah[i]
        ended |= soc <= 0.2
    return t, max(soc, 0.0), energy, ended


@pytest.mark.parametrize("sun", [None, Noon()])
def test_a_leg_equals_stepping_through_it(sun):
    boats = walker(sun=sun)
    end = walk_leg(boats, 0, LEG, 1.9, begin(boats, 2_000.0))
    for i in range(3):
        t, soc, energy, ended = stepped(boats, i, LEG, 1.9, 2_000.0, 0.8)
        # pieces of a kilometre: the stream at each piece's beginning stands for all of it
        assert end.t_s[i] - 2_000.0 == pytest.approx(t - 2_000.0, rel=0.02)
        assert end.energy_wh[i] == pytest.approx(energy, rel=0.02)
        assert end.soc[i] == pytest.approx(soc, abs=0.02)
        assert end.ended[i] == ended
    assert end.ended.any()
    assert not end.ended.all()


def test_sun_that_gives_more_than_is_drawn_charges_up_to_full():
    class Strong:
        def at(self, t_s):
            return np.full_like(t_s, 3_000.0)

    boats = walker(2, sun=Strong())
    end = walk_leg(boats, 0, replace(LEG, distance_m=900.0), 1.0, begin(boats, 0.0))
    seconds = end.t_s
    power = 3_000.0 - 90.0 - 100 * np.exp(boats.weather[:, 0])
    np.testing.assert_allclose(-end.energy_wh, power * seconds / 3600, rtol=1e-6)
    # about 3.3 V a cell, 16 of them
    want = np.minimum(0.8 + power * seconds / 3600 / 3.3 / 16 / boats.pack.capacity_ah, 1.0)
    np.testing.assert_allclose(end.soc, want, rtol=1e-6)


def test_a_boat_set_back_is_ended_and_stays_so():
    boats = walker()
    slow = walk_leg(boats, 0, LEG, 0.1, begin(boats, 0.0))
    assert slow.ended.all()
    again = walk_leg(boats, 0, replace(LEG, distance_m=10.0), 2.0, slow)
    assert again.ended.all()


SPEEDS = np.array([1.0, 1.4, 1.8, 2.3, 2.8])
LEGS = (LEG, Leg("west", 5_000.0, 270.0, 0.0, 0.0), Leg("south", 4_000.0, 180.0, 0.0, 0.0))


def passage(**changes) -> Passage:
    given = range_input(24, speeds_mps=SPEEDS, hotel_w=(200.0, 0.0))
    given.charge["capacity_ah"] = np.full(24, 400.0)
    around = Surroundings(tide(24))
    made = Passage(given, Route("", LEGS), 1_000.0, around, around)
    return replace(made, **changes)


def test_cheapest_speeds_are_the_best_of_all_leg_by_leg():
    asked = passage()
    chosen = cheapest(asked)[0]
    boats = draw_boats(asked.given, asked.route, asked.around)
    at = begin(boats, 1_000.0)
    for k, leg in enumerate(LEGS):
        ends = {float(v): walk_leg(boats, k, leg, float(v), at) for v in SPEEDS}
        cost = {v: float(np.mean(e.energy_wh - at.energy_wh)) for v, e in ends.items()}
        assert chosen[k] == min(cost, key=cost.get)
        at = ends[chosen[k]]


def test_in_a_hurry_the_passage_is_in_time_and_one_price_slower_is_not():
    calm = tuple(cheapest(passage())[0])
    last = plan(passage(speeds_mps=calm)).arrival_utc_s.mid
    quick = plan(passage(speeds_mps=(2.8, 2.8, 2.8))).arrival_utc_s.mid
    wanted = (last + quick) / 2
    chosen = plan(passage(arrive_by_s=wanted))
    assert chosen.arrival_utc_s.mid <= wanted
    assert chosen.in_time_frac == 1.0
    energies = [plan(passage(speeds_mps=speeds)).energy.mid for speeds in ((2.8, 2.8, 2.8), calm)]
    assert energies[1] < chosen.energy.mid < energies[0]
    too_late = plan(passage(arrive_by_s=quick - 600.0))
    assert too_late.in_time_frac == 0.0
    assert [leg.speed_water_mps for leg in too_late.legs] == [2.8, 2.8, 2.8]


def test_legs_add_up_to_the_passage():
    whole = plan(passage(speeds_mps=(1.8, 2.3, 1.4)))
    # nothing but the weather differs between draws, so medians add up to within its 3 %
    assert sum(leg.energy.mid for leg in whole.legs) == pytest.approx(whole.energy.mid, rel=0.02)
    assert whole.legs[-1].charge == whole.charge
    assert whole.legs[-1].arrival_utc_s == whole.arrival_utc_s
    assert whole.arrives_frac == whole.legs[-1].holds_frac
    hours = [leg.distance_m / leg.speed_ground_mps.mid for leg in whole.legs]
    assert whole.arrival_utc_s.mid - 1_000.0 == pytest.approx(sum(hours), rel=1e-6)


@pytest.mark.parametrize("weak", [0.0, 0.15])
def test_a_leg_ends_where_the_weak_cell_does(weak):
    given = range_input(2, limits=Limits(0.0, 3.1), weak=Weak((0.0, 0.0), ((1.0, weak, 0.0),)))
    boats = draw_boats(given, Route("", (LEG,)), Surroundings(tide(2)))
    at = np.interp(3.1, boats.pack.ocv_v, SOC_GRID) + weak  # nearly no resistance: no sag
    for over, ended in ((0.02, False), (-0.001, True)):
        start = LegEnd(np.zeros(2), np.full(2, at + over), np.zeros(2), np.zeros(2, bool))
        end = walk_leg(boats, 0, replace(LEG, distance_m=100.0), 1.5, start)
        assert list(end.ended) == [ended, ended]


def test_slower_is_the_best_of_the_speeds_below_the_present_one():
    rng = np.random.default_rng(4)
    speeds = np.linspace(0.8, 3.0, 12)
    for _ in range(40):
        table = rng.uniform(5_000, 20_000, (1, 12)) * np.ones((5, 1))
        result = SimpleNamespace(distance_m=table, speeds_mps=speeds)
        k_now = int(rng.integers(0, 12))
        # at least 0.55 of the present speed, and 1.15 times as far
        able = [k for k in range(k_now) if speeds[k] >= 0.55 * speeds[k_now]]
        best = max(able, key=lambda k: table[0, k], default=None)
        worth = best is not None and table[0, best] > 1.15 * table[0, k_now]
        assert slower(result, k_now) == (best if worth else None)


@pytest.mark.parametrize("alike_minutes", [6, 14, 59, 90])
def test_what_followed_is_summed_to_the_first_minute_that_differs(alike_minutes):
    rng = np.random.default_rng(7)
    n, step_s, end = 60 * 100, 1.0, 300
    minute = (np.arange(n) - end) // 60
    other = minute >= alike_minutes
    amps = np.where(other, 26.5, 20.0) + 0.5 * rng.standard_normal(n)
    course = 50.0 + 10 * rng.standard_normal(n)
    speed = 2.0 + 0.1 * rng.standard_normal(n)
    log = Series(0, step_s, n, {
        "pack_voltage_v": np.full(n, 50.0), "pack_current_a": amps,
        "course_ground_deg": course, "speed_ground_mps": speed,
    })  # fmt: skip
    hotel = Hotel(power_w=0.0)
    boat = SimpleNamespace(hotel=hotel)
    size, wh, made = _what_followed(log, end, boat, Now(2.0, 50.0, 1_000.0))
    minutes = min(alike_minutes, 60)  # an hour at most; ten minutes at least
    assert size == 60 * minutes
    if minutes < 10:
        assert made is None
        return
    span = range(end, end + size)
    assert wh == pytest.approx(sum(50.0 * amps[k] for k in span) / 3600)
    assert made == pytest.approx(sum(speed[k] * np.cos(np.radians(course[k] - 50.0)) for k in span))


def test_the_sun_of_a_piece_is_that_of_its_middle():
    class Rising:
        def at(self, t_s):
            return 20.0 + 0.5 * np.asarray(t_s)

    boats, short = walker(sun=Rising()), replace(LEG, distance_m=900.0)
    end = walk_leg(boats, 0, short, 1.5, begin(boats, 100.0))
    seconds = end.t_s - 100.0
    power = 100 * 1.5**3 * np.exp(boats.weather[:, 0]) + 90.0 - (70.0 + 0.25 * seconds)
    np.testing.assert_allclose(end.energy_wh, power * seconds / 3600, rtol=1e-3)
