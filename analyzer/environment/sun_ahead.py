"""Panels' power through the days ahead: nights come, and tomorrow's clouds are not today's.

Each draw's panels give p(t) = (a + s(t)) P c(t): P what they are rated at, c(t) the sun under a
clear sky over standard conditions, a what these panels make of it on the whole (tilt, shade,
heat), s(t) the sky, an Ornstein-Uhlenbeck process about zero. What they give now tells both: of
its distance from the usual share, each takes what its variance is of the whole.

Source: clear sky by Haurwitz 1945. The sky's memory is that at which means of ten hours by day, a
day apart, correlate at 0.29, what Graham, Hollands and Huget 1988 (Solar Energy 40, 83) found for
daily clearness at stations of different climates (figure from memory).
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from analyzer.environment import persistence
from analyzer.environment.solar import (
    FLAT,
    NIGHT_SINE,
    STANDARD_W_M2,
    UNMEASURED_SD,
    USUAL_SD,
    USUAL_SHARE,
    haurwitz_w_m2,
    sine_of_height,
)
from logger.units import HOUR_S

Floats = npt.NDArray[np.float64]

EVERY_H = 0.5  # clouds of less than that even out over a run that the sun matters to; assumed
HOURS = np.arange(0.0, 72.0 + EVERY_H, EVERY_H)  # as long as a run-down is followed; assumed
SKY_MEMORY_H = 16.4  # published daily clearness, from memory: see above
LEAST_SINE = 0.10  # a sun lower than this is no measure of the day to come, assumed
WITHOUT_PLACE_H = 4.0  # where the place is not known the sun counts for this long, assumed
PANELS_SD = float(
    np.sqrt(UNMEASURED_SD**2 - USUAL_SD**2)
)  # of a: what is not the sky's, by definition


@dataclass(frozen=True)
class SunAhead:
    """What the panels would give at `HOURS` from now under a clear sky, (h,); None: not known.

    by_now: Whether the sun stands high enough for the present power to tell a share of it.
    """

    clear_w: Floats | None
    by_now: bool = True

    @classmethod
    def at(
        cls, place: tuple[float, float] | None, utc_s: float, peak_w: float, now_w: float
    ) -> "SunAhead":
        """Over a place (latitude, longitude) from a time on.

        Args:
            peak_w: What the panels are rated at; 0: not told, and as if what they give were usual.
            now_w: What they give: sun by night shows that place or clock is wrong.
        """
        sine = None if place is None else sine_of_height(*place, utc_s + HOUR_S * HOURS)
        if sine is None or (now_w > 0 and sine[0] < NIGHT_SINE):
            return cls(None)
        clear = haurwitz_w_m2(sine) / STANDARD_W_M2
        by_now = bool(sine[0] >= LEAST_SINE)
        if peak_w <= 0 and by_now:
            peak_w = now_w / (USUAL_SHARE * float(clear[0]))
        return cls(clear * peak_w, by_now)

    def times(self, factor: float) -> "SunAhead":
        """So many times the panels."""
        return self if self.clear_w is None else replace(self, clear_w=factor * self.clear_w)

    def paths_w(self, now_w: Floats, rng: np.random.Generator) -> Floats:
        """One course of the days to come for each power now, (n, h). [W]

        Args:
            now_w: What the panels give now, (n,).
        """
        if self.clear_w is None:
            return now_w[:, None] * (HOURS < WITHOUT_PLACE_H)
        panels, sky = self._parts(now_w, rng)
        kept, new = persistence.later(np.array(EVERY_H / SKY_MEMORY_H))
        shares = np.empty((len(now_w), len(HOURS)))
        for i, kick in enumerate(rng.standard_normal(shares.T.shape)):
            shares[:, i] = panels + sky
            sky = kept * sky + new * USUAL_SD * kick
        return np.asarray(np.clip(shares, 0.0, FLAT) * self.clear_w)

    def _parts(self, now_w: Floats, rng: np.random.Generator) -> tuple[Floats, Floats]:
        """Panels' share and the sky's part of it now, (n,) each."""
        first, second = rng.standard_normal((2, len(now_w)))
        if not self.by_now or self.clear_w is None:
            return USUAL_SHARE + PANELS_SD * first, USUAL_SD * second
        share = np.clip(now_w / max(float(self.clear_w[0]), 1e-9), 0.0, FLAT)
        off = share - USUAL_SHARE
        part = PANELS_SD**2 / UNMEASURED_SD**2
        panels = USUAL_SHARE + part * off + PANELS_SD * np.sqrt(1 - part) * first
        return panels, share - panels


@dataclass(frozen=True)
class SunPaths:
    """Panels' power from now on, draw by draw. watts: at `HOURS`, (n, h)."""

    watts: Floats

    @cached_property
    def given_wh(self) -> Floats:
        """Energy from now to each of `HOURS`, (n, h). [Wh] By the trapezoid rule (textbook)."""
        between = (self.watts[:, 1:] + self.watts[:, :-1]) * (EVERY_H / 2)
        return np.pad(np.cumsum(between, axis=1), ((0, 0), (1, 0)))

    def mean_w(self, duration_s: Floats) -> Floats:
        """Mean power from now over times, (n, k). [W]"""
        hours = np.clip(duration_s / HOUR_S, 1e-6, HOURS[-1])
        place = np.minimum((hours / EVERY_H).astype(np.int64), len(HOURS) - 2)
        beyond = hours - place * EVERY_H
        begun_w = np.take_along_axis(self.watts, place, axis=1)
        end_w = np.take_along_axis(self.watts, place + 1, axis=1)
        slope = (end_w - begun_w) / EVERY_H
        before_wh = np.take_along_axis(self.given_wh, place, axis=1)
        return np.asarray((before_wh + (begun_w + slope * beyond / 2) * beyond) / hours)
