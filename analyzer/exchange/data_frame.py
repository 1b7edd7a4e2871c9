"""A log and its answers as pandas data frames.

>>> from analyzer import answers
>>> log = answers.open_log("demo.sqlite")
>>> frame = log.frame("pack_voltage_v", "pack_current_a", trip=1)

From there on it is pandas: the most that the pack gave, and its energy over ten minutes each.

>>> power_w = frame["pack_voltage_v"] * frame["pack_current_a"]
>>> bool(3000 < power_w.max() < 10000)
True
>>> energy_wh = power_w.resample("10min").sum() / 3600
>>> frame.attrs["units"]
{'pack_voltage_v': 'V', 'pack_current_a': 'A'}

Answers of many rows become frames too; an estimate becomes its middle and its range.

>>> trips = answers.table(log.trips())
>>> trips[["number", "charge_end", "charge_end_low", "charge_end_high"]].round(2).shape
(1, 4)
>>> log.close()
"""

from typing import TYPE_CHECKING

import numpy as np

from analyzer.errors import installed
from analyzer.exchange.rows import choose, rows
from logger.store import Store

if TYPE_CHECKING:
    import pandas as pd


def frame(
    store: Store, *channels: str, trip: int | None = None, step_s: float | None = 1.0
) -> "pd.DataFrame":
    """Channels of a log as a data frame.

    Args:
        store: The log, open.
        channels: Names; none given: all that the log holds.
        trip: Only the trip of that number; None: the whole log.
        step_s: Seconds from row to row, each the mean over them (angles: the mean direction);
            None: every reading at its own time.
    Returns:
        A row a time, in time order; index "utc", aware of its zone (a boot whose date is not
        known comes after the one before it); a column a channel, NaN where nothing was measured.
        `frame.attrs["units"]` has the units.
    Raises:
        NoTrip, NoChannel: The log holds no such one.
    """
    pandas = installed("pandas", "a data frame", "frames")
    stretch = choose(store, trip, channels, step_s)
    pieces = list(rows(store, stretch))
    t_us = [piece.t_mono_us + piece.boot.timeline_offset_us for piece in pieces]
    width = len(stretch.channels)
    found: pd.DataFrame = pandas.DataFrame(
        np.concatenate([np.empty((0, width)), *(piece.values for piece in pieces)]),
        columns=list(stretch.channels),
        index=pandas.DatetimeIndex(
            np.concatenate([np.empty(0, np.int64), *t_us]).astype("datetime64[us]"), name="utc"
        ).tz_localize("UTC"),
    )
    held = store.channels()
    found.attrs["units"] = {name: held[name].unit for name in stretch.channels}
    return found.sort_index(kind="stable")
