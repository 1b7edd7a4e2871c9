"""Scales that every drawing shares, on paper and on the pages: round steps, ticks, paths."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Tick:
    """A mark on a scale: where, and what it says."""

    at: float
    text: str


@dataclass(frozen=True)
class Axis:
    """A scale with round ends."""

    low: float
    high: float
    step: float

    @classmethod
    def holding(cls, low: float, high: float, about: int, least_span: float = 0.0) -> "Axis":
        """A scale that holds two values.

        Args:
            about: So many steps.
            least_span: It covers at least this much, so that a calm line looks calm.
        """
        short = max(least_span - (high - low), 0.0)
        low -= short / 2
        high += short / 2
        step = nice_step(max(high - low, 1e-6), about)
        low, high = math.floor(low / step) * step, math.ceil(high / step) * step
        return cls(low, high if high > low else low + step, step)

    def levels(self) -> Iterator[float]:
        """The round values on it."""
        for k in range(round((self.high - self.low) / self.step) + 1):
            yield self.low + k * self.step

    def share(self, value: float) -> float:
        """How far along the scale a value lies, 0 to 1."""
        return (value - self.low) / (self.high - self.low)


def nice_step(span: float, about: int) -> float:
    """A step of 1, 2 or 5 times a power of ten that cuts the span in about so many parts."""
    rough = max(span, 1e-9) / about
    power = float(10.0 ** math.floor(math.log10(rough)))
    return next(power * k for k in (1, 2, 5, 10) if power * k >= rough * 0.999)


def ticks(top: float, about: int, start: float = 0.0) -> list[float]:
    """Round numbers from `start` to `top`."""
    step = nice_step(top - start, about)
    first = math.ceil(start / step - 1e-9)
    return [round(k * step, 9) for k in range(first, math.floor(top / step + 1e-9) + 1)]


def path(points: Sequence[tuple[float, float | None]]) -> str:
    """An SVG path through points; a gap where one has no height."""
    out, pen = [], "M"
    for x, y in points:
        if y is None:
            pen = "M"
            continue
        out.append(f"{pen}{x:.1f} {y:.1f}")
        pen = "L"
    return "".join(out)


def band(lows: Sequence[tuple[float, float]], highs: Sequence[tuple[float, float]]) -> str:
    """An SVG path around what lies between two lines."""
    return f"{path([*highs, *lows[::-1]])}Z"
