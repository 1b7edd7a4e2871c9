"""What the store hands out and takes in, one small class per table."""

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Boot:
    """One run of the logger's computer, from power on to power off.

    Args:
        number: Counts up in the order in which the log met them.
        uid: The system's own name of the boot, or of a recording.
        utc_offset_us: UTC minus the boot's monotonic clock; None while undated. [µs]
        utc_source: "gnss", "ntp", "file" or None.
        utc_uncertainty_s: Of that offset. [s]
        first_us, last_us: First and last reading on the boot's monotonic clock. [µs]
        timeline_offset_us: Add it to a monotonic time to get the log's timeline. [µs]
        remark: What had to be said about its dating; "" if nothing.
        recorded: Whether its readings were replayed from a recording.
    """

    number: int
    uid: str
    utc_offset_us: int | None
    utc_source: str | None
    utc_uncertainty_s: float | None
    first_us: int | None
    last_us: int | None
    timeline_offset_us: int = 0
    remark: str = ""
    recorded: bool = False


@dataclass(frozen=True, slots=True)
class ChannelSpan:
    """What the log holds of one channel; times on the timeline. [µs]"""

    unit: str
    first_us: int
    last_us: int
    count: int


@dataclass(frozen=True, slots=True)
class Summary:
    """Readings of one channel in a stretch of time; low, high and mean are None if there are none.

    Where old data were thinned, count, low, high and mean are still those of the full readings
    for every chunk that lies wholly inside; a chunk cut by the stretch's ends gives its points.
    """

    count: int
    low: float | None
    high: float | None
    mean: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagRecord:
    """One flag and its life; times on the timeline. [µs] number is None until it is stored."""

    number: int | None
    key: str
    level: str
    subject: str
    kind: str
    title: str
    evidence: str
    cause: str
    caution: str
    first_action: str
    raised_us: int
    seen_us: int | None = None
    cleared_us: int | None = None
    channels: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Learned:
    """A result worked out from the readings between two times of the timeline. [µs]"""

    from_us: int
    to_us: int
    value: dict[str, Any]


@dataclass(frozen=True, slots=True)
class TripRecord:
    """One trip; times on the timeline. [µs] summary can be written as JSON."""

    number: int
    start_us: int
    end_us: int
    summary: dict[str, Any]


@dataclass(frozen=True, slots=True)
class HealthRecord:
    """The newest word of one part of the logger about itself, and when it was said in UTC or,
    where that was not known, None. [µs]"""

    key: str
    utc_us: int | None
    value: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Table:
    """One of the log's small tables as it is stored.

    columns: name -> "INTEGER", "REAL" or "TEXT", in order. rows: None where there is nothing.
    """

    columns: dict[str, str]
    rows: list[tuple[Any, ...]]
