"""Wind: what it adds to the power, from a sensor or a typed-in figure.

Drag of hull and rig in the air ahead: F = 1/2 rho Cd A a|a|, a the apparent wind from ahead. The
power curve holds for still air (boat's own speed as wind), so only the difference is added.
Waves that a wind from ahead raises take a share of the boat's own resistance, with the square of
the wind as their height does; how much depends on the fetch. Leeway and heel are not in it; they
stay in what wind and sea of a leg may do unexplained.

The wind to come is a process that forgets (`persistence`), east and north by themselves: the
components are nearer to normal and easier foreseen than speed and direction (A. H. Monahan,
J. Climate 26 (2013) 5563), and the speed is forgotten sooner than the components (the same,
J. Climate 25 (2012) 6684). A wind of now thus becomes any wind, drawn by the same Weibull
distribution of shape 2 that stands for a wind that nobody measures.

Source: drag law (textbook); coefficient 0.9 on the windage area and its spread of 30 %, and what
waves take (nothing in shelter, 25 % at 7 m/s in the open): common practice, no source.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.series.physics import AIR_DENSITY
from analyzer.series.series import Series
from logger.boat import Hull

Floats = npt.NDArray[np.float64]

# Common practice, no source: see above.
DRAG = 0.9
AREA_LOG_SD = 0.3
LATELY_S = 1200.0
ONE_WIND_S = 3 * 3600.0  # for so long what blew then counts as what blows now
# Memory of the wind's components, fitted to a year's hourly readings of three coastal airports by
# day from April to October and below 9 m/s (`tests/field/fit_wind.py`): 13.8 h at 2 to 6 h ahead.
MEMORY_S = 14 * 3600.0
# Common practice, no source, again.
MEAN_SD_MPS, SPREAD_SHARE = 0.5, 0.10  # of a mean true wind, and of what is still to come
EFFICIENCY = 0.41  # battery to tow power, middle of 0.30 to 0.55
LEAST_SHARE = 0.3  # of the still-air power that is left in the strongest wind from astern
BEYOND_WIND = 0.4  # of what a leg's wind and sea do, where the wind is known or drawn
# Scale of a Weibull distribution of shape 2, that is components of 3.5 m/s: fitted to the same
# readings they are 3.5, 3.9 and 3.6 m/s.
ANY_WIND_MPS = 5.0
# s²/m²: waves from ahead, share of resistance over wind squared; common practice, no source
MOST_SEA = 0.005
_SHARES = (np.arange(8) + 0.5) / 8
_ANY_MPS = (ANY_WIND_MPS * np.sqrt(-np.log1p(-_SHARES)))[:, None]  # eight winds, all as likely
_ANY_DEG = np.arange(0.0, 360.0, 30.0)


@dataclass(frozen=True)
class Wind:
    """True wind over the ground. from_deg: where it comes from. [m/s], [deg true]

    lasts_s: Its memory; endless where somebody says it is that of a passage.
    """

    speed_mps: float
    from_deg: float
    sd_mps: float = 1.0
    reason: str = "as given"
    lasts_s: float = float("inf")


def windage_m2(hull: Hull) -> float:
    """Area seen from ahead: from the boat file, else a share of beam squared for sailing boats."""
    return hull.windage_area_m2 or 0.55 * hull.beam_waterline_m**2


def extra_n(
    area_m2: Floats | float,
    wind_mps: Floats | float,
    off_deg: Floats | float,
    speed_mps: Floats | float,
) -> Floats:
    """Force from ahead on top of still air.

    Args:
        area_m2: Windage. wind_mps: True wind. off_deg: Its direction off the bow.
        speed_mps: Of the boat.
    Returns:
        Broadcast shape, negative where the wind pushes. [N]
    """
    ahead = np.asarray(wind_mps) * np.cos(np.radians(off_deg)) + speed_mps
    still = np.square(np.asarray(speed_mps))
    pressures = ahead * np.abs(ahead) - still
    return np.asarray(0.5 * AIR_DENSITY * DRAG * area_m2 * pressures)


def extra_w(force_n: Floats, speed_mps: Floats, still_w: Floats) -> Floats:
    """Power that a force adds to the still-air power, shapes as broadcast. [W]"""
    added = force_n * speed_mps / EFFICIENCY
    return np.asarray(np.maximum(added, (LEAST_SHARE - 1) * still_w))


def sea_share(sea: Floats | float, wind_mps: Floats | float, off_deg: Floats | float) -> Floats:
    """Share of still-air power that waves from ahead add, shapes as broadcast.

    Args:
        sea: Between 0 and `MOST_SEA`. wind_mps: True wind. off_deg: Its direction off the bow.
    """
    ahead = np.maximum(np.cos(np.radians(off_deg)), 0.0)
    return np.asarray(sea * np.square(wind_mps) * ahead)


def any_wind_log_sd(area_m2: float, speed_mps: Floats, power_w: Floats) -> Floats:
    """What a wind that nobody measured may do to a leg, in ln power; one sd.

    Args:
        area_m2: Windage. speed_mps, power_w: Of each point, shape (n,).
    """
    speed = speed_mps[:, None, None]
    power = np.maximum(power_w, 1.0)[:, None, None]
    force = extra_n(area_m2, _ANY_MPS, _ANY_DEG, speed)
    share = extra_w(force, speed, power) / power + sea_share(MOST_SEA / 2, _ANY_MPS, _ANY_DEG)
    return np.asarray(np.log1p(share).std(axis=(1, 2)))


def true_wind(series: Series, heading_deg: Floats) -> tuple[Floats, Floats]:
    """East and north components of where the wind blows to, shape (n,); NaN where not measured.

    From true wind channels, else from apparent wind, heading and ground velocity.
    """
    speed = series.get("wind_speed_true_mps")
    source = series.get("wind_direction_true_deg")
    toward = np.radians(source + 180.0)
    east = speed * np.sin(toward)
    north = speed * np.cos(toward)
    apparent = series.get("wind_speed_apparent_mps")
    bearing = np.radians(heading_deg + series.get("wind_angle_apparent_deg") + 180.0)
    course = np.radians(series.get("course_ground_deg"))
    made = series.get("speed_ground_mps")
    east_a = apparent * np.sin(bearing) + made * np.sin(course)
    north_a = apparent * np.cos(bearing) + made * np.cos(course)
    missing = ~np.isfinite(east)
    return np.where(missing, east_a, east), np.where(missing, north_a, north)


def lately(series: Series, heading_deg: Floats) -> Wind | None:
    """Mean true wind of the last twenty minutes; None where no sensor says."""
    size = max(round(LATELY_S / series.step_s), 1)
    east, north = true_wind(series, heading_deg)
    east = east[-size:]
    north = north[-size:]
    ok = np.isfinite(east) & np.isfinite(north)
    if ok.sum() < 0.2 * size:
        return None
    e = float(east[ok].mean())
    n = float(north[ok].mean())
    speed = float(np.hypot(e, n))
    return Wind(
        speed_mps=speed,
        from_deg=float(np.degrees(np.arctan2(-e, -n)) % 360.0),
        sd_mps=MEAN_SD_MPS + SPREAD_SHARE * speed,
        reason="measured over the last twenty minutes",
        lasts_s=MEMORY_S,
    )


def _column(values: Floats) -> Floats:
    """As (n, 1), where there is one for each draw and not one for each speed too."""
    return values if values.ndim == 2 else values[:, None]


@dataclass(frozen=True)
class Air:
    """Samples of wind, windage and sea state, one per Monte Carlo draw, (n,).

    wind_mps, from_deg: Also one for each speed, (n, k).
    left: What the wind leaves of the leg's unknown part.
    """

    wind_mps: Floats
    from_deg: Floats
    area_m2: Floats
    sea: Floats
    left: float

    def take(self, which: npt.NDArray[np.int64]) -> "Air":
        """The draws picked by index."""
        wind = self.wind_mps[which]
        source = self.from_deg[which]
        area = self.area_m2[which]
        return Air(wind, source, area, self.sea[which], self.left)

    def become(self, other: "Air", kept_new: tuple[Floats, Floats]) -> "Air":
        """This wind where a share of it is left, and another for what is new.

        Args:
            kept_new: Shares of each, (n,) or (n, k), that add up as vectors (`persistence`).
        """
        kept, new = kept_new
        wide = kept.ndim == 2
        components = []
        for trace in (np.sin, np.cos):
            mine, its = (a.wind_mps * trace(np.radians(a.from_deg)) for a in (self, other))
            if wide:
                mine, its = mine[:, None], its[:, None]
            components.append(kept * mine + new * its)
        east, north = components
        source = np.degrees(np.arctan2(east, north)) % 360.0
        return Air(np.hypot(east, north), source, self.area_m2, self.sea, self.left)

    def still_w(self, course_deg: float | Floats, water: Floats, power: Floats) -> Floats:
        """Power as it would be in still air, (n, k), of what is measured on courses.

        Args:
            course_deg, water, power: Of each stretch, shapes that go with (n, k).
        """
        off = _column(self.from_deg) - course_deg
        wind = _column(self.wind_mps)
        force = extra_n(self.area_m2[:, None], wind, off, water)
        waves = 1 + sea_share(self.sea[:, None], wind, off)
        still = (power - force * water / EFFICIENCY) / waves
        return np.asarray(np.maximum(still, LEAST_SHARE * power))

    def added_w(self, course_deg: float | Floats, water: Floats, still: Floats) -> Floats:
        """Power that wind and waves add on a course, at speeds and still-air power (n, k).

        Args:
            course_deg: One, or one of each draw, (n,).
        """
        off = _column(self.from_deg) - _column(np.atleast_1d(course_deg))
        wind = _column(self.wind_mps)
        force = extra_n(self.area_m2[:, None], wind, off, water)
        waves = sea_share(self.sea[:, None], wind, off)
        return extra_w(force, water, still) + still * waves
