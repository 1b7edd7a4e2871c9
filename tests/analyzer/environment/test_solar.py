"""The sun of the hours ahead."""

from datetime import UTC, datetime

import numpy as np
import pytest

from analyzer.environment.solar import (
    HOURS,
    mean_ahead,
    share_today,
    sine_of_height,
    unmeasured_sun_w,
    until_sunset_s,
)
from analyzer.series.series import Series


def at(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()


@pytest.mark.parametrize(
    ("place", "when"),
    [
        ((50.0, 0.0), "2026-06-01T12:00"),
        ((50.0, 0.0), "2026-12-21T09:30"),
        ((-35.0, 150.0), "2026-03-10T02:00"),
        ((0.0, -30.0), "2026-09-22T18:00"),
    ],
)
def test_height_of_the_sun_is_the_library_s(place, when):
    from astral import Observer
    from astral.sun import elevation

    want = elevation(Observer(*place), datetime.fromisoformat(when).replace(tzinfo=UTC), False)
    got = np.degrees(np.arcsin(sine_of_height(*place, np.array([at(when)]))[0]))
    assert got == pytest.approx(want, abs=0.5)


def test_a_day_s_mean_is_the_same_whenever_it_is_asked_at_one_height():
    noon = mean_ahead((50.0, 0.0), at("2026-06-01T12:00"))
    assert noon[0] == pytest.approx(1.0)
    assert 0.25 < noon[HOURS == 24.0][0] < 0.6
    assert noon[HOURS == 4.0][0] < 1.0


def test_in_the_morning_the_sun_is_still_to_come():
    assert mean_ahead((50.0, 0.0), at("2026-06-01T07:00"))[HOURS == 6.0][0] > 1.2


def test_without_a_place_the_sun_counts_for_some_hours_only():
    ahead = mean_ahead(None, 0.0)
    assert ahead[HOURS == 2.0][0] == 1.0
    assert ahead[HOURS == 40.0][0] == pytest.approx(0.1)


@pytest.mark.parametrize(("hour", "placed"), [("T18:35", True), ("T19:10", False)])
def test_sun_by_night_is_not_placed_by_a_place_or_clock_that_must_be_wrong(hour, placed):
    # equator at 0 east, equinox of 2026: sunset at 18:07 UTC, 15° an hour straight down, so 7°
    # under the horizon at 18:35 and 16° at 19:10; nautical twilight ends at 12°
    ahead = mean_ahead((0.0, 0.0), at(f"2026-03-20{hour}"))
    assert np.array_equal(ahead, mean_ahead(None, 0.0)) is not placed
    # four hours and no more, as without a place; in twilight nothing until the sun rises
    assert ahead[HOURS == 2.0][0] == (0.0 if placed else 1.0)


def test_panels_that_face_a_low_sun_do_not_give_more_than_they_are_rated_at():
    # 300 W of a rated 400 at a winter's nine in the morning: no more than 400 at the best hour
    winter = ((46.0, 0.0), at("2026-12-21T09:00"))
    assert mean_ahead(*winter)[HOURS == 3.0][0] > 1.3
    ahead = mean_ahead(*winter, rated=400 / 300)
    noon_sine = np.sin(np.radians(90 - 46 - 23.4))
    assert ahead[HOURS == 3.0][0] < 1.2 * 400 / 300 * noon_sine
    # the day's mean of the sine, (cos f cos d sin h + h sin f sin d) / pi, h where the sun sets
    assert ahead[HOURS == 24.0][0] == pytest.approx(1.2 * 400 / 300 * 0.0806, rel=0.05)
    assert np.array_equal(mean_ahead(*winter, rated=20.0), mean_ahead(*winter))


def test_panels_without_a_meter_give_the_usual_share_of_haurwitz_clear_sky():
    # equator, 20 March 2026 12:07 UTC at 0 east: the sun stands overhead (equinox 14:46 UTC), so
    # 1098 exp(-0.057) = 1037 W/m2 (Haurwitz 1945), of which 200 W panels give 207 W x 0.45
    noon_s = 1_774_008_420.0
    mean, sd = unmeasured_sun_w(200.0, (0.0, 0.0), noon_s)
    assert mean == pytest.approx(0.45 * 207.4, rel=0.01)
    assert sd == pytest.approx(mean / 0.45 * 0.30)
    assert unmeasured_sun_w(200.0, (0.0, 0.0), noon_s + 43_200.0) == (0.0, 0.0)
    assert unmeasured_sun_w(0.0, (0.0, 0.0), noon_s) == (0.0, 0.0)
    low, high = (m + k * s for k in (-1, 1) for m, s in [unmeasured_sun_w(200.0, None, None)])
    assert low <= 0.0 < high < 200.0


def test_sunset_on_the_equator_is_six_hours_after_noon_and_none_by_night():
    noon_s = 1_774_008_420.0
    assert until_sunset_s(0.0, 0.0, noon_s) == pytest.approx(6 * 3600.0, abs=600.0)
    assert until_sunset_s(0.0, 0.0, noon_s + 43_200.0) is None


@pytest.mark.filterwarnings("ignore:DatetimeIndex.dayofyear")  # pvlib's own use of pandas
def test_today_s_share_is_of_the_bright_hours_alone():
    # June at 50 degrees north: 0.6 of Haurwitz's clear sky, 1098 sin h exp(-0.057 / sin h) W/m2,
    # while that is above 80 W/m2; what panels seem to give in dimmer hours is no share of the sun
    t_s = at("2026-06-01T00:00") + np.arange(0, 86400, 60.0)
    sine = np.maximum(sine_of_height(50.0, 0.0, t_s), 1e-3)
    clear_w_m2 = 1098.0 * sine * np.exp(-0.057 / sine)
    power_w = np.where(clear_w_m2 > 80.0, 0.6 * clear_w_m2 / 1000.0 * 300.0, 40.0)
    series = Series(round(t_s[0] * 1e6), 60.0, len(t_s), {"solar_power_w": power_w})
    share, sd = share_today(series, 300.0, 50.0, 0.0)
    # ten minutes around 80 W/m2 are half of each
    assert share == pytest.approx(0.6, abs=0.02)
    assert sd == pytest.approx(0.12)
