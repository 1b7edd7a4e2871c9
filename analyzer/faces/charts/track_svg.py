"""The track of a trip as a map in black and white: dashed where the motor was off."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from analyzer.faces.charts.elements import (
    TICKS_S,
    Values,
    clock,
    dot,
    faint,
    picture,
    ring,
    stroke,
    tick,
    words,
)
from analyzer.faces.charts.labels import Labels
from analyzer.faces.charts.scale import nice_step
from logger.units import NMI


def track(
    latitude_deg: Values,
    longitude_deg: Values,
    t_utc_s: Sequence[float] = (),
    motoring: Sequence[bool] = (),
    size: int = 420,
) -> str:
    """The track in nautical miles east and north of its start; empty where there is none.

    Args:
        t_utc_s, motoring: Of each fix; the track is dashed where the motor was off.
    """
    known = [
        k
        for k, both in enumerate(zip(latitude_deg, longitude_deg, strict=True))
        if None not in both
    ]
    if len(known) < 2:
        return ""
    east, north = _miles_from_start(
        [latitude_deg[k] or 0.0 for k in known], [longitude_deg[k] or 0.0 for k in known]
    )
    paper = _Paper.around(east, north, size)
    points = [paper.at(e, n) for e, n in zip(east, north, strict=True)]
    driven = [motoring[k] if motoring else True for k in known]
    sailed = [not on for on in driven]
    start, end = points[0], points[-1]
    labels = Labels(points, paper.wide, paper.tall)
    parts = [
        *paper.grid(labels),
        stroke(_pieces(points, driven), 0),
        stroke(_pieces(points, sailed), 1),
        words(0, paper.tall + 14, "north up; nautical miles from the start", "start"),
        dot(*start),
        labels.place(start, "start"),
        ring(end),
        labels.place(end, "end"),
        *_hours(points, [t_utc_s[k] if t_utc_s else None for k in known], labels),
    ]
    return picture(round(paper.wide), round(paper.tall) + 18, parts)


def _miles_from_start(
    latitude_deg: Sequence[float], longitude_deg: Sequence[float]
) -> tuple[list[float], list[float]]:
    """Places east and north of the first. [nmi]"""
    # Metres in a degree on a sphere of 6 371 009 m (IUGG mean radius); a map for the eye.
    degree_nmi = math.radians(1) * 6371009 / NMI
    shrink = math.cos(math.radians(latitude_deg[0]))
    # The shorter way round, also over the date line.
    turns_deg = [(lon - longitude_deg[0] + 180.0) % 360.0 - 180.0 for lon in longitude_deg]
    east = [turn_deg * degree_nmi * shrink for turn_deg in turns_deg]
    north = [(lat - latitude_deg[0]) * degree_nmi for lat in latitude_deg]
    return east, north


@dataclass(frozen=True)
class _Paper:
    """Where miles east and north lie on the map; ground it covers: west, south, east, north."""

    west: float
    south: float
    scale: float
    wide: float
    tall: float

    @classmethod
    def around(cls, east: Sequence[float], north: Sequence[float], size: int) -> "_Paper":
        span = max(max(east) - min(east), max(north) - min(north), 0.05) * 1.12
        scale = size / span
        across = max((max(east) - min(east)) * 1.12, 0.75 * span)
        along = max((max(north) - min(north)) * 1.12, 0.4 * span)
        west = (max(east) + min(east) - across) / 2
        south = (max(north) + min(north) - along) / 2
        return cls(west, south, scale, across * scale, along * scale)

    def at(self, east: float, north: float) -> tuple[float, float]:
        return (east - self.west) * self.scale, self.tall - (north - self.south) * self.scale

    def grid(self, labels: Labels) -> list[str]:
        step = nice_step(max(self.wide, self.tall) / self.scale, 5)
        parts = []
        ends = self.west + self.wide / self.scale, self.south + self.tall / self.scale
        for k in range(math.ceil(self.west / step), math.floor(ends[0] / step) + 1):
            x = self.at(k * step, 0)[0]
            parts.append(faint(f"M{x:.1f} 0v{self.tall:.1f}"))
            parts.append(labels.take(x + 3, self.tall - 5, _miles(k * step, "E", "W"), "start"))
        for k in range(math.ceil(self.south / step), math.floor(ends[1] / step) + 1):
            y = self.at(0, k * step)[1]
            parts.append(faint(f"M0 {y:.1f}h{self.wide:.1f}"))
            parts.append(labels.take(3, y - 3, _miles(k * step, "N", "S"), "start"))
        return parts


def _miles(value: float, positive: str, negative: str) -> str:
    return f"{abs(value):g} {positive if value > 0 else negative}" if abs(value) > 1e-9 else "0"


def _hours(
    points: Sequence[tuple[float, float]],
    when: Sequence[float | None],
    labels: Labels,
    most: int = 8,
) -> list[str]:
    """Clock times along the track."""
    known = [(p, t) for p, t in zip(points, when, strict=True) if t is not None]
    if len(known) < 2:
        return []
    span = known[-1][1] - known[0][1]
    apart = next((s for s in TICKS_S if span / s <= most), TICKS_S[-1])
    parts = []
    for (_, before), (p, t) in pairwise(known):
        if math.floor(before / apart) < math.floor(t / apart):
            parts += [tick(p), labels.place(p, clock(math.floor(t / apart) * apart))]
    return parts


def _pieces(points: Sequence[tuple[float, float]], chosen: Sequence[bool]) -> str:
    """The stretches of a path that end at a chosen point."""
    out, joined = [], False
    for (before, point), take in zip(pairwise(points), chosen[1:], strict=True):
        if take and not joined:
            out.append(f"M{before[0]:.1f} {before[1]:.1f}")
        if take:
            out.append(f"L{point[0]:.1f} {point[1]:.1f}")
        joined = take
    return "".join(out)
