"""What every way in yields: rows and blocks of values that arrived together."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt


@dataclass(frozen=True, slots=True)
class Quantum:
    """How a channel's value is kept as an integer q: value = q * step + offset.

    Args:
        step: What the sensor resolves, in the channel's unit; 0 keeps the value as a 64-bit float.
            A step of 1/10, 1/100 ... is divided by, so that decimal text reads back the same.
        offset: In the channel's unit.
    """

    step: float = 0.0
    offset: float = 0.0


EXACT = Quantum()


@dataclass(frozen=True)
class Group:
    """Channels that always arrive together, from one frame, sentence, register block or row.

    Args:
        key: Unique in a log, e.g. "can0/18F00102", "gps/RMC".
        channels: Names from `logger.channels`.
        quanta: One per channel.
    """

    key: str
    channels: tuple[str, ...]
    quanta: tuple[Quantum, ...]


@dataclass(slots=True)
class Row:
    """One arrival. Values are None where the device says that it has none."""

    group: Group
    t_us: int  # on the boot's monotonic clock
    values: Sequence[float | None]


@dataclass(slots=True)
class Block:
    """Many arrivals of one group, in time order.

    t_us: shape (n,), int64, on the boot's monotonic clock. [µs]
    values: shape (n, channels), float64, NaN where missing.
    """

    group: Group
    t_us: npt.NDArray[np.int64]
    values: npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class UtcFix:
    """A source learned what UTC it was at a moment of the boot's monotonic clock."""

    t_us: int
    utc_us: int
    source: str  # "gnss", "ntp", "file"
    uncertainty_s: float


Item = Row | Block | UtcFix


class Source(Protocol):
    """Readings, live or recorded, in time order within each group."""

    name: str

    def read(self, timeout_s: float) -> list[Item] | None:
        """What has come, at most `timeout_s` later; [] if nothing did; None at a recording's end.

        Raises:
            SourceError: The source is lost.
        """

    def close(self) -> None:
        """Lets the device or file go. May be called twice."""
