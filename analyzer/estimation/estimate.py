"""What every question returns: a value, the range it should lie in, and why."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from analyzer.errors import installed

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value and the range it should lie in; None where it cannot be said.

    Args:
        mid: Median of what is believed.
        low, high: The range.
        unit: A unit used inside (see `logger.units`).
        coverage: 0.8: eight ranges in ten should hold the truth.
        reason: Why the value or the range is missing, or why it is as wide as it is.
        used: Channels and facts it rests on.
        missing: What one more sensor or fact would buy.
    """

    mid: float | None
    low: float | None
    high: float | None
    unit: str
    coverage: float = 0.8
    reason: str = ""
    used: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()

    def to_frame(self) -> "pd.DataFrame":
        """One row with mid, low, high, unit, coverage and reason, as a pandas data frame."""
        names = ("mid", "low", "high", "unit", "coverage", "reason")
        pandas = installed("pandas", "a data frame", "frames")
        frame: pd.DataFrame = pandas.DataFrame([{name: getattr(self, name) for name in names}])
        return frame

    @property
    def known(self) -> bool:
        """Whether there is a value at all."""
        return self.mid is not None


def cannot_say(reason: str, unit: str, missing: tuple[str, ...] = ()) -> Estimate:
    """An estimate that has no value, and says why."""
    return Estimate(None, None, None, unit, reason=reason, missing=missing)
