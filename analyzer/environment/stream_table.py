"""A stream by times, as a tidal atlas gives it, with how far such tables are off."""

import csv
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import numpy.typing as npt

from analyzer.errors import BadRoute
from logger.units import KN

Floats = npt.NDArray[np.float64]

TABLE_SD_MPS = 0.12  # how far the stream is from a table of it; common practice, no source
TABLE_SCALE_SD = 0.15  # and how far its strength is off as a whole; common practice, no source
STEP_S = 300.0  # between times that a mean is taken of, assumed


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

    def mean_over(self, from_s: float, duration_s: Floats) -> tuple[Floats, Floats]:
        """Mean east and north over times that begin at one, each of the shape of the durations."""
        ahead = np.arange(0.0, float(np.max(duration_s)) + 2 * STEP_S, STEP_S)
        means = []
        for part in self.at(from_s + ahead):
            between = (part[1:] + part[:-1]) / 2 * STEP_S
            summed = np.concatenate([[0.0], np.cumsum(between)])
            lasting = np.maximum(duration_s, 1.0)
            means.append(np.asarray(np.interp(lasting, ahead, summed) / lasting))
        return means[0], means[1]


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

    def mean_over(self, from_s: float, duration_s: Floats) -> tuple[Floats, Floats]:
        """Mean east and north of each draw over times that begin at one, shape (n, k)."""
        east, north = self.table.mean_over(from_s, duration_s)
        scale, off = self.scale[:, None], self.off[:, :, None]
        return scale * east + off[:, 0], scale * north + off[:, 1]
