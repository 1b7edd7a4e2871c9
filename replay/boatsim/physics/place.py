"""Stream, wind, sun and compass at the invented place.

The place is open ocean where no land is: harbour, bank and stream are invented.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

TIDE_S = 44714.0  # M2, the moon's half day, 12 h 25 min 14 s: published period
EARTH_M = 6371008.8  # mean radius of the WGS 84 ellipsoid


@dataclass(frozen=True)
class Place:
    """Where the outing lies on Earth."""

    latitude_deg: float
    longitude_deg: float
    variation_deg: float


@dataclass(frozen=True)
class Stream:
    """A stream that turns and waxes within the tide.

    east and north are Fourier terms (mean, cosine, sine) over M2, so the tip of the arrow runs
    round an ellipse. eddy_mps: size of slow random departures (20 min).
    """

    east: tuple[float, float, float]
    north: tuple[float, float, float]
    eddy_mps: float = 0.03

    def at(self, t_s: Floats) -> tuple[Floats, Floats]:
        """East and north set, without eddies. [m/s]"""
        angle = 2 * math.pi * t_s / TIDE_S
        c, s = np.cos(angle), np.sin(angle)
        return (
            self.east[0] + self.east[1] * c + self.east[2] * s,
            self.north[0] + self.north[1] * c + self.north[2] * s,
        )


def stream_through(
    t_s: tuple[float, float], speed_mps: tuple[float, float], toward_deg: tuple[float, float]
) -> Stream:
    """The stream of zero mean that has these speeds and directions at two times."""
    a = np.array([[math.cos(2 * math.pi * t / TIDE_S), math.sin(2 * math.pi * t / TIDE_S)]
                  for t in t_s])  # fmt: skip
    way = np.radians(np.array(toward_deg))
    east = np.linalg.solve(a, np.array(speed_mps) * np.sin(way))
    north = np.linalg.solve(a, np.array(speed_mps) * np.cos(way))
    return Stream((0.0, float(east[0]), float(east[1])), (0.0, float(north[0]), float(north[1])))


@dataclass(frozen=True)
class Wind:
    """True wind near the water. from_deg; gust_frac: standard deviation of gusts."""

    speed_mps: float
    from_deg: float
    gust_frac: float = 0.18
    veer_deg_h: float = 0.0


@dataclass(frozen=True)
class Sky:
    """Sun and air.

    Args:
        latitude_deg: For the sun's height. day: of the year. noon_s: of local noon, on the run's
            clock. clear_frac: of the sun's power that comes through. cloud_frac: sd of clouds.
    """

    latitude_deg: float
    day: int
    noon_s: float
    clear_frac: float = 0.75
    cloud_frac: float = 0.2
    air_c: float = 16.0

    def sun_frac(self, t_s: Floats) -> Floats:
        """Share of peak power that flat panels get under a clear sky. Shape of `t_s`.

        Height of the sun by declination and hour angle (Cooper 1969); the air by a plain power
        of the sine, this simulation's choice.
        """
        tilt = math.radians(23.45) * math.sin(2 * math.pi * (284 + self.day) / 365)
        hour = 2 * math.pi * (t_s - self.noon_s) / 86400.0
        lat = math.radians(self.latitude_deg)
        sine = np.sin(lat) * np.sin(tilt) + np.cos(lat) * np.cos(tilt) * np.cos(hour)
        return np.asarray(np.maximum(sine, 0.0) ** 1.2)


def wander(
    rng: np.random.Generator, n: int, dt_s: float, tau_s: float, before: float | None = None
) -> Floats:
    """A random walk that is pulled home: unit standard deviation, memory `tau_s`. Shape (n,).

    before: The value one step earlier; None: drawn.
    """
    keep = math.exp(-dt_s / tau_s)
    kick = rng.standard_normal(n) * math.sqrt(1 - keep * keep)
    out = np.empty(n)
    value = float(rng.standard_normal()) if before is None else before
    for k, step in enumerate(kick.tolist()):
        value = keep * value + step
        out[k] = value
    return out


def offset_position(
    lat_deg: float, lon_deg: float, east_m: Floats, north_m: Floats
) -> tuple[Floats, Floats]:
    """Latitude and longitude of points near an origin, on a sphere (within 20 km: 0.3 %)."""
    lat = lat_deg + np.degrees(np.asarray(north_m) / EARTH_M)
    lon = lon_deg + np.degrees(np.asarray(east_m) / (EARTH_M * math.cos(math.radians(lat_deg))))
    return lat, lon
