"""The way home and the triangle of speeds against plain search over every possibility."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from analyzer.environment.stream import given as given_stream
from analyzer.environment.stream_table import StreamTable
from analyzer.environment.wind import Wind
from analyzer.range.ahead import ground_speed_mps
from analyzer.range.home import (
    WayBack,
    along_track,
    geodesic,
    home_reach,
    turn_lead_s,
    way_back,
)
from analyzer.range.monte_carlo import Weak, along_across
from analyzer.range.reach import reach, toward
from analyzer.range.run_down.discharge import SOC_GRID, Limits
from logger.boat import Boat
from tests.support.hull_boat import boat
from tests.support.range_inputs import charge, cubic_curve, range_input


def vector(size: float, toward_deg: float) -> np.ndarray:
    """East and north."""
    return size * np.array([np.sin(np.radians(toward_deg)), np.cos(np.radians(toward_deg))])


@pytest.mark.parametrize("seed", range(25))
def test_ground_speed_is_the_best_of_all_headings(seed):
    rng = np.random.default_rng(seed)
    water, drift = rng.uniform(0.3, 4.0), rng.uniform(0.0, 2.5)
    set_deg, course = rng.uniform(0.0, 360.0, 2)
    stream, way = vector(drift, set_deg), vector(1.0, course)
    aside = np.array([way[1], -way[0]])
    headings = np.radians(np.linspace(0, 360, 200_001))
    over = water * np.stack([np.sin(headings), np.cos(headings)], axis=1) + stream
    stays = np.abs(over @ aside) < 2e-4 * water
    made = max(float((over @ way)[stays].max(initial=0.0)), 0.0)
    got = float(ground_speed_mps(np.array(water), *along_across(*stream, course)))
    assert got == pytest.approx(made, abs=0.02 if drift > 0.98 * water else 2e-3)


def test_stream_along_and_across_is_a_turned_vector():
    rng = np.random.default_rng(1)
    east, north = rng.normal(size=(2, 20))
    for course in (0.0, 33.0, 214.0):
        along, across = along_across(east, north, course)
        np.testing.assert_allclose(np.hypot(along, across), np.hypot(east, north))
        way = vector(1.0, course)
        np.testing.assert_allclose(along, east * way[0] + north * way[1])
        right = vector(1.0, course + 90)
        np.testing.assert_allclose(across, east * right[0] + north * right[1])
    assert not np.any(along_across(east, north, None))


def uncertain(n: int = 40, **changes):
    """A pack, a curve and a stream none of which is known well, in a calm that lasts."""
    rng = np.random.default_rng(3)
    pack = charge(n, 0.75)
    pack["capacity_ah"] = 60 * np.exp(0.15 * rng.standard_normal(n))
    pack["r0_ohm"] = 8e-4 * np.exp(0.2 * rng.standard_normal(n))
    base = range_input(
        n,
        charge=pack,
        curve=cubic_curve(0.15),
        stream=given_stream(0.5, 70.0, sd_mps=0.2),
        hotel_w=(80.0, 20.0),
        limits=Limits(0.2, 2.8, 45.0, 0.004),
        weak=Weak((5e-4, 1e-4), ((1.0, 0.04, 0.01),)),
        wind=Wind(0.0, 0.0, sd_mps=0.0),
    )
    return replace(base, **changes)


def farthest_out_m(out_m: float, back_m: float, home_m: float, turn_deg: float) -> float:
    """The farthest place outward from which what is left still carries home: every metre tried.

    Going out and coming back each spend their share of the charge; the way home is the third
    side of the triangle.
    """
    tried = np.linspace(0.0, min(out_m, 5e5), 20_001)
    there = tried[:, None] * vector(1.0, 0.0)
    home = home_m * vector(1.0, turn_deg)
    left = np.hypot(*(home - there).T)
    ok = tried / out_m + left / back_m <= 1.0
    return float(tried[ok].max(initial=0.0))


def charge_left(back, k: int, i: int, home_m: float) -> float:
    """Charge at home of one draw at one speed: I = P / V in a thousand steps, V its own sag."""
    pack, power_w, steps = back.pack, back.total_w[i, k], 1_000
    soc, amps = pack.soc[i], power_w / 50.0
    for _ in range(steps):
        volts = np.interp(soc, SOC_GRID, pack.ocv_v) - amps * pack.resistance_ohm[i]
        amps = power_w / pack.cells / volts
        hours = home_m / back.ground_mps[i, k] / 3600.0 if back.ground_mps[i, k] > 0 else np.inf
        soc = max(soc - amps * hours / steps / pack.capacity_ah[i], 0.0)
    return soc


CASES = [(180.0, 0.9), (135.0, 0.8), (95.0, 0.9), (290.0, 0.7), (30.0, 0.9)]


@pytest.mark.parametrize(("turn", "sureness"), CASES)
@pytest.mark.parametrize("home_m", [3_000.0, 14_000.0, 31_000.0])
def test_home_equals_search_over_speeds_and_turning_points(turn, sureness, home_m):
    asked = uncertain(course_deg=20.0)
    out, course = reach(asked), 20.0 + turn
    k_out = 7
    home = home_reach(
        asked, out.distance_m[:, k_out], k_out, WayBack(home_m, course, sureness, "stays")
    )
    back = reach(replace(toward(asked, course), ahead="stays"))
    n, speeds = back.distance_m.shape
    turns = np.array(
        [
            [
                farthest_out_m(
                    max(out.distance_m[i, k_out], 1e-6), max(reached, 1e-6), home_m, turn
                )
                for reached in back.distance_m[i]
            ]
            for i in range(n)
        ]
    )
    arrives = [np.mean([back.distance_m[i, k] >= home_m for i in range(n)]) for k in range(speeds)]
    sure = np.array([np.quantile(turns[:, k], 1 - sureness) for k in range(speeds)])
    on_the_way = turn in (30.0, 330.0)
    if sure.max() > 0 and not on_the_way:
        # two metres: the search's own step
        best = max(k for k in range(speeds) if sure[k] >= 0.9 * sure.max() - 2.0)
    else:
        best = max(k for k in range(speeds) if arrives[k] >= max(arrives) - 0.005)
    step_m = out.distance_m[:, k_out].max() / 20_000
    assert home.back_speed_mps == pytest.approx(back.speeds_mps[best])
    assert home.can_return_frac == pytest.approx(arrives[best])
    assert home.turn_in.low == pytest.approx(sure[best], abs=2 * step_m)
    assert home.turn_in.mid == pytest.approx(np.median(turns[:, best]), abs=2 * step_m)
    assert home.turn_in.high == pytest.approx(np.quantile(turns[:, best], 0.9), abs=2 * step_m)
    assert home.homeward == on_the_way
    left = [charge_left(back, best, i, home_m) for i in range(n)]
    np.testing.assert_allclose(
        [home.charge_on_arrival.low, home.charge_on_arrival.mid, home.charge_on_arrival.high],
        np.percentile(left, (10, 50, 90)),
        atol=2e-3,
    )
    want_lead = home.turn_in.low / 1.7
    assert turn_lead_s(home, 1.7) == pytest.approx(want_lead)


def test_the_search_sees_both_rules_of_the_speed_home():
    asked = uncertain(course_deg=20.0)
    out = reach(asked)
    far = home_reach(asked, out.distance_m[:, 7], 7, WayBack(31_000.0, 200.0, 0.9, "stays"))
    near = home_reach(asked, out.distance_m[:, 7], 7, WayBack(3_000.0, 200.0, 0.9, "stays"))
    assert near.turn_in.low > 0
    assert far.turn_in.low == 0.0
    assert near.can_return_frac > far.can_return_frac


def test_without_a_course_outward_home_lies_astern():
    asked = uncertain(course_deg=None)
    out = reach(asked)
    home = home_reach(asked, out.distance_m[:, 5], 5, WayBack(4_000.0, 250.0, 0.9, "stays"))
    back = reach(replace(toward(asked, 250.0), ahead="stays"))
    k = int(np.argmin(np.abs(back.speeds_mps - home.back_speed_mps)))
    # straight out and straight back: x/out + (x + home)/back = 1
    each = (1 - 4_000.0 / back.distance_m[:, k]) / (
        1 / out.distance_m[:, 5] + 1 / back.distance_m[:, k]
    )
    assert home.turn_in.mid == pytest.approx(np.median(np.maximum(each, 0.0)), rel=1e-4)
    assert not home.homeward


@pytest.mark.parametrize("ahead", ["stays", "reversed"])
def test_stream_on_the_way_home(ahead):
    asked = range_input(course_deg=0.0, stream=given_stream(0.7, 0.0, sd_mps=1e-9))
    out = reach(asked)
    sign = {"stays": -0.7, "reversed": 0.7}[ahead]  # home lies south
    home = home_reach(asked, out.distance_m[:, 6], 6, WayBack(2_000.0, 180.0, 0.9, ahead))
    still = reach(range_input(course_deg=180.0))
    k = int(np.argmin(np.abs(still.speeds_mps - home.back_speed_mps)))
    hours = np.median(still.duration_s[:, k])
    spent = (np.median(still.soc) - 0.2) * 2_000.0 / ((home.back_speed_mps + sign) * hours)
    assert home.charge_on_arrival.mid == pytest.approx(0.8 - spent, abs=2e-3)
    assert home.stream == {"stays": "as now", "reversed": "reversed"}[ahead]


def test_along_track_is_the_sum_of_its_legs_from_the_place_nearest_home():
    rng = np.random.default_rng(8)
    lat = 54.0 + np.cumsum(rng.normal(0.002, 0.002, 60))
    lon = 10.0 + np.cumsum(rng.normal(0.0, 0.003, 60))
    home = (float(lat[12]) + 1e-4, float(lon[12]))
    lat_gaps, lon_gaps = lat.copy(), lon.copy()
    lat_gaps[30:33] = np.nan
    keep = [k for k in range(12, 60) if not 30 <= k < 33]
    total = geodesic(lat[12], lon[12], *home)[0]
    for a, b in pairwise(keep):
        total += geodesic(lat[a], lon[a], lat[b], lon[b])[0]
    assert along_track(lat_gaps, lon_gaps, home) == pytest.approx(total, rel=1e-9)
    assert along_track(lat[:1], lon[:1], home) is None


def told_home(home_m: float, **way):
    """Home against nothing but what is known: 100 Ah, 16 cells, no resistance, still water."""
    asked = range_input(2, charge=charge(2, 0.6), hotel_w=(60.0, 0.0), course_deg=0.0)
    out = reach(asked)
    return home_reach(asked, out.distance_m[:, 6], 6, WayBack(home_m, 180.0, 0.9, "stays", **way))


def test_home_after_dark_is_gone_faster_where_the_pack_allows():
    # 6 km: by hand 2.14 h at 0.78 m/s, 1 h at 1.67 m/s
    slow, fast = told_home(6_000.0), told_home(6_000.0, dark_in_s=3600.0)
    assert 6_000.0 / fast.back_speed_mps <= 3600.0
    assert fast.back_speed_mps >= slow.back_speed_mps
    assert fast.can_return_frac == 1.0


def test_a_sensible_speed_is_no_slower_than_asked_for_unless_only_that_gets_home():
    # 0.4 x 100 Ah x 16 x 3.3 V is some 2.1 kWh: at v m/s (100 v^3 + 60) W, 2.1 kWh last
    # 7.6e6 / (100 v^3 + 60) s, so 30 km can be made at 1 m/s (47 km) and not at 2.5 m/s (12 km)
    assert told_home(3_000.0, least_mps=2.5).back_speed_mps >= 2.5
    assert told_home(30_000.0, least_mps=2.5).back_speed_mps < 2.0
    assert told_home(30_000.0, least_mps=2.5).can_return_frac == 1.0


def test_home_at_the_present_speed_stands_beside_the_surest():
    # at SPEEDS[6] = 2 m/s: 7.6e6 / 860 s x 2 m/s is some 17.7 km; home is 25 km
    home = told_home(25_000.0)
    assert home.at_present.speed_mps == pytest.approx(2.0)
    assert home.at_present.can_return_frac == 0.0
    assert home.can_return_frac == 1.0
    # 25 km at 2 m/s take 860 W x 12,500 s = 2,986 Wh of some 60 Ah x 52.8 V = 3,168 Wh
    assert home.at_present.charge_on_arrival.mid == pytest.approx(0.6 - 2986 / 5280, abs=0.02)


def test_each_speed_home_has_its_own_time_light_and_turning_point():
    # still water: 9 km at 2 m/s take 4,500 s; out and back in proportion, x / out + (x + 9) / back
    # = 1, with 17.7 km to be gone at 2 m/s either way: x = (17.7 - 9) / 2 km
    home = told_home(9_000.0, dark_in_s=4_400.0)
    at = home.at_present
    assert at.takes.mid == pytest.approx(4_500.0)
    assert at.before_dark_frac == 0.0
    assert at.turn_in.low == pytest.approx(4_350.0, rel=0.03)
    assert at.stream_gain.mid == pytest.approx(0.0, abs=1e-6)
    chosen = home.chosen
    assert chosen.takes.mid == pytest.approx(9_000.0 / chosen.speed_mps)
    assert chosen.before_dark_frac == float(chosen.takes.mid <= 4_400.0) == 1.0
    assert home.turn_in is chosen.turn_in
    assert told_home(9_000.0).chosen.before_dark_frac is None


def test_the_stream_on_the_way_home_is_told_as_what_it_adds():
    asked = range_input(course_deg=0.0, stream=given_stream(0.4, 180.0, sd_mps=1e-9))
    home = home_reach(
        asked, reach(asked).distance_m[:, 6], 6, WayBack(2_000.0, 180.0, 0.9, "stays")
    )
    assert home.at_present.stream_gain.mid == pytest.approx(0.4, abs=1e-6)


def test_a_way_home_is_made_at_two_knots_at_least():
    # IMO MEPC.1/Circ.850/Rev.3 (2021, from memory): a speed of advance of two knots
    home = {"name": "home", "latitude_deg": 50.0, "longitude_deg": 0.0}
    afloat = Boat.model_validate(boat().model_dump() | {"home": home})
    way = way_back(afloat, (50.1, 0.0), None)
    assert way.least_mps == pytest.approx(2.0 * 1852 / 3600)


def test_where_no_speed_gets_home_the_one_that_spends_least_is_told():
    # least (100 v^3 + 60) / v J/m: v^3 = 0.3, v = 0.67 m/s, below the slowest of SPEEDS (0.8)
    assert told_home(90_000.0).back_speed_mps == pytest.approx(0.8)


HOURS = np.array([0.0, 3.0, 3.2, 60.0])


def test_a_tide_that_turns_before_home_counts_for_the_time_home_alone():
    """An hour home in a stream that runs 1 m/s against it for hours and then as long with it."""
    asked = range_input(2, charge=charge(2, 0.9), course_deg=0.0)
    table = StreamTable(
        np.array([0.0, 3.0, 3.2, 60.0]) * 3600, np.zeros(4), np.array([1, 1, -1, -1])
    )
    way = WayBack(3_600.0, 180.0, 0.9, table)
    back = home_reach(asked, reach(asked).distance_m[:, 12], 12, way).at_present
    # 3.2 m/s less 1 m/s: 1,636 s at 3,277 W take 1.49 kWh of 5.28: 0.90 to 0.62
    assert back.speed_mps == pytest.approx(3.2)
    assert back.charge_on_arrival.mid == pytest.approx(0.9 - 1489 / 5280, abs=0.04)


def test_a_tide_that_stops_the_boat_on_the_way_is_no_way_home():
    """2 m/s of foul tide in the second hour stop 1.2 m/s through water, not 2.8; 6 km home."""
    asked = range_input(2, charge=charge(2, 0.9), course_deg=0.0, speeds_mps=np.array([1.2, 2.8]))
    t_s = np.array([0.0, 1.0, 1.02, 2.0, 2.02, 60.0]) * 3600
    table = StreamTable(t_s, np.zeros(6), np.array([0.0, 0.0, 2.0, 2.0, -1.0, -1.0]))
    out = reach(asked)
    slow, fast = (
        home_reach(asked, out.distance_m[:, k], k, WayBack(6_000.0, 180.0, 0.9, table))
        for k in (0, 1)
    )
    assert slow.at_present.can_return_frac == 0.0
    assert fast.at_present.can_return_frac == 1.0
