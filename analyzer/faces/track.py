"""A trip's track as GPX 1.1, written by gpxpy."""

from datetime import UTC, datetime

import numpy as np

from analyzer import series
from analyzer.errors import AnalyzerError
from analyzer.faces.table import Table
from logger.store import Store

_WANTED = ("latitude_deg", "longitude_deg")


class NoTrack(AnalyzerError, LookupError):  # noqa: N818 - reads as the sentence it makes
    """No position was recorded."""


def gpx(store: Store, table: Table, name: str) -> str:
    """The positions in a stretch of the log; a new segment after a gap.

    Args:
        table: The stretch and the step; its channels do not matter.
        name: The track's name.
    Raises:
        NoTrack: No position was recorded in it.
    """
    import gpxpy.gpx as form

    part = series.load(store, _WANTED, table.start_us, table.end_us, table.step_s)
    latitude, longitude = (part.get(channel) for channel in _WANTED)
    have = np.flatnonzero(np.isfinite(latitude) & np.isfinite(longitude))
    if not len(have):
        raise NoTrack("no position was recorded on this trip")
    document = form.GPX()
    document.creator = "keelwatt"
    track = form.GPXTrack(name=name)
    document.tracks.append(track)
    times = part.t_utc_s
    for run in np.split(have, np.flatnonzero(np.diff(have) > 1) + 1):
        segment = form.GPXTrackSegment()
        segment.points.extend(
            form.GPXTrackPoint(
                round(float(latitude[k]), 7),
                round(float(longitude[k]), 7),
                time=datetime.fromtimestamp(float(times[k]), UTC),
            )
            for k in run
        )
        track.segments.append(segment)
    return document.to_xml(version="1.1")
