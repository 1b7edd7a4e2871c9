"""What wind and sea do on another course, against the vectors and the drag law written out."""

from dataclasses import replace

import numpy as np
import pytest

from analyzer.environment.stream_table import StreamTable, TableStream
from analyzer.environment.wind import (
    Air,
    Wind,
    any_wind_log_sd,
    extra_n,
    extra_w,
    lately,
    sea_share,
    true_wind,
)
from analyzer.range.monte_carlo import Now, aside_on, draw
from analyzer.range.passage import Surroundings, begin, draw_boats, walk_leg
from analyzer.range.reach import reach
from analyzer.range.route import Leg, Route
from analyzer.series.series import Series
from tests.support.range_inputs import cubic_curve, range_input

AIR_KG_M3, DRAG, BATTERY_TO_TOW = 1.225, 0.9, 0.41  # standard atmosphere; the module's docstring
LEAST_LEFT = 0.3  # of the still-air power, in the strongest wind from astern


def toward(angle_deg: float) -> np.ndarray:
    """Unit vector (east, north) toward a true direction."""
    return np.array([np.sin(np.radians(angle_deg)), np.cos(np.radians(angle_deg))])


def drag_n(area, wind, source, course, speed) -> float:
    """Drag of the apparent wind along the bow, less that of the boat's own way in still air."""
    apparent = wind * toward(source + 180) - speed * toward(course)
    ahead = -float(apparent @ toward(course))
    return 0.5 * AIR_KG_M3 * DRAG * area * (ahead * abs(ahead) - speed**2)


def power_in_wind(still, area, wind, source, sea, course, speed) -> float:
    """Power on a course, from that in still air; waves only from ahead."""
    added = drag_n(area, wind, source, course, speed) * speed / BATTERY_TO_TOW
    ahead = max(float(toward(source) @ toward(course)), 0.0)
    return still + max(added, (LEAST_LEFT - 1) * still) + still * sea * wind**2 * ahead


def still_of(power, *air_and_course) -> float:
    """Power in still air that gives what is measured, by halving."""
    low, high = LEAST_LEFT * power, 20.0 * power
    for _ in range(45):
        mid = (low + high) / 2
        low, high = (mid, high) if power_in_wind(mid, *air_and_course) < power else (low, mid)
    return low


def some_air(n: int, seed: int = 2, most_mps: float = 7.0) -> Air:
    rng = np.random.default_rng(seed)
    return Air(
        rng.uniform(0.0, most_mps, n),
        rng.uniform(0.0, 360.0, n),
        rng.uniform(1.0, 6.0, n),
        rng.uniform(0.0, 0.005, n),
        0.4,
    )


def test_force_is_the_triangles_drag():
    rng = np.random.default_rng(1)
    for _ in range(200):
        area, wind, source, course, speed = rng.uniform([1, 0, 0, 0, 0.5], [8, 15, 360, 360, 4])
        force = float(extra_n(area, wind, source - course, speed))
        assert force == pytest.approx(drag_n(area, wind, source, course, speed), abs=1e-9)


@pytest.mark.parametrize("course", [0.0, 77.0, 200.0, 311.0])
def test_power_on_a_course_and_back_to_still_air(course):
    n, speed, still = 150, 2.1, 900.0
    air = some_air(n)
    added = air.added_w(course, np.full((n, 1), speed), np.full((n, 1), still))[:, 0]
    each = zip(air.area_m2, air.wind_mps, air.from_deg, air.sea, strict=True)
    want = [power_in_wind(still, a, w, s, sea, course, speed) for a, w, s, sea in each]
    np.testing.assert_allclose(still + added, want, rtol=1e-10)
    measured = np.array(want)[:, None]
    found = air.still_w(course, np.full((n, 1), speed), measured)[:, 0]
    each = zip(want, air.area_m2, air.wind_mps, air.from_deg, air.sea, strict=True)
    back = [still_of(p, a, w, s, sea, course, speed) for p, a, w, s, sea in each]
    np.testing.assert_allclose(found, back, rtol=1e-9)


def test_wind_from_astern_leaves_the_least_share():
    air = Air(np.array([25.0]), np.array([180.0]), np.array([8.0]), np.array([0.004]), 0.4)
    speed, still = np.array([[2.0]]), np.array([[500.0]])
    assert still + air.added_w(0.0, speed, still) == pytest.approx(LEAST_LEFT * 500.0)
    assert extra_w(np.array(-1e5), speed, still) == pytest.approx((LEAST_LEFT - 1) * 500.0)
    head = Air(np.array([25.0]), np.array([0.0]), np.array([8.0]), np.array([0.004]), 0.4)
    assert head.still_w(0.0, speed, still) == pytest.approx(LEAST_LEFT * 500.0)


@pytest.mark.parametrize("turn", [35.0, 90.0, 150.0, 180.0, 262.0])
def test_another_course_is_the_present_power_with_its_wind_taken_off_and_the_new_put_on(turn):
    n, speed, power, course = 300, 2.2, 1150.0, 40.0
    present = Now(speed, course, power, log_sd=1e-7)
    given = range_input(n, now=present, curve=cubic_curve(0.3), course_deg=course + turn)
    rng = np.random.default_rng(4)
    draws = draw(given, some_air(n), np.zeros(n), n, rng)
    at = np.full((n, 1), speed)
    still = np.exp(given.curve.read_each(draws.log_power, at))
    found = (still + draws.air.added_w(course + turn, at, still))[:, 0]
    for i in range(n):
        a = draws.air
        boat = (a.area_m2[i], a.wind_mps[i], a.from_deg[i], a.sea[i])
        calm = still_of(power, *boat, course, speed)
        assert found[i] == pytest.approx(power_in_wind(calm, *boat, course + turn, speed), rel=2e-4)


def test_range_on_another_course_against_brute_force():
    n, speed, power = 5_000, 2.2, 1150.0
    wind = Wind(6.0, 20.0, sd_mps=0.8)
    given = range_input(
        n, wind=wind, windage_m2=3.0, now=Now(speed, 0.0, power, log_sd=1e-6), course_deg=180.0,
        curve=cubic_curve(0.25), speeds_mps=np.array([speed, 3.0]),
    )  # fmt: skip
    rng = np.random.default_rng(9)
    blows = np.maximum(6.0 + 0.8 * rng.standard_normal(n), 0.0)
    area = 3.0 * np.exp(0.3 * rng.standard_normal(n))  # spread of windage: the module's docstring
    sea = rng.uniform(0.0, 0.005, n)
    each = list(zip(area, blows, sea, strict=True))
    still = np.array([still_of(power, a, w, 20.0, s, 0.0, speed) for a, w, s in each])
    likely = np.exp(-0.5 * (np.log(still / (100 * speed**3)) / 0.25) ** 2)
    rows = zip(still, each, strict=True)
    there = np.array([power_in_wind(p, a, w, 20.0, s, 180.0, speed) for p, (a, w, s) in rows])
    motor = reach(given).motor_w[:, 0]
    mean = np.average(there, weights=likely)
    spread = np.sqrt(np.average((there - mean) ** 2, weights=likely) + (0.03 * mean) ** 2)
    # three standard errors of two samples of 5,000: of a mean 0.06 spreads, of a spread 0.042
    assert motor.mean() == pytest.approx(mean, abs=0.06 * spread)
    assert motor.std() == pytest.approx(spread, rel=0.06)


# share of the weather's part that goes along with a turn: 0.8 of the courses' cosine, and 0.6 of
# that where it turns round (assumed, draws.py); from a cosine of 0.9 on the courses are one
KEPT = [(0.0, 1.0), (20.0, 1.0), (40.0, 0.8 * np.cos(np.radians(40))), (60.0, 0.4), (90.0, 0.0),
        (120.0, -0.24), (180.0, -0.48), (240.0, -0.24), (335.0, 1.0)]  # fmt: skip


@pytest.mark.parametrize(("turn", "kept"), KEPT)
def test_unexplained_weather_on_another_course_keeps_its_spread(turn, kept):
    n, leg_sd, left = 100_000, 0.2, 0.4
    given = range_input(
        8, now=Now(2.0, 10.0, 900.0), course_deg=10.0 + turn, curve=cubic_curve(leg_sd=leg_sd)
    )
    base = draw(given, some_air(8), np.zeros(8), 8, np.random.default_rng(1))
    rng = np.random.default_rng(2)
    aside = left * leg_sd * rng.standard_normal(n)
    on = aside_on(replace(base, aside=aside), given, rng)[:, 0]
    assert np.cov(on, aside)[0, 1] / aside.var() == pytest.approx(kept, abs=0.015)
    assert on.std() == pytest.approx(left * leg_sd, rel=0.01)


def test_without_a_present_course_the_weather_stays_as_drawn():
    given = range_input(50, curve=cubic_curve(leg_sd=0.2), course_deg=120.0)
    draws = draw(given, some_air(50), np.zeros(50), 50, np.random.default_rng(1))
    np.testing.assert_array_equal(
        aside_on(draws, given, np.random.default_rng(3))[:, 0], draws.aside
    )


def test_a_wind_that_becomes_another_adds_its_vectors_and_keeps_its_spread():
    one, other = some_air(200, 1), some_air(200, 2)
    kept = np.linspace(0.0, 1.0, 200)
    mixed = one.become(other, (kept, np.sqrt(1 - kept**2)))
    for i, share in enumerate(kept):
        want = share * one.wind_mps[i] * toward(one.from_deg[i])
        want = want + np.sqrt(1 - share**2) * other.wind_mps[i] * toward(other.from_deg[i])
        np.testing.assert_allclose(mixed.wind_mps[i] * toward(mixed.from_deg[i]), want, atol=1e-9)


def test_any_wind_is_the_spread_over_winds_and_directions():
    # eight equally likely winds of a Weibull distribution of shape 2 and scale 5 m/s, from twelve
    # directions; waves at half the roughest sea
    winds = 5.0 * np.sqrt(-np.log(1 - (np.arange(8) + 0.5) / 8))
    got = any_wind_log_sd(3.5, np.array([1.5, 2.5]), np.array([400.0, 1500.0]))
    for k, (speed, still) in enumerate([(1.5, 400.0), (2.5, 1500.0)]):
        logs = [
            np.log(power_in_wind(still, 3.5, w, s, 0.0025, 0.0, speed) / still)
            for w in winds
            for s in range(0, 360, 30)
        ]
        assert got[k] == pytest.approx(np.std(logs), rel=1e-9)
    assert sea_share(0.005, 6.0, 120.0) == 0.0


def sailing_log(n: int = 400, measured: str = "apparent") -> tuple[Series, np.ndarray, np.ndarray]:
    """A log with a wind that is known, seen from a boat that yaws and makes leeway."""
    rng = np.random.default_rng(6)
    heading, course = rng.uniform(0, 360, n), rng.uniform(0, 360, n)
    made, wind, source = rng.uniform(0, 3, n), rng.uniform(1, 9, n), rng.uniform(0, 360, n)
    true = np.array([w * toward(s + 180) for w, s in zip(wind, source, strict=True)])
    way = np.array([v * toward(c) for v, c in zip(made, course, strict=True)])
    seen = true - way
    comes_from = np.degrees(np.arctan2(-seen[:, 0], -seen[:, 1]))
    values = {"course_ground_deg": course, "speed_ground_mps": made}
    if measured == "apparent":
        values["wind_speed_apparent_mps"] = np.hypot(*seen.T)
        values["wind_angle_apparent_deg"] = comes_from - heading
    else:
        values |= {"wind_speed_true_mps": wind, "wind_direction_true_deg": source}
    return Series(0, 10.0, n, values), heading, true


@pytest.mark.parametrize("measured", ["apparent", "true"])
def test_true_wind_closes_the_triangle(measured):
    log, heading, true = sailing_log(measured=measured)
    np.testing.assert_allclose(np.transpose(true_wind(log, heading)), true, atol=1e-9)
    found = lately(log, heading)
    mean = true[-120:].mean(axis=0)  # twenty minutes of 10 s
    assert found is not None
    assert found.speed_mps == pytest.approx(np.hypot(*mean))
    np.testing.assert_allclose(found.speed_mps * toward(found.from_deg + 180), mean, atol=1e-9)
    assert found.sd_mps == pytest.approx(0.5 + 0.1 * found.speed_mps)


def test_a_wind_seldom_measured_is_none():
    log, heading, _ = sailing_log()
    speed = log.values["wind_speed_apparent_mps"]
    for last, known in ((24, True), (23, False)):  # a fifth of 120 samples is 24
        seldom = np.where(np.arange(400) >= 400 - last, speed, np.nan)
        values = {**log.values, "wind_speed_apparent_mps": seldom}
        assert (lately(replace(log, values=values), heading) is not None) == known


def test_weather_still_to_come_is_one_for_all_speeds_of_a_draw():
    motor = reach(range_input(300, speeds_mps=np.array([1.2, 2.4]))).motor_w
    # 3 % of a passage (assumed, reach.py), the power itself as the cube of the speed
    np.testing.assert_allclose(motor[:, 1] / motor[:, 0], 8.0, rtol=1e-3)
    assert np.log(motor[:, 0]).std() == pytest.approx(0.03, rel=0.1)


def test_a_measured_wind_fades_by_the_middle_of_each_piece_of_a_leg():
    n, lasts_s, since_s = 40, 1_500.0, 200.0
    wind = Wind(6.0, 30.0, sd_mps=0.0, lasts_s=lasts_s)
    given = range_input(n, wind=wind, windage_m2=3.0)
    leg = Leg("", 900.0, 75.0, 0.0, 0.0)
    calm = StreamTable(np.zeros(1), np.zeros(1), np.zeros(1))
    water = TableStream(calm, np.ones(n), np.zeros((n, 2)))
    boats = draw_boats(given, Route("", (leg,)), Surroundings(water, log_end_s=since_s))
    end = walk_leg(boats, 0, leg, 1.5, begin(boats, 500.0))
    np.testing.assert_allclose(end.t_s, 500.0 + 900.0 / 1.5)
    kept = np.exp(-(800.0 - since_s) / lasts_s)  # half way through
    for i in range(n):
        blows = kept * boats.air.wind_mps[i] * toward(boats.air.from_deg[i])
        rest = np.sqrt(1 - kept**2)
        blows = blows + rest * boats.later.wind_mps[i] * toward(boats.later.from_deg[i])
        source = np.degrees(np.arctan2(*blows))
        still = 100 * 1.5**3 * np.exp(boats.weather[i, 0])
        area, sea = boats.air.area_m2[i], boats.air.sea[i]
        power = power_in_wind(still, area, np.hypot(*blows), source, sea, 75.0, 1.5)
        assert end.energy_wh[i] == pytest.approx(power * 600.0 / 3600, rel=2e-3)
