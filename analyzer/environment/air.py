"""Winds, seas and windages that may be, one of each to a draw."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.environment.wind import (
    EFFICIENCY,
    LEAST_SHARE,
    extra_n,
    extra_w,
    sea_share,
)

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Air:
    """Wind, windage and sea per draw, (n,); left: what the wind leaves of the leg's unknown."""

    wind_mps: Floats
    from_deg: Floats
    area_m2: Floats
    sea: Floats
    left: float

    def take(self, which: npt.NDArray[np.int64]) -> "Air":
        """The draws picked by index."""
        wind, source, area = self.wind_mps[which], self.from_deg[which], self.area_m2[which]
        return Air(wind, source, area, self.sea[which], self.left)

    def fading(self, into: "Air", kept: Floats) -> "Air":
        """This wind where a share of it is left, and another for the rest.

        Args:
            kept: Share of each draw's, 0 to 1, (n,); as vectors, so that their spreads add up.
        """
        rest = np.sqrt(1 - np.square(kept))
        here, there = np.radians(self.from_deg), np.radians(into.from_deg)
        east = kept * self.wind_mps * np.sin(here) + rest * into.wind_mps * np.sin(there)
        north = kept * self.wind_mps * np.cos(here) + rest * into.wind_mps * np.cos(there)
        source = np.degrees(np.arctan2(east, north)) % 360.0
        return Air(np.hypot(east, north), source, self.area_m2, self.sea, self.left)

    def still_w(self, course_deg: float | Floats, water: Floats, power: Floats) -> Floats:
        """Power as it would be in still air, (n, k), of what is measured on courses.

        Args:
            course_deg, water, power: Of each stretch, shapes that go with (n, k).
        """
        off, wind = self.from_deg[:, None] - course_deg, self.wind_mps[:, None]
        force = extra_n(self.area_m2[:, None], wind, off, water)
        waves = 1 + sea_share(self.sea[:, None], wind, off)
        still = (power - force * water / EFFICIENCY) / waves
        return np.asarray(np.maximum(still, LEAST_SHARE * power))

    def added_w(self, course_deg: float | Floats, water: Floats, still: Floats) -> Floats:
        """Power that wind and waves add on a course, at speeds and still-air power (n, k).

        Args:
            course_deg: One, or one of each draw, (n,).
        """
        off = (self.from_deg - course_deg)[:, None]
        wind = self.wind_mps[:, None]
        force = extra_n(self.area_m2[:, None], wind, off, water)
        return extra_w(force, water, still) + still * sea_share(self.sea[:, None], wind, off)
