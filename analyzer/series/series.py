"""Channels on one clock; gaps stay gaps."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt

from logger.store import Store

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Series:
    """Channels on an even grid.

    Args:
        t0_us: First grid time on the log's timeline (UTC where the boot is dated). [µs]
        step_s: Grid step. [s]
        values: Channel -> shape (n,), NaN where nothing was measured.
        n: Number of grid times.
        part: Of which series this was cut, and from which grid index on; None: of none.
    """

    t0_us: int
    step_s: float
    n: int
    values: dict[str, Floats]
    part: "tuple[Series, int] | None" = field(default=None, init=False, repr=False, compare=False)

    @property
    def t_s(self) -> Floats:
        """Seconds since `t0_us`, shape (n,)."""
        return np.asarray(np.arange(self.n) * self.step_s, np.float64)

    @property
    def t_utc_s(self) -> Floats:
        """Seconds since 1970, shape (n,)."""
        return self.t0_us / 1e6 + self.t_s

    def has(self, *names: str) -> bool:
        """Whether each of these channels has at least one value."""
        for name in names:
            values = self.values.get(name)
            if values is None or not np.isfinite(values).any():
                return False
        return True

    def get(self, name: str) -> Floats:
        """The channel, or all NaN where it is not there. Shape (n,)."""
        found = self.values.get(name)
        return np.full(self.n, np.nan) if found is None else found

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Channels, in the order of the table's rows."""
        return tuple(self.values)

    @cached_property
    def _table(self) -> Floats:
        """Shape (channels, n)."""
        rows = [self.values[name] for name in self.names]
        return np.array(rows).reshape(-1, self.n)

    @cached_property
    def extremes(self) -> tuple[Floats, Floats]:
        """Lowest and highest reading of each channel, NaN where there was none, (channels,)."""
        if not self.names:
            return np.empty(0), np.empty(0)
        return np.fmin.reduce(self._table, axis=1), np.fmax.reduce(self._table, axis=1)

    @cached_property
    def lowest(self) -> dict[str, float]:
        """Lowest reading of each channel; NaN where there was none."""
        return dict(zip(self.names, self.extremes[0].tolist(), strict=True))

    @cached_property
    def highest(self) -> dict[str, float]:
        """Highest reading of each channel; NaN where there was none."""
        return dict(zip(self.names, self.extremes[1].tolist(), strict=True))

    def ages(self) -> tuple[Floats, Floats, Floats]:
        """First and last time at which each channel was read, and how often. Shape (channels,)

        NaN, NaN and 0 where it was not.
        """
        have = np.isfinite(self._table)
        count = have.sum(axis=1)
        first = have.argmax(axis=1)
        last = self.n - 1 - have[:, ::-1].argmax(axis=1)
        t0_s = np.where(count == 0, np.nan, self.t0_us / 1e6)
        first_s = t0_s + first * self.step_s
        last_s = t0_s + last * self.step_s
        return first_s, last_s, count.astype(float)

    def cut(self, start: int, stop: int) -> "Series":
        """Grid indices start to stop (not included), as views."""
        start, stop = max(start, 0), min(stop, self.n)
        t0_us = self.t0_us + round(start * self.step_s * 1e6)
        values = {k: v[start:stop] for k, v in self.values.items()}
        cut = Series(t0_us, self.step_s, max(stop - start, 0), values)
        object.__setattr__(cut, "part", (self, start))  # frozen, but for who makes it
        return cut


def last_known(known: Bools) -> Ints:
    """Index of the newest True up to each place, -1 before the first. (n,)"""
    return np.maximum.accumulate(np.where(known, np.arange(len(known)), -1))


def on_grid(
    t_us: Ints,
    values: Floats,
    t0_us: int,
    step_s: float,
    n: int,
    hold_s: float | Floats,
) -> Floats:
    """Mean of the values in each grid cell; a cell without one holds the last for `hold_s`.

    Args:
        t_us: Times, non-decreasing, shape (m,). [µs]
        values: Shape (m,); NaN is skipped.
        t0_us, step_s, n: The grid; cell k covers [t0 + k·step, t0 + (k+1)·step).
        hold_s: A value older than this is missing, not held; one for all, or of each, (m,).
    Returns:
        Shape (n,), NaN where missing.
    """
    ok = np.isfinite(values)
    holds_s = np.broadcast_to(hold_s, len(t_us))[ok]
    t_us, values = t_us[ok], values[ok]
    cell = ((t_us - t0_us) // round(step_s * 1e6)).astype(np.int64)
    inside = (cell >= 0) & (cell < n)
    cell, values = cell[inside], values[inside]
    held_s = np.zeros(n)
    held_s[cell] = holds_s[inside]  # of a cell's last reading
    count = np.bincount(cell, minlength=n)
    total = np.bincount(cell, weights=values, minlength=n)
    have = count > 0
    grid = np.full(n, np.nan)
    np.divide(total, count, out=grid, where=have)
    last = last_known(have)
    age_s = (np.arange(n) - last) * step_s
    fill = ~have & (last >= 0) & (age_s <= held_s[last])
    grid[fill] = grid[last[fill]]
    return grid


HELD_S = 30.0  # a reading of a fast channel says nothing of what is later; assumed
SLOW_INTERVALS, SLOW_HELD_S = 1.25, 120.0  # a slow channel's next reading may be so late; assumed
ABOUT = 5  # intervals about a reading that say how often it comes there; assumed
_AROUND = np.arange(ABOUT) - ABOUT // 2
ANGLES = ("course_ground_deg", "heading_true_deg", "heading_magnetic_deg")


def load(
    store: Store,
    names: Iterable[str],
    start_us: int,
    end_us: int,
    step_s: float = 1.0,
) -> Series:
    """Channels from the log on one grid.

    Args:
        names: Channels; one that the log does not hold is left out.
        start_us, end_us: On the log's timeline. [µs]
        step_s: Grid step. [s]
    Returns:
        The series; for how long a value is held: see `_hold_s`.
    """
    n = max(int(np.ceil((end_us - start_us) / (step_s * 1e6))), 0)
    values: dict[str, Floats] = {}

    def gridded(readings: Floats) -> Floats:
        return on_grid(t_us, readings, start_us, step_s, n, hold_s)

    for name in names:
        t_us, readings = store.read(name, start_us, end_us)
        if not len(t_us):
            continue
        hold_s = _hold_s(t_us, step_s)
        if name in ANGLES:
            angle = np.radians(readings)
            sin, cos = gridded(np.sin(angle)), gridded(np.cos(angle))
            values[name] = np.degrees(np.arctan2(sin, cos)) % 360.0
        else:
            values[name] = gridded(readings)
    return Series(start_us, step_s, n, values)


def _hold_s(t_us: Ints, step_s: float) -> Floats:
    """For how long each reading stands where none follows, (m,). [s]

    2.5 times the usual interval, at most 30 s; of a slower channel until the next should be there,
    lest half of a minute's energy be missing. Usual is the middle of all intervals, and where
    readings come more slowly for a while, of the few about each: a logger may be set to another
    rate, and one long silence is none.
    """
    gaps_s = np.diff(t_us) / 1e6
    usual_s = np.full(len(t_us), float(np.median(gaps_s)) if len(gaps_s) > 1 else step_s)
    if len(gaps_s) >= ABOUT and gaps_s.max() > usual_s[0]:
        slower = np.pad(gaps_s > usual_s[0], ABOUT // 2, mode="edge").astype(np.int8)
        most = np.convolve(slower, np.ones(ABOUT, dtype=np.int8), "valid") > ABOUT // 2
        about = np.clip(np.flatnonzero(most)[:, None] + _AROUND, 0, len(gaps_s) - 1)
        usual_s[:-1][most] = np.median(gaps_s[about], axis=1)
        usual_s[-1] = usual_s[-2]
    slow_s = np.minimum(SLOW_INTERVALS * usual_s, SLOW_HELD_S)
    most_s = np.maximum(HELD_S, slow_s)
    return np.asarray(np.minimum(np.maximum(2.5 * usual_s, 2 * step_s), most_s))
