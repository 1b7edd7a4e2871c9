"""What the panels may give: the clear-sky bound, scaled by what they gave today.

Source: clear-sky irradiance by Haurwitz (1945) and the sun's place through pvlib. Panels are taken
as flat on deck; losses of heat, wiring and shade are in the share that today's yield shows, or
in the usual share where nothing was measured (common practice, no source).

The short answers take the sun's height from declination and hour angle (textbook; within about
one degree, which is enough to know when it sets): pvlib costs a fifth of a second to load, which
they cannot spend. What comes in the hours and days ahead: `sun_ahead.py`.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.series.series import Series
from analyzer.series.steps import readings_per_step, whole_steps
from logger.units import DAY_S

Floats = npt.NDArray[np.float64]

STANDARD_W_M2 = 1000.0  # standard test conditions, IEC 60904

# Common practice, no source.
USUAL_SHARE, USUAL_SD = 0.45, 0.20  # of clear sky x rated power: clouds, shade, heat
# Where nothing is measured: clouds and tilt, of clear sky x rated power; and of rated power where
# the time of day is not known. Assumed.
UNMEASURED_SD, UNDATED_SHARE = 0.30, 0.2
LEAST_CLEAR_W_M2 = 80.0  # below this today's share says nothing
STEP_S = 600.0

SUNSET_STEP_S = 300.0  # twilight lasts longer; assumed
FLAT = 1.2  # most that panels yield over flat ones under a clear sky, mean of hours: assumed
# The end of nautical twilight, by definition 12° under the horizon: no panel gives then.
NIGHT_SINE = -0.208


def clear_sky_w_m2(latitude_deg: float, longitude_deg: float, t_s: Floats) -> Floats:
    """Global irradiance on a level surface under a clear sky at UTC times, shape of `t_s`."""
    import pandas as pd
    import pvlib

    times = pd.to_datetime(np.asarray(t_s), unit="s", utc=True)
    place = pvlib.location.Location(latitude_deg, longitude_deg)
    sky = place.get_clearsky(pd.DatetimeIndex(times), model="haurwitz")
    return np.asarray(sky["ghi"].to_numpy(), dtype=np.float64)


def share_today(
    series: Series, peak_w: float, latitude_deg: float, longitude_deg: float
) -> tuple[float, float]:
    """Mean share of the clear-sky bound that the panels gave, and its sd for the hours ahead."""
    power = series.get("solar_power_w")
    per = readings_per_step(STEP_S, series.step_s)
    mean = whole_steps(power, per).mean(axis=1)
    t_s = whole_steps(series.t_utc_s, per).mean(axis=1)
    ok = np.isfinite(mean)
    if not ok.any() or peak_w <= 0:
        return USUAL_SHARE, USUAL_SD
    clear = clear_sky_w_m2(latitude_deg, longitude_deg, t_s[ok])
    bright = clear > LEAST_CLEAR_W_M2
    if bright.sum() < 3:
        return USUAL_SHARE, USUAL_SD
    share = mean[ok][bright] / (clear[bright] / STANDARD_W_M2 * peak_w)
    return float(share.mean()), float(max(share.std(), 0.12))


@dataclass(frozen=True)
class ClearSkySun:
    """Panels' power ahead: clear sky from a table, times each draw's share."""

    t_s: Floats
    clear_w: Floats  # rated power under a clear sky
    share: Floats  # (n,)

    @classmethod
    def ahead(
        cls,
        peak_w: float,
        place: tuple[float, float],
        span_s: tuple[float, float],
        share: tuple[float, float],
        n: int,
        rng: np.random.Generator,
    ) -> "ClearSkySun":
        """Between two times at a place (latitude, longitude)."""
        t_s = np.arange(span_s[0], span_s[1] + STEP_S, STEP_S)
        clear = clear_sky_w_m2(place[0], place[1], t_s) / STANDARD_W_M2 * peak_w
        drawn = np.clip(share[0] + share[1] * rng.standard_normal(n), 0.0, 1.1)
        return cls(t_s, clear, drawn)

    def take(self, which: npt.NDArray[np.int64]) -> "ClearSkySun":
        """The draws picked by index."""
        return ClearSkySun(self.t_s, self.clear_w, self.share[which])

    def at(self, t_s: Floats) -> Floats:
        """Power at each draw's own time, (n,). [W]"""
        return np.asarray(self.share * np.interp(t_s, self.t_s, self.clear_w))


def sine_of_height(latitude_deg: float, longitude_deg: float, utc_s: Floats) -> Floats:
    """Sine of the sun's height over the horizon at UTC times, shape of `utc_s`."""
    days = utc_s / 86400.0 - 10957.5  # since 2000-01-01 12:00
    anomaly = np.radians(357.529 + 0.98560028 * days)
    longitude = np.radians(280.459 + 0.98564736 * days)
    apparent = longitude + np.radians(1.915) * np.sin(anomaly)
    tilt = np.radians(23.44)
    declination = np.arcsin(np.sin(tilt) * np.sin(apparent))
    right_ascension = np.arctan2(np.cos(tilt) * np.sin(apparent), np.cos(apparent))
    sidereal = np.radians(280.46062 + 360.98564737 * days + longitude_deg)
    hour = sidereal - right_ascension
    lat = np.radians(latitude_deg)
    at_noon = np.cos(lat) * np.cos(declination)
    up = np.sin(lat) * np.sin(declination) + at_noon * np.cos(hour)
    return np.asarray(up)


def haurwitz_w_m2(sine: Floats) -> Floats:
    """Irradiance on a level surface under a clear sky, by the sine of the sun's height; its shape.

    Source: 1098 W/m2 x sin h x exp(-0.057 / sin h), Haurwitz 1945.
    """
    up = np.maximum(sine, 1e-3)
    return np.where(sine > 0, 1098.0 * up * np.exp(-0.057 / up), 0.0)


def unmeasured_sun_w(
    peak_w: float, place: tuple[float, float] | None, utc_s: float | None
) -> tuple[float, float]:
    """(mean, sd) of what panels give now that no meter shows. [W]

    The usual share of a clear sky, as wide as clouds from overcast to none and panels of any tilt
    have it; without place or date of any time of the day.

    Source of the clear sky: see `haurwitz_w_m2`.
    """
    if peak_w <= 0:
        return 0.0, 0.0
    if place is None or utc_s is None:
        return UNDATED_SHARE * peak_w, UNDATED_SHARE * peak_w
    sine = float(sine_of_height(place[0], place[1], np.array(utc_s)))
    if sine <= 0:
        return 0.0, 0.0
    clear_w = float(haurwitz_w_m2(np.array(sine))) / STANDARD_W_M2 * peak_w
    return USUAL_SHARE * clear_w, UNMEASURED_SD * clear_w


def until_sunset_s(latitude_deg: float, longitude_deg: float, utc_s: float) -> float | None:
    """Time until the sun is below the horizon, to five minutes; None by night. [s]"""
    ahead_s = np.arange(0.0, DAY_S, SUNSET_STEP_S)
    sine = sine_of_height(latitude_deg, longitude_deg, utc_s + ahead_s)
    down = np.flatnonzero(sine <= 0.0)
    if not len(down):
        return DAY_S
    return float(ahead_s[down[0]]) if down[0] > 0 else None
