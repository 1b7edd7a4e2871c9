"""The sun's height, a clear sky, and what panels without a meter give."""

from datetime import UTC, datetime

import numpy as np
import pytest

from analyzer.environment.solar import (
    ClearSkySun,
    haurwitz_w_m2,
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


def test_clear_sky_is_the_library_s():
    # pvlib's own Haurwitz, from the sun's zenith
    import pandas as pd
    from pvlib.clearsky import haurwitz

    zenith_deg = pd.Series([0.0, 35.0, 60.0, 80.0, 95.0])
    want = haurwitz(zenith_deg)["ghi"].to_numpy()
    got = haurwitz_w_m2(np.cos(np.radians(zenith_deg.to_numpy())))
    assert got == pytest.approx(want, rel=0.02)  # it writes 0.059 where others have 0.057


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


@pytest.mark.filterwarnings("ignore:DatetimeIndex.dayofyear")  # pvlib's own use of pandas
def test_the_sun_ahead_is_haurwitz_at_astral_s_height_times_each_draw_s_share():
    from astral import Observer
    from astral.sun import elevation

    place, from_s, n = (50.0, -20.0), at("2026-06-01T08:00"), 20_000
    share = (0.5, 0.1)
    sun = ClearSkySun.ahead(
        300.0, place, (from_s, from_s + 6 * 3600.0), share, n, np.random.default_rng(1)
    )
    for hours in (0.0, 2.5, 6.0):
        when = datetime.fromtimestamp(from_s + 3600.0 * hours, UTC)
        sine = np.sin(np.radians(elevation(Observer(*place), when, False)))
        clear_w = 300.0 * 1.098 * sine * np.exp(-0.057 / sine)
        power_w = sun.at(np.full(n, from_s + 3600.0 * hours))
        assert power_w.mean() == pytest.approx(0.5 * clear_w, rel=0.02)
        assert power_w.std() == pytest.approx(0.1 * clear_w, rel=0.03)
