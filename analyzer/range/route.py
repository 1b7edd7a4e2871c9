"""A passage to make: waypoints of a GPX file, and the stream seen in the log on the way.

Source: GPX 1.0 and 1.1 through gpxpy; geodesics on WGS 84 through geographiclib.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from analyzer.environment.stream import StreamDraws
from analyzer.errors import BadRoute
from analyzer.range.home import geodesic

Floats = npt.NDArray[np.float64]

NEAR_M = 20.0  # waypoints closer together count as one; assumed
TRACK_TOLERANCE_M = 50.0  # a recorded track is thinned to this; assumed


@dataclass(frozen=True)
class Leg:
    """From one waypoint to the next."""

    name: str
    distance_m: float
    course_deg: float
    latitude_deg: float  # of its end
    longitude_deg: float


@dataclass(frozen=True)
class Route:
    """Legs in order."""

    name: str
    legs: tuple[Leg, ...]

    @property
    def distance_m(self) -> float:
        """Over the ground."""
        return sum(leg.distance_m for leg in self.legs)


def through(points: Sequence[tuple[float, float, str]], name: str = "route") -> Route:
    """Legs through places (latitude, longitude, name).

    Raises:
        BadRoute: Fewer than two places apart, or one that is nowhere on Earth.
    """
    for latitude, longitude, _ in points:
        if not (abs(latitude) <= 90.0 and abs(longitude) <= 180.0):
            raise BadRoute(
                f"{name}: {latitude:g}, {longitude:g} is no place: wants latitudes of -90 to 90 "
                "and longitudes of -180 to 180 degrees; check the route and the log's position"
            )
    legs: list[Leg] = []
    at = points[0] if points else (0.0, 0.0, "")
    for point in points[1:]:
        distance, course = geodesic(at[0], at[1], point[0], point[1])
        if distance < NEAR_M:
            continue
        legs.append(Leg(point[2] or f"leg {len(legs) + 1}", distance, course, point[0], point[1]))
        at = point
    if not legs:
        raise BadRoute(f"{name} wants at least two waypoints {NEAR_M:.0f} m apart")
    return Route(name, tuple(legs))


def read_gpx(path: Path) -> Route:
    """The first route of a GPX file, else its first track thinned, else its waypoints in order.

    Raises:
        BadRoute: The file is no GPX, or holds no way.
    """
    import gpxpy
    import gpxpy.gpx

    try:
        gpx = gpxpy.parse(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, gpxpy.gpx.GPXException) as error:
        raise BadRoute(f"{path} cannot be read as GPX: {error}") from error
    name = path.stem
    if gpx.routes:
        found = [(p.latitude, p.longitude, p.name or "") for p in gpx.routes[0].points]
        name = gpx.routes[0].name or name
    elif gpx.tracks:
        gpx.tracks[0].simplify(TRACK_TOLERANCE_M)
        name = gpx.tracks[0].name or name
        found = [(p.latitude, p.longitude, "") for s in gpx.tracks[0].segments for p in s.points]
    else:
        found = [(p.latitude, p.longitude, p.name or "") for p in gpx.waypoints]
    return through(found, name)


@dataclass(frozen=True)
class SeenStream:
    """Draws of a stream found in the log, going on as tide and eddies from a time."""

    draws: StreamDraws
    now_s: float

    def at(self, t_s: Floats) -> tuple[Floats, Floats]:
        """East and north at each draw's own time, (n,). [m/s]"""
        return self.draws.at_each(t_s - self.now_s)
