"""How far: draws, the present operating point, the stream, the wind."""

from dataclasses import replace

import numpy as np
import pytest

from analyzer.environment.stream import given, unknown
from analyzer.environment.stream_table import StreamTable
from analyzer.environment.sun_ahead import SunAhead
from analyzer.environment.wind import Wind
from analyzer.hull import hull
from analyzer.pack.chemistry import chemistry
from analyzer.range.advice import next_action
from analyzer.range.ahead import ground_speed_mps
from analyzer.range.home import (
    WayBack,
    along_track,
    geodesic,
    home_reach,
    turn_lead_s,
)
from analyzer.range.monte_carlo import Now, Weak, along_across
from analyzer.range.reach import reach, speeds_for, toward
from analyzer.range.run_down.discharge import Limits
from logger.units import KN
from tests.support.hull_boat import boat
from tests.support.range_inputs import SPEEDS, question, sure_curve

# Navigation courses' printed examples (drawn on charts, up to 2.5 degrees off): track, speed
# through water, set, drift, heading and speed over ground; the figures to 0.01 are worked by hand
# from the law of sines.
TRIANGLES = [
    (75, 10, 30, 2.5, 85.18, 11.61, 85, 11.6),
    (90, 5, 210, 2.0, 69.73, 3.69, 70, 3.7),
    (235, 6.2, 315, 3.5, 201.22, 5.76, 200, 5.8),
    (150, 5.3, 50, 3.5, 190.57, 3.42, 190, 3.4),
    (110, 10, 170, 2, 100.03, 10.85, 100, 10.85),
]


@pytest.mark.parametrize(
    ("track", "water", "toward", "drift", "heading", "ground", "drawn", "drawn_kn"), TRIANGLES
)
def test_current_triangle(track, water, toward, drift, heading, ground, drawn, drawn_kn):
    set_deg = np.radians(toward)
    east, north = drift * np.sin(set_deg), drift * np.cos(set_deg)
    made = float(ground_speed_mps(water, *along_across(east, north, track)))
    # what the boat does through the water closes the triangle: its length and its direction
    way = np.radians(track)
    to_east, to_north = made * np.sin(way) - east, made * np.cos(way) - north
    steered = np.degrees(np.arctan2(to_east, to_north)) % 360
    assert np.hypot(to_east, to_north) == pytest.approx(water)
    assert (round(made, 2), round(steered, 2)) == (ground, heading)
    assert steered == pytest.approx(drawn, abs=2.5)
    assert made == pytest.approx(drawn_kn, abs=0.06)


def test_a_stream_faster_than_the_boat_cannot_be_held():
    assert ground_speed_mps(1.0, *along_across(1.5, 0.0, 0.0)) == 0.0


def test_distance_in_still_water_is_energy_over_drag():
    # by hand: 100 Ah x 0.6 x about 52.9 V (16 cells on the discharge curve) / (100 v^2) per metre
    result = reach(question())
    k = result.nearest(2.0)
    v = float(SPEEDS[k])
    mean_v = 16 * float(chemistry("lfp").ocv_v(np.linspace(0.2, 0.8, 200), hysteresis=-1.0).mean())
    want_m = 100 * 0.6 * mean_v * 3600 / (100 * v**2)
    assert result.distance(k).mid == pytest.approx(want_m, rel=0.03)
    assert result.limit_shares(k) == {"reserve": 1.0}


def test_range_at_twice_the_speed_is_a_quarter():
    # worked example: with power as the cube of speed range varies as the inverse square
    result = reach(question(speeds_mps=np.array([1.5, 3.0])))
    ratio = result.distance(0).mid / result.distance(1).mid
    assert ratio == pytest.approx(4.0, rel=1e-3)


def test_spread_of_range_follows_error_propagation():
    # reference: 4.0 +- 0.2 kWh, 5.0 +- 0.1 kn, 2.0 +- 0.1 kW, independent: 10.00 +- 0.73 nmi
    rng = np.random.default_rng(1)
    n = 20_000
    energy = 4.0 + 0.2 * rng.standard_normal(n)
    speed = 5.0 + 0.1 * rng.standard_normal(n)
    power = 2.0 + 0.1 * rng.standard_normal(n)
    assert (energy * speed / power).std() == pytest.approx(0.73, abs=0.02)
    # the same through the run-down: energy by capacity, power by the curve's common error
    one = np.ones(4000)
    curve = sure_curve()
    wide = replace(curve, cov=0.05**2 * np.ones((48, 48)) + 1e-12 * np.eye(48))
    charge = {**question().charge, "soc": 0.8 * one, "temp_c": 25 * one}
    charge |= {"r0_ohm": 1e-9 * one, "r1_ohm": 1e-9 * one}
    charge["capacity_ah"] = 100 * (1 + 0.05 * rng.standard_normal(4000))
    result = reach(question(curve=wide, charge=charge))
    k = result.nearest(2.0)
    estimate = result.distance(k)
    half = (estimate.high - estimate.low) / 2 / estimate.mid
    # 5 % energy, 5 % power, 3 % weather still to come: root of squares 7.7 %, times 1.2816
    assert half == pytest.approx(1.2816 * np.hypot(np.hypot(0.05, 0.05), 0.03), rel=0.08)


def test_a_foul_stream_makes_the_best_speed_faster():
    still = reach(question())
    foul = reach(question(stream=given(0.8, 180.0, sd_mps=0.01)))
    assert still.speeds_mps[still.best()] < foul.speeds_mps[foul.best()]
    # textbook: 3/2 of the stream, with power as the cube and no other load
    assert foul.speeds_mps[foul.best()] == pytest.approx(1.2, abs=0.21)


def test_a_stream_faster_than_the_boat_makes_no_way():
    result = reach(question(stream=given(1.5, 180.0, sd_mps=0.01)))
    assert result.distance(0).high == 0.0


def test_hotel_load_makes_slow_speeds_worse():
    bare, loaded = reach(question()), reach(question(hotel_w=(150.0, 1.0)))
    assert loaded.distance(0).mid < 0.6 * bare.distance(0).mid
    assert loaded.speeds_mps[loaded.best()] > bare.speeds_mps[bare.best()]


def test_what_the_boat_does_now_narrows_the_answer():
    curve = hull.prior(boat())
    true_w = 1.35 * float(curve.mean_w(np.array([2.2]))[0])
    blind = reach(question(curve=curve, speeds_mps=np.array([2.2])))
    seen = reach(
        question(curve=curve, speeds_mps=np.array([2.2]), now=Now(2.2, 0.0, true_w), as_now=0)
    )
    assert seen.power(0).mid == pytest.approx(true_w, rel=0.03)
    a, b = seen.power(0), blind.power(0)
    assert a.high - a.low < 0.35 * (b.high - b.low)


def test_a_hotel_load_only_thought_does_not_blur_what_the_pack_gives_now():
    """The pack's power is measured: what the hotel takes more of it the motor takes less."""
    power = 400.0
    asked = question(
        n=4000,
        curve=hull.prior(boat()),
        hotel_w=(300.0, 90.0),
        speeds_mps=np.array([1.6]),
        as_now=0,
    )
    widths = {}
    for thought in (True, False):
        result = reach(replace(asked, now=Now(1.6, 0.0, power, less_hotel=thought)))
        widths[thought] = result.total_w[:, 0].std()
    # by hand: 3 % still to come of 400 W; else 90 W of hotel besides
    assert widths[True] == pytest.approx(0.03 * power, rel=0.25)
    assert widths[False] == pytest.approx(np.hypot(90.0, widths[True]), rel=0.1)


def test_going_on_as_now_keeps_ground_speed_and_power_in_an_unknown_stream():
    curve = hull.prior(boat())
    power = float(curve.mean_w(np.array([2.2]))[0])
    result = reach(
        question(
            curve=curve,
            stream=unknown("no compass"),
            speeds_mps=np.array([1.5, 2.2]),
            now=Now(2.2, 0.0, power),
            as_now=1,
        )
    )
    ground = result.ground_mps[:, 1]
    assert ground.std() < 0.01
    assert result.ground_mps[:, 0].std() > 0.1
    assert result.power(1).mid == pytest.approx(power, rel=0.03)


def test_an_unlikely_power_speaks_about_the_stream():
    """Far more power than the hull can need at this ground speed: the stream is foul."""
    curve = hull.prior(boat())
    power = 3.0 * float(curve.mean_w(np.array([2.0]))[0])
    from analyzer.range.monte_carlo import air_draws, draw

    asked = question(n=2000, curve=curve, stream=unknown("no compass"), now=Now(2.0, 0.0, power))
    rng = np.random.default_rng(1)
    found = draw(asked, air_draws(asked, 2000, rng), np.zeros(2000), 2000, rng)
    assert found.stream.now()[1].mean() < -0.25


def test_the_weak_cell_ends_the_run_sooner():
    limits = Limits(0.05, 2.8)
    sound = reach(question(limits=limits))
    low = reach(question(limits=limits, weak=Weak(deficits=((1.0, 0.15, 0.01),))))
    k = sound.nearest(2.0)
    assert low.distance(k).mid < 0.9 * sound.distance(k).mid
    assert next(iter(low.limit_shares(k))) == "weakest cell's cut-off"


def test_sun_lengthens_the_run():
    k = 2
    assert reach(question(solar_w=(60.0, 5.0))).distance(k).mid > reach(question()).distance(k).mid


def test_a_wind_nobody_measured_is_a_doubt_before_the_motor_runs():
    calm = reach(question(4000, windage_m2=3.0))
    unknown_wind = reach(question(4000, wind=None, windage_m2=3.0))
    no_course = reach(question(4000, wind=None, windage_m2=3.0, course_deg=None))
    for k in (calm.nearest(1.2), calm.nearest(2.0)):
        d, others = calm.distance(k), [r.distance(k) for r in (unknown_wind, no_course)]
        for other in others:
            assert other.high - other.low > 3 * (d.high - d.low)
            assert other.low < 0.8 * d.low
        # whatever the course, any wind from anywhere is the same wind
        assert others[0].low == pytest.approx(others[1].low, rel=0.1)
        assert others[0].high == pytest.approx(others[1].high, rel=0.1)


def test_a_known_wind_counts_for_a_course_still_open():
    blow = Wind(7.0, 0.0, sd_mps=0.3)
    open_course = reach(question(wind=blow, windage_m2=3.0, course_deg=None))
    ahead = reach(question(wind=blow, windage_m2=3.0))
    astern = reach(toward(question(wind=blow, windage_m2=3.0), 180.0))
    d = open_course.distance(open_course.nearest(2.0))
    assert d.low < 1.1 * ahead.distance(ahead.nearest(2.0)).mid
    assert d.high > 0.9 * astern.distance(astern.nearest(2.0)).mid


def test_a_head_wind_shortens_and_turned_round_lengthens():
    wind = Wind(7.0, 0.0, sd_mps=0.3)
    ahead = reach(question(wind=wind, windage_m2=3.0))
    astern = reach(toward(question(wind=wind, windage_m2=3.0), 180.0))
    still = reach(question())
    k = still.nearest(2.0)
    assert ahead.distance(k).mid < 0.8 * still.distance(k).mid
    assert astern.distance(k).mid > 1.05 * still.distance(k).mid


def test_the_same_seed_gives_the_same_answer():
    assert reach(question()).distance(3) == reach(question()).distance(3)


def test_speeds_for_end_where_the_motor_ends():
    speeds = speeds_for(sure_curve(), 2700.0)
    assert speeds[-1] == pytest.approx(3.0, abs=0.11)  # 100 v^3 = 2700
    assert speeds[0] == pytest.approx(0.25 * speeds[-1], abs=0.13)


def test_speeds_for_are_few_and_round():
    for most in (12, 20):
        speeds_kn = speeds_for(sure_curve(), 2700.0, most) * 3600 / 1852
        assert most / 2 < len(speeds_kn) <= most
        assert np.all(np.diff(speeds_kn) > 0)
        assert np.allclose(speeds_kn[:-1] * 4 % 1, 0)


# -- the way home -------------------------------------------------------------------------------


def test_geodesic_equals_the_published_lines():
    # Karney's test set, WGS 84
    distance, course = geodesic(35.60777, -139.44815, -11.17491, -69.95921)
    assert distance == pytest.approx(8935244.5604818305, abs=1e-3)
    assert course == pytest.approx(111.098748429560326, abs=1e-9)
    distance, _ = geodesic(-41.22777, 122.32875, -7.57291, 130.37946)
    assert distance == pytest.approx(3812686.035106021, abs=1e-3)


def test_turning_point_in_still_water_is_half_way():
    asked = question()
    result = reach(asked)
    k = result.nearest(1.6)
    one_speed = replace(asked, speeds_mps=result.speeds_mps[k : k + 1])
    only = reach(one_speed)
    back = home_reach(one_speed, only.distance_m[:, 0], 0, WayBack(1000.0, 180.0, 0.9))
    whole = only.distance(0).mid
    # by hand: x out and 1000 + x back within the whole distance
    assert back.turn_in.mid == pytest.approx((whole - 1000) / 2, rel=0.05)
    assert back.can_return_frac == 1.0
    assert back.turn_in.low < back.turn_in.mid


def test_home_beyond_reach_says_turn_now_is_too_late():
    asked = question()
    result = reach(asked)
    far = 3 * float(np.max(result.distance_m))
    back = home_reach(asked, result.distance_m[:, 5], 5, WayBack(far, 180.0, 0.9))
    assert back.can_return_frac == 0.0
    assert back.turn_in.low == 0.0
    assert "turn for home now" in next_action(result, 5, back)


def test_the_turning_point_comes_first_where_it_is_near():
    asked = question()
    result = reach(asked)
    k = result.nearest(2.5)
    ground = result.ground_speed_mps(k)
    back = home_reach(asked, result.distance_m[:, k], k, WayBack(8_000.0, 180.0, 0.9))
    assert next_action(result, k, back).startswith("slow to")
    assert home_reach(asked, result.distance_m[:, k], k, WayBack(8_000.0, 30.0, 0.9)).homeward
    turn_in = replace(back.turn_in, low=600.0 * ground)
    near = replace(back, homeward=False, chosen=replace(back.chosen, turn_in=turn_in))
    assert next_action(result, k, near).startswith("turn for home within")
    assert next_action(result, k, replace(near, homeward=True)).startswith("slow to")


def test_distance_back_along_the_track_is_longer_than_straight():
    # by hand: a degree of longitude on the equator is 111 319.491 m; out east, then north
    lon = np.concatenate([np.linspace(0, 0.1, 50), np.full(50, 0.1)])
    lat = np.concatenate([np.zeros(50), np.linspace(0, 0.1, 50)])
    way = along_track(lat, lon, (0.0, 0.0))
    assert way == pytest.approx(11131.949 + 11057.439, rel=2e-3)
    assert way > geodesic(0.1, 0.1, 0.0, 0.0)[0]
    assert along_track(np.array([np.nan]), np.array([0.0]), (0.0, 0.0)) is None


def test_time_until_the_turn_is_distance_over_ground_speed():
    asked = question()
    back = home_reach(asked, reach(asked).distance_m[:, 5], 5, WayBack(1000.0, 180.0, 0.9))
    assert turn_lead_s(back, 2.0) == pytest.approx(back.turn_in.low / 2.0)


def test_a_fair_stream_out_is_foul_home():
    asked = question(stream=given(0.6, 0.0, sd_mps=0.01))
    result = reach(asked)
    k = result.nearest(2.0)
    back = home_reach(asked, result.distance_m[:, k], k, WayBack(3000.0, 180.0, 0.9))
    still = home_reach(
        question(), reach(question()).distance_m[:, k], k, WayBack(3000.0, 180.0, 0.9)
    )
    assert back.turn_in.low < still.turn_in.low


def test_the_stream_home_may_be_the_same_reversed_or_by_a_table():
    """North at 0.6 m/s now and for an hour; then, by the table, south at 0.6 m/s."""
    asked = question(stream=given(0.6, 0.0, sd_mps=1e-6))
    k = reach(asked).nearest(2.0)
    v = float(SPEEDS[k])
    table = StreamTable(np.array([0.0, 3600.0, 3601.0]), np.zeros(3), np.array([0.6, 0.6, -0.6]))
    ground = {}
    for name, ahead in {"same": "stays", "reversed": "reversed", "table": table}.items():
        result = reach(replace(toward(asked, 180.0), ahead=ahead))
        ground[name] = result.distance(k).mid / result.duration(k).mid
        hours = result.duration(k).mid / 3600
    assert ground["same"] == pytest.approx(v - 0.6, abs=1e-3)
    assert ground["reversed"] == pytest.approx(v + 0.6, abs=1e-3)
    # by hand: one hour against it, the rest with it
    assert ground["table"] == pytest.approx(v + 0.6 * (hours - 2) / hours, abs=0.03)


def test_next_action_names_the_slower_speed_and_its_gain():
    result = reach(question())
    text = next_action(result, result.nearest(3.0))
    assert text.startswith("slow to ")
    assert "instead of" in text
    assert "kn" in text


def test_at_the_best_speed_there_is_nothing_to_gain():
    assert "go on" in next_action(reach(question(speeds_mps=np.array([2.0, 2.05]))), 1)


def test_one_knot_is_in_the_sentence():
    result = reach(question(speeds_mps=np.array([2.0, 3.2])))
    assert f"{2.0 / KN:.1f} kn" in next_action(result, 1)


def test_sun_takes_from_what_the_pack_gives():
    """60 W of hotel load, 100 W of panels: 40 W less than the motor takes, while the sun lasts."""
    asked = question(speeds_mps=np.array([3.0]), hotel_w=(60.0, 0.0), solar_w=(100.0, 0.0))
    for sun in (None, SunAhead(None)):  # no place told: it lasts for some hours
        result = reach(replace(asked, sun_ahead=sun))
        assert result.duration_s.max() < 2 * 3600.0
        assert result.total_w - result.motor_w == pytest.approx(-40.0, abs=0.5)
