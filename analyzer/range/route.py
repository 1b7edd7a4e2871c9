"""A passage to make: waypoints of a GPX file, and the stream seen in the log on the way.

Source: GPX 1.0 and 1.1 through gpxpy; geodesics on WGS 84 through geographiclib.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from analyzer.environment.stream import StreamDraws
from analyzer.errors import BadRoute
from analyzer.range.home import geodesic

Floats = npt.NDArray[np.float64]

Place = tuple[float, float, str]  # latitude and longitude [deg], name

MOST_CHARACTERS = 20_000_000  # a track of two days at a fix a second, assumed
NEAR_M = 20.0  # waypoints closer together count as one; assumed
# A longer route is thinned, by this or by twice it as often as needed, to so many places: each leg
# costs some 60 ms of an answer. The thinning goes as deep as it is given places at once. Assumed.
TRACK_TOLERANCE_M, MOST_PLACES, AT_ONCE = 50.0, 60, 400


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
    """Legs in order.

    Attributes:
        places: How many places it was made of, before it was thinned.
    """

    name: str
    legs: tuple[Leg, ...]
    places: int = 0

    @property
    def distance_m(self) -> float:
        """Over the ground."""
        return sum(leg.distance_m for leg in self.legs)


def through(points: Sequence[Place], name: str = "route") -> Route:
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
    places = len(points)
    points = thinned(points) if places > MOST_PLACES else points
    at = points[0] if points else (0.0, 0.0, "")
    for point in points[1:]:
        distance, course = geodesic(at[0], at[1], point[0], point[1])
        if distance < NEAR_M:
            continue
        legs.append(Leg(point[2] or f"leg {len(legs) + 1}", distance, course, point[0], point[1]))
        at = point
    if not legs:
        raise BadRoute(f"{name} wants at least two waypoints {NEAR_M:.0f} m apart")
    return Route(name, tuple(legs), places)


def thinned(points: Sequence[Place]) -> list[Place]:
    """At most `MOST_PLACES` of a route's places, those that its shape needs most."""
    from gpxpy.geo import Location, simplify_polyline

    names = {(latitude, longitude): name for latitude, longitude, name in points}
    kept = [Location(latitude, longitude) for latitude, longitude, _ in points]
    tolerance_m = TRACK_TOLERANCE_M
    while len(kept) > MOST_PLACES:
        pieces = [kept[k : k + AT_ONCE] for k in range(0, len(kept), AT_ONCE)]
        kept = [place for piece in pieces for place in simplify_polyline(piece, tolerance_m)]
        tolerance_m *= 2
    return [(p.latitude, p.longitude, names[p.latitude, p.longitude]) for p in kept]


def read_gpx(path: Path) -> Route:
    """The way of a GPX file; see `gpx_places`. Raises BadRoute."""
    return through(*gpx_places(path))


def gpx_places(path: Path) -> tuple[list[Place], str]:
    """Places of a GPX file's first route, else its first track, else its waypoints; its name.

    Raises:
        BadRoute: The file is no GPX.
    """
    import gpxpy
    import gpxpy.gpx

    try:
        with path.open(encoding="utf-8") as file:
            text = file.read(MOST_CHARACTERS + 1)
        if len(text) > MOST_CHARACTERS:
            raise BadRoute(f"{path} has more than {MOST_CHARACTERS} characters: it is no route")
        gpx = gpxpy.parse(text)
    except (OSError, UnicodeDecodeError, gpxpy.gpx.GPXException) as error:
        raise BadRoute(f"{path} cannot be read as GPX: {error}") from error
    segments = gpx.tracks[0].segments if gpx.tracks else []
    name, points = None, list[Any](gpx.waypoints)
    if gpx.routes:
        name, points = gpx.routes[0].name, list(gpx.routes[0].points)
    elif gpx.tracks:
        name = gpx.tracks[0].name
        points = [point for segment in segments for point in segment.points]
    return [(p.latitude, p.longitude, p.name or "") for p in points], name or path.stem


@dataclass(frozen=True)
class SeenStream:
    """Draws of a stream found in the log, going on as tide and eddies from a time."""

    draws: StreamDraws
    now_s: float

    def take(self, which: npt.NDArray[np.int64]) -> "SeenStream":
        """The draws picked by index."""
        return SeenStream(self.draws.take(which), self.now_s)

    def at(self, t_s: Floats) -> tuple[Floats, Floats]:
        """East and north at each draw's own time, (n,). [m/s]"""
        return self.draws.at_each(t_s - self.now_s)
