"""Long stretches thinned for drawing, so that no peak is lost: lowest and highest of each bin.

A plot has two points for each bin, the bin's two extremes in the order in which they came; where a
bin holds one reading both are that one. Whole days are remembered by the minute, so that a month
is read from the log once and panned from memory.
"""

import threading
from collections import OrderedDict
from collections.abc import Sequence

import numpy as np

from analyzer.estimation.results import Plot
from analyzer.series.series import Floats, Ints, Series, last_known
from analyzer.series.steps import Steps
from logger.store import Store

Pair = tuple[Floats, Floats]  # the bins' extremes in the order in which they came

MINUTE_US = 60_000_000  # by definition
DAY_US = 1440 * MINUTE_US
MOST_DAYS = 1500  # channel days kept: 23 kB each, 35 MB on a small board; assumed
LEAST_STEP_US = 1_000_000  # as readings are loaded elsewhere; assumed
HOLD_US = 30_000_000  # a slow channel's reading is drawn on for so long at most; assumed


def binned(
    t_us: Ints,
    low: Floats,
    high: Floats,
    t0_us: int,
    step_us: int,
    n: int,
) -> Pair:
    """Extremes of each bin [t0 + k·step, t0 + (k + 1)·step).

    Args:
        t_us: Times, non-decreasing, shape (m,).
        low, high: What each reading stands for, shape (m,); the same where nothing was thinned.
    Returns:
        First and second extreme, shape (n,) each; NaN in a bin without a reading.
    """
    edges = np.searchsorted(t_us, t0_us + step_us * np.arange(n + 1))
    have = np.flatnonzero(np.diff(edges))
    first, second = np.full(n, np.nan), np.full(n, np.nan)
    if not len(have):
        return first, second
    inside = slice(edges[0], edges[-1])
    starts = edges[have] - edges[0]
    lows = np.minimum.reduceat(low[inside], starts)
    highs = np.maximum.reduceat(high[inside], starts)
    ends = np.append(starts[1:], edges[-1] - edges[0]) - 1
    rising = high[inside][ends] - low[inside][starts] >= 0  # as good an order as drawing needs
    first[have] = np.where(rising, lows, highs)
    second[have] = np.where(rising, highs, lows)
    return first, second


class Overview:
    """Remembers the minutes of whole days that are over."""

    def __init__(self) -> None:
        self._days: OrderedDict[tuple[object, ...], Pair] = OrderedDict()
        self._lock = threading.Lock()

    def knows(self, names: Sequence[str], day: int, boots: object) -> bool:
        """Whether a day is remembered of all these channels."""
        with self._lock:
            return all((name, day, boots) in self._days for name in names)

    def minutes(self, store: Store, name: str, day: int, boots: object) -> Pair:
        """The 1440 minutes of a day, counted from 1970.

        Args:
            boots: Differs whenever the log's times were dated anew.
        """
        key = (name, day, boots)
        with self._lock:
            known = self._days.get(key)
            if known is not None:
                self._days.move_to_end(key)
                return known
        start_us = day * DAY_US
        t_us, low, _, high = store.extremes(name, start_us, start_us + DAY_US)
        found = binned(t_us, low, high, start_us, MINUTE_US, 1440)
        with self._lock:
            self._days[key] = found
            while len(self._days) > MOST_DAYS:
                self._days.popitem(last=False)
        return found


def window(
    store: Store,
    names: Sequence[str],
    start_us: int,
    end_us: int,
    points: int,
    overview: Overview | None = None,
) -> Plot:
    """Channels of any stretch of the log, thinned so that peaks stay.

    Args:
        names: Channels; one that the log does not hold is left out.
        start_us, end_us: On the timeline. [µs]
        points: At most so many times.
        overview: Remembers what long stretches need; None: nothing is remembered.
    """
    step_us = max(-(-(end_us - start_us) * 2 // points), LEAST_STEP_US)
    overview = overview or Overview()
    if step_us >= MINUTE_US:
        step_us = -(-step_us // MINUTE_US) * MINUTE_US
        start_us = start_us // MINUTE_US * MINUTE_US
    n = max(-(-(end_us - start_us) // step_us), 1)
    held = store.channels()
    found: dict[str, Pair] = {}
    for name in names:
        if name not in held:
            continue
        if step_us >= MINUTE_US:
            found[name] = _from_minutes(store, name, start_us, step_us, n, overview)
        else:
            t_us, low, _, high = store.extremes(name, start_us, start_us + n * step_us)
            pair = binned(t_us, low, high, start_us, step_us, n)
            found[name] = _held(pair, _hold(t_us, step_us))
    times = (start_us + step_us * (np.arange(2 * n) / 2 + 0.25)) / 1e6
    return Plot(times.tolist(), {name: listed(woven(*pair)) for name, pair in found.items()})


def _from_minutes(
    store: Store,
    name: str,
    start_us: int,
    step_us: int,
    n: int,
    overview: Overview,
) -> Pair:
    """Bins of whole minutes; days that are over come from memory."""
    boots = _boots(store)
    span = store.span()
    newest_us = span[1] if span else 0
    end_us = start_us + n * step_us
    first, second = [], []
    for day in range(start_us // DAY_US, -(-end_us // DAY_US)):
        over = (day + 1) * DAY_US <= newest_us
        memory = overview if over else Overview()
        one, other = memory.minutes(store, name, day, boots)
        first.append(one)
        second.append(other)
    skip = start_us % DAY_US // MINUTE_US
    per = step_us // MINUTE_US
    wanted = slice(skip, skip + n * per)
    begin, end = np.concatenate(first)[wanted], np.concatenate(second)[wanted]
    return by_bins(np.fmin(begin, end), np.fmax(begin, end), per, begin, end)


def remember_day(store: Store, names: Sequence[str], overview: Overview) -> bool:
    """Reads the newest day of the last month that is over and not remembered yet.

    Returns:
        Whether there was one.
    """
    span = store.span()
    if span is None:
        return False
    boots = _boots(store)
    last = span[1] // DAY_US - 1
    for day in range(last, max(last - 31, span[0] // DAY_US - 1), -1):
        if not overview.knows(names, day, boots):
            for name in names:
                overview.minutes(store, name, day, boots)
            return True
    return False


def _boots(store: Store) -> object:
    """Differs whenever the log's times were dated anew."""
    return tuple((boot.number, boot.timeline_offset_us) for boot in store.boots())


def by_bins(low: Floats, high: Floats, per: int, first: Floats, last: Floats) -> Pair:
    """Extremes of each `per` neighbours in an even row; the row is filled up with gaps.

    Args:
        low, high: Shape (m,).
        first, last: Tell whether a bin rises: its first against its last, shape (m,).
    """
    lows: Floats = np.fmin.reduce(_rows(low, per), axis=1)
    highs: Floats = np.fmax.reduce(_rows(high, per), axis=1)
    begins, ends = _rows(first, per), _rows(last, per)
    bins = np.arange(len(lows))
    begin: Floats = begins[bins, np.isfinite(begins).argmax(axis=1)]
    from_end = np.isfinite(ends)[:, ::-1].argmax(axis=1)
    end: Floats = ends[bins, per - 1 - from_end]
    rising = np.logical_not(end < begin)
    return np.where(rising, lows, highs), np.where(rising, highs, lows)


def _rows(values: Floats, per: int) -> Floats:
    """Rows of `per` neighbours, the last filled up with gaps. (n, per)"""
    n = -(-len(values) // per)
    filled = np.full(n * per, np.nan)
    filled[: len(values)] = values
    return filled.reshape(n, per)


def thinned(series: Series, points: int, means: Sequence[str] = ()) -> Plot:
    """A series of one clock thinned so that peaks stay.

    Args:
        points: At most so many times.
        means: Channels that are drawn as their bins' means instead, such as those of a stack.
    """
    if series.n <= points:
        named = {name: listed(values) for name, values in series.values.items()}
        return Plot(series.t_utc_s.tolist(), named)
    per = -(-series.n * 2 // points)
    n = -(-series.n // per)
    named = {}
    for name, values in series.values.items():
        if name in means:
            named[name] = listed(np.repeat(_means(values, per), 2))
        else:
            named[name] = listed(woven(*by_bins(values, values, per, values, values)))
    times = series.t0_us / 1e6 + series.step_s * per * (np.arange(2 * n) / 2 + 0.25)
    return Plot(times.tolist(), named)


def _means(values: Floats, per: int) -> Floats:
    bins = Steps.of(len(values), 1.0, per)
    return bins.mean(values, np.isfinite(values))


def woven(first: Floats, second: Floats) -> Floats:
    """Both extremes of each bin, one after the other, shape (2n,)."""
    return np.column_stack([first, second]).ravel()


def listed(values: Floats) -> list[float | None]:
    """Numbers for JSON; None where there is none."""
    return [None if v != v else round(v, 6) for v in values.tolist()]


def _hold(t_us: Ints, step_us: int) -> int:
    """Bins over which a reading is drawn on: 2.5 times the channel's usual interval."""
    if len(t_us) < 3:
        return 0
    usual_us = float(np.median(np.diff(t_us)))
    return int(min(2.5 * usual_us, HOLD_US) // step_us)


def _held(pair: Pair, bins: int) -> Pair:
    """Bins without a reading take the last one's later value, for so many bins."""
    first, second = pair
    if not bins or not len(first):
        return pair
    have = np.isfinite(first)
    last = last_known(have)
    age = np.arange(len(first)) - last
    fill = ~have & (last >= 0) & (age <= bins)
    held = second[last]
    return np.where(fill, held, first), np.where(fill, held, second)
