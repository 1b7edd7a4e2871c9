"""What the panels may give: the clear-sky bound, scaled by what they gave today.

Source: clear-sky irradiance by Haurwitz (1945) and the sun's place through pvlib. Panels are taken
as flat on deck; losses of heat, wiring and shade are in the share that today's yield shows, or
in the usual share where nothing was measured (common practice, no source).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.series.series import Series

Floats = npt.NDArray[np.float64]

STANDARD_W_M2 = 1000.0
USUAL_SHARE, USUAL_SD = 0.45, 0.20  # of clear sky x rated power: clouds, shade, heat
LEAST_CLEAR_W_M2 = 80.0  # below this today's share says nothing
STEP_S = 600.0


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
    step = max(round(STEP_S / series.step_s), 1)
    whole = series.n // step * step
    mean = power[:whole].reshape(-1, step).mean(axis=1)
    t_s = series.t_utc_s[:whole].reshape(-1, step).mean(axis=1)
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

    def at(self, t_s: Floats) -> Floats:
        """Power at each draw's own time, (n,). [W]"""
        return np.asarray(self.share * np.interp(t_s, self.t_s, self.clear_w))
