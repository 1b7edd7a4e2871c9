"""Streams that trips have shown, with where they were: what a place's tide is learned from."""

from typing import Any

import numpy as np
import numpy.typing as npt

from analyzer.environment.stream import Stream
from analyzer.environment.tide_fit import SeenStreams
from analyzer.learned.keys import STREAMS
from analyzer.series.log import OpenLog
from analyzer.series.series import Series
from logger.units import NMI, UNDATED_S

Floats = npt.NDArray[np.float64]

NEAR_M = 3 * NMI  # a stream seen so near a place is taken for that of the place; assumed
DIGITS = 5  # of what is kept: a metre, a fraction of a millimetre a second; by definition


def along(series: Series, stream: Stream) -> dict[str, Any]:
    """A trip's stream where its place is known: rows of time, place, east, north and sd."""
    places = [series.get(name) for name in ("latitude_deg", "longitude_deg")]
    known = np.isfinite(places[0] + places[1])
    if not known.any():
        return {"rows": []}
    t_s = series.t_utc_s[known]
    lat, lon = (np.interp(stream.t_s, t_s, one[known]) for one in places)
    sd = np.sqrt(np.linalg.eigvalsh(stream.cov)[:, -1])
    rows = np.column_stack([stream.t_s, lat, lon, stream.mean_mps, sd])
    return {"rows": np.round(rows, DIGITS).tolist()}


def near(log: OpenLog, places_deg: list[tuple[float, float]]) -> SeenStreams:
    """Streams of all dated trips near one of some places (latitude, longitude), in time order."""
    found: list[Floats] = []
    numbers: list[npt.NDArray[np.int64]] = []
    for number, kept in enumerate(log.store.learned(STREAMS)):
        rows = np.array(kept.value.get("rows", ())).reshape(-1, 6)
        mine = rows[_are_near(rows, places_deg)]
        found.append(mine)
        numbers.append(np.full(len(mine), number))
    every = np.concatenate(found) if found else np.zeros((0, 6))
    trip = np.concatenate(numbers) if numbers else np.zeros(0, np.int64)
    return SeenStreams(every[:, 0], trip, every[:, 3:5], every[:, 5])


def _are_near(rows: Floats, places_deg: list[tuple[float, float]]) -> npt.NDArray[np.bool_]:
    """Which dated rows lie near one of some places, (n,). On a plane, good enough for miles."""
    lat, lon = np.array(places_deg).T
    north_m = (rows[:, 1, None] - lat) * 60 * NMI
    east_m = ((rows[:, 2, None] - lon + 180) % 360 - 180) * 60 * NMI * np.cos(np.radians(lat))
    close = (np.hypot(east_m, north_m) < NEAR_M).any(axis=1)
    return np.asarray(close & (rows[:, 0] > UNDATED_S))
