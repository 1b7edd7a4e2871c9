"""The sun of the days ahead: how its share of a clear sky goes on, and what is known of it now."""

from datetime import UTC, datetime

import numpy as np
import pytest

from analyzer.environment.solar import haurwitz_w_m2, sine_of_height
from analyzer.environment.sun_ahead import HOURS, SKY_MEMORY_H, SunAhead, SunPaths

NOON = datetime(2026, 6, 1, 12, tzinfo=UTC).timestamp()
PLACE = (30.0, 0.0)  # high sun: the share is seldom cut off
PEAK_W = 400.0
N = 20_000


def clear_w(hours, at=NOON):
    return haurwitz_w_m2(sine_of_height(*PLACE, at + 3600.0 * np.asarray(hours))) / 1000 * PEAK_W


def shares(ahead, now_w):
    paths = ahead.paths_w(np.full(N, now_w), np.random.default_rng(1))
    return paths[:, ahead.clear_w > 1.0] / ahead.clear_w[ahead.clear_w > 1.0]


def test_now_is_what_is_measured_and_nights_give_nothing():
    ahead = SunAhead.at(PLACE, NOON, PEAK_W, 150.0)
    paths = ahead.paths_w(np.linspace(50.0, 250.0, 9), np.random.default_rng(1))
    assert paths[:, 0] == pytest.approx(np.linspace(50.0, 250.0, 9))
    assert not paths[:, HOURS == 12.0].any()
    assert paths[:, HOURS == 24.0].any()


def test_means_of_ten_hours_a_day_apart_correlate_as_daily_clearness_does():
    # 0.29: Graham, Hollands and Huget 1988 (figure from memory); means by double sums
    hours = np.arange(0.05, 10.0, 0.1)
    apart = hours[:, None] - hours
    same, next_day = (np.exp(-np.abs(apart + later) / SKY_MEMORY_H).mean() for later in (0.0, 24.0))
    assert next_day / same == pytest.approx(0.29, abs=0.005)


def test_the_sky_forgets_and_the_panels_do_not():
    # 5/9 of what is off stays, 4/9 fades with the sky's memory: normal conditioning by hand
    now_w = 0.6 * float(clear_w(0.0))
    ahead = SunAhead.at(PLACE, NOON, PEAK_W, now_w)
    mean_w = ahead.paths_w(np.full(N, now_w), np.random.default_rng(2)).mean(axis=0)
    for hour in (1.0, 3.0):
        want = 0.45 + 0.15 * (5 / 9 + 4 / 9 * np.exp(-hour / SKY_MEMORY_H))
        assert mean_w[hour == HOURS][0] / clear_w(hour) == pytest.approx(want, abs=0.004)


def test_a_share_goes_half_way_back_to_the_usual_one():
    # normal conditioning by hand: the panels keep (0.3^2 - 0.2^2) / 0.3^2 = 5/9 of what is off
    share = 0.8
    later = shares(
        SunAhead.at(PLACE, NOON, PEAK_W, share * float(clear_w(0.0))), share * float(clear_w(0.0))
    )
    assert later[:, -1].mean() == pytest.approx(0.45 + 5 / 9 * 0.35, abs=0.02)
    # what stays open: panels 0.2236 x 0.2 / 0.3 and sky 0.2
    assert later[:, -1].std() == pytest.approx(np.hypot(0.149, 0.2), abs=0.02)


def test_before_sunrise_the_day_to_come_is_a_usual_one():
    # 0.45 of a clear sky, sd 0.30, less what is cut off below nothing
    night = datetime(2026, 6, 1, 1, tzinfo=UTC).timestamp()
    rows = shares(SunAhead.at(PLACE, night, PEAK_W, 0.0), 0.0)
    assert rows[:, 10].mean() == pytest.approx(0.45, abs=0.03)
    assert rows[:, 10].std() == pytest.approx(0.28, abs=0.03)


def test_without_a_place_the_sun_counts_for_some_hours_only():
    paths = SunAhead.at(None, NOON, PEAK_W, 100.0).paths_w(np.array([100.0]), None)
    assert paths[0, HOURS == 2.0] == 100.0
    assert paths[0, HOURS == 4.0] == 0.0


@pytest.mark.parametrize(("hour", "placed"), [(18.6, True), (19.2, False)])
def test_sun_by_night_is_not_placed_by_a_place_or_clock_that_must_be_wrong(hour, placed):
    # equator at 0 east, equinox of 2026: sunset at 18:07 UTC, 15 degrees an hour straight down, so
    # 7 under the horizon at 18:36 and 16 at 19:12; nautical twilight ends at 12
    at = datetime(2026, 3, 20, tzinfo=UTC).timestamp() + 3600.0 * hour
    assert (SunAhead.at((0.0, 0.0), at, PEAK_W, 90.0).clear_w is not None) is placed
    assert SunAhead.at((0.0, 0.0), at, PEAK_W, 0.0).clear_w is not None  # no sun: nothing wrong


def test_panels_that_face_a_low_sun_do_not_give_more_than_they_can_when_it_is_high():
    # 300 W of a rated 400 at a winter's nine in the morning, where flat ones give less
    at = datetime(2026, 12, 21, 9, tzinfo=UTC).timestamp()
    ahead = SunAhead.at((46.0, 0.0), at, 400.0, 300.0)
    paths = ahead.paths_w(np.full(500, 300.0), np.random.default_rng(3))
    assert paths.max() <= 1.2 * ahead.clear_w.max()


def test_mean_power_is_the_integral_over_the_time():
    # trapezoids by numpy, of the same straight lines on a fine grid
    watts = np.random.default_rng(4).uniform(0, 300, (3, len(HOURS)))
    mean = SunPaths(watts).mean_w(np.array([[1800.0, 7000.0, 100_000.0]] * 3))
    for row, got in zip(watts, mean, strict=True):
        for seconds, value in zip((1800.0, 7000.0, 100_000.0), got, strict=True):
            fine = np.linspace(0.0, seconds / 3600, 200_001)
            want = np.trapezoid(np.interp(fine, HOURS, row), fine) / fine[-1]
            assert value == pytest.approx(want, rel=1e-4)
