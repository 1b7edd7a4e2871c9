"""Readings as rows: one a time, a column a channel, boot by boot.

A channel with two readings at one time gets a second row at that time. Times are those of the
boot's own clock, so that a boot whose date is not known loses nothing.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.errors import NoChannel, NoTrip
from analyzer.series.series import ANGLES, Floats, on_grid
from logger import boat as boats
from logger.errors import BoatFileError
from logger.store import Boot, Store

Ints = npt.NDArray[np.int64]

PIECE_US = 3600 * 1_000_000  # read at a time, assumed: 5 MB of 40 channels at 1 Hz


@dataclass(frozen=True)
class Stretch:
    """What to write: channels, a stretch of the timeline, the step.

    start_us, end_us: Half open. [µs] step_s: None: every reading at its own time.
    """

    channels: tuple[str, ...]
    start_us: int
    end_us: int
    step_s: float | None = None


@dataclass(frozen=True)
class Rows:
    """Rows of one boot in time order.

    t_mono_us: On the boot's clock, shape (n,). [µs]
    values: Shape (n, channels), NaN where missing; no row is empty.
    """

    boot: Boot
    t_mono_us: Ints
    values: Floats

    @property
    def utc_offset_us(self) -> int | None:
        """UTC less the boot's clock; None where it is not known, or cannot be right. [µs]"""
        known = self.boot.utc_offset_us
        return known if known == self.boot.timeline_offset_us else None


def choose(
    store: Store, trip: int | None = None, channels: Sequence[str] = (), step_s: float | None = None
) -> Stretch:
    """One trip, or the whole log.

    Args:
        trip: Its number; None: the whole log.
        channels: Names; none given: all that the log holds.
        step_s: Seconds from row to row; None: every reading at its own time.
    Raises:
        NoTrip, NoChannel: The log holds no such one.
    """
    held = store.channels()
    for name in channels:
        if name not in held:
            raise NoChannel(f"the log holds no channel {name!r}: `keelwatt check` lists them")
    return Stretch(tuple(channels) or tuple(sorted(held)), *_between(store, trip), step_s)


def boat_name(store: Store) -> str:
    """As the log's boat file says, else "unnamed"."""
    text = store.boat_text()
    try:
        return boats.parse(text, "boat.toml").name if text else "unnamed"
    except BoatFileError:
        return "unnamed"


def rows(store: Store, stretch: Stretch) -> Iterator[Rows]:
    """The readings, boot by boot, some hours at a time.

    With a step, each row is the mean over it (angles: the mean direction) and its time the
    step's beginning; a step without a reading has no row.
    """
    boots = store.boots()
    for boot in sorted(boots, key=lambda b: (b.first_us or 0) + b.timeline_offset_us):
        if boot.first_us is None or boot.last_us is None:
            continue
        start_us = max(stretch.start_us, boot.first_us + boot.timeline_offset_us)
        end_us = min(stretch.end_us, boot.last_us + boot.timeline_offset_us + 1)
        for first_us, last_us in _pieces(stretch, start_us, end_us):
            t_us, values = _piece(store, stretch, boot.number, first_us, last_us)
            if len(t_us):
                yield Rows(boot, t_us - boot.timeline_offset_us, values)


def _between(store: Store, trip: int | None) -> tuple[int, int]:
    if trip is None:
        span = store.span()
        return (span[0], span[1] + 1) if span else (0, 0)
    for record in store.trips():
        if record.number == trip:
            return record.start_us, record.end_us
    raise NoTrip(f"the log holds no trip {trip}: `keelwatt trips` lists them")


def _pieces(stretch: Stretch, start_us: int, end_us: int) -> Iterator[tuple[int, int]]:
    """Pieces of the stretch; with a step, whole steps counted from the stretch's beginning."""
    if stretch.step_s is None:
        step_us = 1
        many = PIECE_US
    else:
        step_us = round(stretch.step_s * 1e6)
        many = max(PIECE_US // step_us, 1)
    at = stretch.start_us + (start_us - stretch.start_us) // step_us * step_us
    while at < end_us:
        yield at, min(at + many * step_us, stretch.end_us)
        at += many * step_us


def _piece(
    store: Store, stretch: Stretch, boot: int, start_us: int, end_us: int
) -> tuple[Ints, Floats]:
    read = [store.read(name, start_us, end_us, boot) for name in stretch.channels]
    if stretch.step_s is None:
        return _joined(read)
    n = -(-(end_us - start_us) // round(stretch.step_s * 1e6))
    columns = [
        _means(name, *one, start_us, stretch.step_s, n)
        for name, one in zip(stretch.channels, read, strict=True)
    ]
    values = np.column_stack(columns) if columns else np.empty((n, 0))
    have = np.isfinite(values).any(axis=1)
    t_us = start_us + np.flatnonzero(have) * round(stretch.step_s * 1e6)
    return t_us.astype(np.int64), values[have]


def _joined(read: Sequence[tuple[Ints, Floats]]) -> tuple[Ints, Floats]:
    """Channels side by side, a row for each time; readings of one time in the order they came."""
    ranks = [_rank(t_us) for t_us, _ in read]
    some = [rank for rank in ranks if len(rank)]
    most = max((int(rank.max()) for rank in some), default=0) + 1
    firsts = [int(t_us[0]) for t_us, _ in read if len(t_us)]
    base = min(firsts, default=0)
    keys = []
    for (t_us, _), rank in zip(read, ranks, strict=True):
        keys.append((t_us - base) * most + rank)
    every = np.unique(np.concatenate(keys)) if keys else np.empty(0, np.int64)
    values = np.full((len(every), len(read)), np.nan)
    for k, key in enumerate(keys):
        _, column = read[k]
        values[np.searchsorted(every, key), k] = column
    return every // most + base, values


def _rank(t_us: Ints) -> Ints:
    """How many readings before each have its time."""
    if not len(t_us):
        return t_us
    first = np.flatnonzero(np.diff(t_us, prepend=t_us[0] - 1))
    alike = np.diff(np.append(first, len(t_us)))
    return np.arange(len(t_us)) - np.repeat(first, alike)


def _means(name: str, t_us: Ints, values: Floats, start_us: int, step_s: float, n: int) -> Floats:
    if name not in ANGLES:
        return on_grid(t_us, values, start_us, step_s, n, 0.0)
    angle = np.radians(values)
    east = on_grid(t_us, np.sin(angle), start_us, step_s, n, 0.0)
    north = on_grid(t_us, np.cos(angle), start_us, step_s, n, 0.0)
    return np.degrees(np.arctan2(east, north)) % 360.0
