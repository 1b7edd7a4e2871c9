"""How far the sun of this moment will carry into the hours ahead.

Source: the sun's height from declination and hour angle (textbook; within about one degree, which
is enough to know when it sets; the library that the pages use costs a fifth of a second to load).
"""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

HOURS = np.arange(0.0, 72.5, 0.5)
LEAST_SINE = 0.10  # a sun lower than this is no measure of the day to come
MOST = 2.0
FLAT = 1.2  # most that panels yield over flat ones under a clear sky, on the mean of hours
WITHOUT_PLACE_H = 4.0  # where the place is not known the sun counts for this long


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
    up = np.sin(lat) * np.sin(declination) + np.cos(lat) * np.cos(declination) * np.cos(hour)
    return np.asarray(up)


def mean_ahead(
    place: tuple[float, float] | None, utc_s: float, rated: float | None = None
) -> Floats:
    """Mean sun from now to each of `HOURS`, over the sun now; shape of `HOURS`.

    Args:
        place: Latitude and longitude; None: the sun counts for four hours and then no more.
        rated: What the panels are rated at, over what they give now, where that is known: a panel
            that faces a low sun gives much now, but not that much more when the sun is high.
    """
    if place is None:
        return np.asarray(np.minimum(1.0, WITHOUT_PLACE_H / np.maximum(HOURS, 1e-9)))
    up = np.maximum(sine_of_height(place[0], place[1], utc_s + 3600.0 * HOURS), 0.0)
    total = np.concatenate([[0.0], np.cumsum((up[1:] + up[:-1]) / 2)])
    mean = np.where(HOURS > 0, total / np.maximum(np.arange(len(HOURS)), 1), up[0])
    share = np.minimum(mean / max(float(up[0]), LEAST_SINE), MOST)
    return np.asarray(share if rated is None else np.minimum(share, FLAT * rated * mean))
