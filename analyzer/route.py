"""A passage to make: waypoints of a GPX file, and the stream expected on the way.

Source: GPX 1.0 and 1.1 through gpxpy; geodesics on WGS 84 through geographiclib.
"""

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import numpy.typing as npt

from analyzer.errors import BadRoute
from analyzer.home import geodesic
from analyzer.stream import StreamDraws
from logger.units import KN

Floats = npt.NDArray[np.float64]

NEAR_M = 20.0  # waypoints closer together count as one
TABLE_SD_MPS = 0.12  # how far the stream is from a table of it
TABLE_SCALE_SD = 0.15  # and how far the table's strength is off as a whole
TRACK_TOLERANCE_M = 50.0  # a recorded track is thinned to this


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
        BadRoute: Fewer than two places apart.
    """
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
class StreamTable:
    """A stream by times: what a tidal atlas gives. Between times it is interpolated.

    t_s: UTC, rising, shape (m,). east_mps, north_mps: shape (m,).
    """

    t_s: Floats
    east_mps: Floats
    north_mps: Floats

    def at(self, t_s: Floats) -> tuple[Floats, Floats]:
        """East and north at times; the first and last hold beyond the table."""
        return (
            np.asarray(np.interp(t_s, self.t_s, self.east_mps)),
            np.asarray(np.interp(t_s, self.t_s, self.north_mps)),
        )


def read_stream_table(path: Path) -> StreamTable:
    """A CSV file with the columns utc, speed_kn, toward_deg.

    Raises:
        BadRoute: The file is not that.
    """
    rows: list[tuple[float, float, float]] = []
    wants = "columns utc (2026-07-01T06:00Z), speed_kn and toward_deg"
    try:
        with path.open(newline="", encoding="utf-8") as file:
            for number, row in enumerate(csv.DictReader(file), start=2):
                try:
                    when = parse_utc(row["utc"])
                    size, toward = float(row["speed_kn"]) * KN, np.radians(float(row["toward_deg"]))
                except (KeyError, TypeError, ValueError) as error:
                    raise BadRoute(f"{path}, line {number}: wants {wants}, got {row}") from error
                rows.append((when, size * np.sin(toward), size * np.cos(toward)))
    except (OSError, UnicodeDecodeError) as error:
        raise BadRoute(f"{path} cannot be read: {error}") from error
    if not rows:
        raise BadRoute(f"{path} holds no row; it wants {wants}")
    table = np.array(sorted(rows))
    return StreamTable(table[:, 0], table[:, 1], table[:, 2])


def parse_utc(text: str) -> float:
    """Seconds since 1970 from ISO 8601; without a zone it is UTC.

    Raises:
        ValueError: It is no such time.
    """
    when = datetime.fromisoformat(text.strip())
    return (when if when.tzinfo else when.replace(tzinfo=UTC)).timestamp()


@dataclass(frozen=True)
class TableStream:
    """Draws of a tabled stream: the table's strength and an error of its own."""

    table: StreamTable
    scale: Floats  # (n,)
    off: Floats  # (n, 2)

    @classmethod
    def around(cls, table: StreamTable, n: int, rng: np.random.Generator) -> "TableStream":
        """As far from the table as tables usually are."""
        scale = 1 + TABLE_SCALE_SD * rng.standard_normal(n)
        return cls(table, scale, TABLE_SD_MPS * rng.standard_normal((n, 2)))

    def at(self, t_s: Floats) -> tuple[Floats, Floats]:
        """East and north at each draw's own time, (n,). [m/s]"""
        east, north = self.table.at(t_s)
        return self.scale * east + self.off[:, 0], self.scale * north + self.off[:, 1]


@dataclass(frozen=True)
class SeenStream:
    """Draws of a stream found in the log, going on as tide and eddies from a time."""

    draws: StreamDraws
    now_s: float

    def at(self, t_s: Floats) -> tuple[Floats, Floats]:
        """East and north at each draw's own time, (n,). [m/s]"""
        return self.draws.at_each(t_s - self.now_s)
