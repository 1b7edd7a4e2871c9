"""A stream by times, as a tidal atlas gives it, with how far such tables are off."""

import csv
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import numpy.typing as npt

from analyzer.environment.tide_constants import TideConstants, parse_constants
from analyzer.errors import BadRoute
from logger.units import DAY_S, KN, UNDATED_S

Floats = npt.NDArray[np.float64]

TABLE_SD_MPS = 0.12  # how far the stream is from a table of it; common practice, no source
TABLE_SCALE_SD = 0.15  # and how far its strength is off as a whole; common practice, no source
STEP_S = 300.0  # between times that a mean is taken of, assumed
# What harmonic constants are worked out for, before and after a departure: assumed.
BEFORE_S, DAYS = 3600.0, 10
CONSTANTS = "[constituents]"  # by what a file of them is known, by definition


@dataclass(frozen=True)
class StreamTable:
    """A stream by times: what a tidal atlas gives. Between times it is interpolated.

    t_s: UTC, rising, shape (m,). east_mps, north_mps: shape (m,). told: what it comes from.
    """

    t_s: Floats
    east_mps: Floats
    north_mps: Floats
    told: str = ""

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


def read_stream_table(path: Path, from_s: float) -> StreamTable:
    """A table of times, or what harmonic constants make of the days from a time on.

    Args:
        path: CSV with the columns utc, speed_kn, toward_deg; or TOML, see `tide_constants`.
        from_s: UTC.
    Raises:
        BadRoute: The file is neither, or the date is not known.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise BadRoute(f"{path} cannot be read: {error}") from error
    if path.suffix.lower() == ".toml" or CONSTANTS in text:
        return _of_constants(parse_constants(text, path), from_s)
    return _of_rows(text, path)


def _of_constants(known: TideConstants, from_s: float) -> StreamTable:
    if from_s < UNDATED_S:
        raise BadRoute("a tide wants the date, and the log has none: give the time of departure")
    t_s = from_s + np.arange(-BEFORE_S, DAYS * DAY_S, STEP_S)
    return StreamTable(t_s, *known.at(t_s), known.told)


def _of_rows(text: str, path: Path) -> StreamTable:
    rows: list[tuple[float, float, float]] = []
    wants = "columns utc (2026-07-01T06:00Z), speed_kn and toward_deg"
    for number, row in enumerate(csv.DictReader(text.splitlines()), start=2):
        try:
            when = parse_utc(row["utc"])
            size, toward = float(row["speed_kn"]) * KN, np.radians(float(row["toward_deg"]))
        except (AttributeError, KeyError, TypeError, ValueError) as error:
            raise BadRoute(f"{path}, line {number}: wants {wants}, got {row}") from error
        rows.append((when, size * np.sin(toward), size * np.cos(toward)))
    if not rows:
        raise BadRoute(f"{path} holds no row; it wants {wants}")
    table = np.array(sorted(rows))
    told = f"the table of {len(rows)} times"
    return StreamTable(table[:, 0], table[:, 1], table[:, 2], told)


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

    def take(self, which: npt.NDArray[np.int64]) -> "TableStream":
        """The draws picked by index."""
        return TableStream(self.table, self.scale[which], self.off[which])

    def at(self, t_s: Floats) -> tuple[Floats, Floats]:
        """East and north at each draw's own time, (n,). [m/s]"""
        east, north = self.table.at(t_s)
        return self.scale * east + self.off[:, 0], self.scale * north + self.off[:, 1]

    def mean_over(self, from_s: float, duration_s: Floats) -> tuple[Floats, Floats]:
        """Mean east and north of each draw over times that begin at one, shape (n, k)."""
        east, north = self.table.mean_over(from_s, duration_s)
        scale, off = self.scale[:, None], self.off[:, :, None]
        return scale * east + off[:, 0], scale * north + off[:, 1]
