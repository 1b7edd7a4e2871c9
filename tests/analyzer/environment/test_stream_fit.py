"""Set and drift recovered from invented legs, and refused where they cannot be told apart."""

import json

import numpy as np
import pytest

from analyzer.environment import stream_fit
from analyzer.environment.stream import (
    Calibration,
    Stream,
    StreamDraws,
    given,
    unknown,
)
from analyzer.series.series import Series
from logger.units import KN
from tests.support.hull_boat import boat
from tests.support.stream_legs import legs, off_deg


@pytest.mark.parametrize("seed", range(12))
def test_zig_zag_without_a_water_log_finds_the_stream(seed):
    # issue's bar: 0.15 kn and 10 degrees
    rng = np.random.default_rng(100 + seed)
    series, toward, size = legs(
        [40, 130] * 3,
        set_deg=rng.uniform(0, 360),
        drift_mps=rng.uniform(0.3, 1.2),
        advance_m=rng.uniform(0.08, 0.16),
        turns=rng.uniform(12, 25),
        compass_off=rng.normal(0, 2),
        seed=seed,
    )
    found = stream_fit.estimate(series)
    assert found.known
    assert abs(found.speed_mps - size) <= 0.15 * KN
    assert off_deg(found.toward_deg, toward) <= 10


def test_one_straight_leg_is_refused_with_the_reason():
    found = stream_fit.estimate(legs([40], 3600)[0])
    assert not found.known
    assert "one heading" in found.reason
    assert "opposite heading" in found.reason


def test_one_straight_leg_is_known_where_the_log_was_calibrated_before():
    series, toward, size = legs([40], 1800, log_factor=1.08)
    before = Calibration((1.08, 0.01), (0.12, 0.003), (2.0, 1.0))
    found = stream_fit.estimate(series, before=before)
    assert found.known
    assert abs(found.speed_mps - size) <= 0.2 * KN
    assert off_deg(found.toward_deg, toward) <= 15


def test_a_short_reciprocal_run_is_enough():
    series, toward, size = legs([40, 220], 240)
    found = stream_fit.estimate(series)
    assert found.known
    assert abs(found.speed_mps - size) <= 0.15 * KN
    assert off_deg(found.toward_deg, toward) <= 10


def test_three_headings_without_a_compass_find_the_stream():
    series, toward, size = legs([40, 160, 280], heading=False)
    found = stream_fit.estimate(series)
    assert found.known
    assert found.calibration.compass_error_deg is None
    assert abs(found.speed_mps - size) <= 0.2 * KN
    assert off_deg(found.toward_deg, toward) <= 12


def test_calibration_of_log_propeller_and_compass_is_found_beside_it():
    found = stream_fit.estimate(legs([40, 130, 220, 310], log_factor=1.10)[0]).calibration
    assert found.water_factor[0] == pytest.approx(1.10, abs=0.03)
    assert found.advance_m[0] == pytest.approx(0.12, abs=0.004)
    assert found.compass_error_deg[0] == pytest.approx(2.0, abs=1.5)


@pytest.mark.parametrize(
    ("missing", "told"),
    [
        ("speed_ground_mps", "speed and course over ground"),
        ("shaft_speed_rps", "speed through water"),
    ],
)
def test_it_says_what_is_missing(missing, told):
    series = legs([40])[0]
    values = {k: v for k, v in series.values.items() if k != missing}
    found = stream_fit.estimate(Series(0, 1.0, series.n, values))
    assert not found.known
    assert told in found.reason


@pytest.mark.parametrize("seconds", [1, 35, 65, 95])
def test_a_log_of_a_minute_is_no_fault(seconds):
    series = legs([40])[0].cut(0, seconds)
    assert not stream_fit.estimate(series, boat()).known


def test_missing_stretches_are_skipped():
    series, toward, size = legs([40, 130] * 3)
    values = {k: v.copy() for k, v in series.values.items()}
    values["course_ground_deg"][500:900] = np.nan
    values["heading_true_deg"][1700:2000] = np.nan
    found = stream_fit.estimate(Series(0, 1.0, series.n, values))
    assert abs(found.speed_mps - size) <= 0.15 * KN
    assert off_deg(found.toward_deg, toward) <= 10


@pytest.mark.parametrize("sailed_rps", [6.0, 14.0], ids=["regenerating", "sails help"])
def test_a_shaft_that_others_drive_too_tells_nothing_of_the_stream(sailed_rps):
    """The last two legs under sail at the same speed, the propeller turned or hardly loaded."""
    series, toward, size = legs([40, 130] * 3)
    values = {k: v.copy() for k, v in series.values.items()}
    sailed = np.arange(series.n) >= 2400
    values["shaft_speed_rps"][sailed] = sailed_rps
    motor_w = np.where(sailed, -100.0 if sailed_rps < 10 else 350.0, 1500.0)
    values["pack_voltage_v"] = np.full(series.n, 52.0)
    values["pack_current_a"] = motor_w / 52.0
    log = Series(0, 1.0, series.n, values)
    found, misled = stream_fit.estimate(log, boat()), stream_fit.estimate(log)
    angle = np.radians(toward)
    true = size * np.array([np.sin(angle), np.cos(angle)])
    off = found.mean_mps[-1] - true
    # unseen for the last twenty minutes: inside its own range, chi squared of 2, 95 %
    assert off @ np.linalg.solve(found.cov[-1], off) < 5.99
    assert abs(found.speed_mps - size) <= 0.2 * KN
    assert np.hypot(*off) < np.hypot(*(misled.mean_mps[-1] - true))


@pytest.mark.parametrize("leeway_deg", [-6.0, 6.0])
def test_leeway_under_sail_is_allowed_for(leeway_deg):
    """Two legs under sail at the end, the boat sliding sideways past its log and compass."""
    series, toward, size = legs([40, 130] * 3, log_factor=1.05)
    values = {k: v.copy() for k, v in series.values.items()}
    sailed = np.arange(series.n) >= 2400
    bow = np.radians(values["heading_true_deg"] + 90.0)
    slide = np.where(sailed, 0.12 * 18.0 * np.sin(np.radians(leeway_deg)), 0.0)
    course = np.radians(values["course_ground_deg"])
    east = values["speed_ground_mps"] * np.sin(course) + slide * np.sin(bow)
    north = values["speed_ground_mps"] * np.cos(course) + slide * np.cos(bow)
    values["speed_ground_mps"] = np.hypot(east, north)
    values["course_ground_deg"] = np.degrees(np.arctan2(east, north)) % 360
    values["shaft_speed_rps"][sailed] = 0.0
    found = stream_fit.estimate(Series(0, 1.0, series.n, values))
    angle = np.radians(toward)
    off = found.mean_mps[-1] - size * np.array([np.sin(angle), np.cos(angle)])
    assert off @ np.linalg.solve(found.cov[-1], off) < 5.99  # chi squared of 2, 95 %


def test_draws_have_the_estimate_s_spread():
    stream = given(0.5, 90.0, sd_mps=0.1)
    east, north = stream.draws(20_000, np.random.default_rng(1))
    assert east.mean() == pytest.approx(0.5, abs=0.01)
    assert north.mean() == pytest.approx(0.0, abs=0.01)
    assert east.std() == pytest.approx(0.1, rel=0.05)


def test_a_stream_at_any_tide_keeps_its_strength_and_its_steady_part():
    rng = np.random.default_rng(3)
    parts = np.zeros((4000, 2, 4))
    parts[:, 0] = (0.2, 0.6, 0.0, 0.0)  # east: steady 0.2 and a tide of 0.6 m/s
    any_tide = StreamDraws(parts, np.zeros(4000), np.zeros((4000, 2))).at_any_tide(rng)
    assert np.hypot(any_tide.parts[:, 0, 1], any_tide.parts[:, 0, 2]) == pytest.approx(0.6)
    east, north = any_tide.now()
    assert east.mean() == pytest.approx(0.2, abs=0.03)
    assert east.std() == pytest.approx(0.6 / np.sqrt(2), rel=0.03)  # of a sine
    assert not north.any()


def test_stream_survives_json():
    stream = stream_fit.estimate(legs([40, 130])[0])
    again = Stream.from_dict(json.loads(json.dumps(stream.to_dict())))
    assert again.toward_deg == pytest.approx(stream.toward_deg)
    assert again.sd_mps == pytest.approx(stream.sd_mps)
    assert again.calibration == stream.calibration


def test_an_unknown_stream_has_no_direction():
    assert unknown("why").toward_sd_deg == 180.0
