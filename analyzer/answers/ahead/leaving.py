"""The best hour to leave within so many: each hour asked as a plan that leaves then would be."""

from dataclasses import replace
from itertools import groupby

import numpy as np

from analyzer.answers.ahead.asked import SAME_SKY_S, TIDE_KEPT_S, Asked, passage_of
from analyzer.environment.stream_table import StreamTable
from analyzer.environment.wind import ONE_WIND_S
from analyzer.errors import BadRoute
from analyzer.range.leaving import Departure, departures
from logger.units import HOUR_S

LONGEST_H = 72.0  # ahead; tides and skies are not followed for longer; assumed


def leaving(asked: Asked, table: StreamTable | None) -> tuple[Departure, ...]:
    """The passage at each hour from the departure asked for on.

    Hours of which the log says as much are walked together, in the same draws; a plan that leaves
    at one of them alone is asked in the same way.

    Raises:
        BadRoute: No hour is left before the wanted arrival.
    """
    wish = asked.wish
    within_s = min(wish.leave_within_s or 0.0, LONGEST_H * HOUR_S)
    leave_s = asked.departure_s + np.arange(0.0, within_s + 1.0, HOUR_S)
    if wish.arrive_by_s is not None:
        leave_s = leave_s[leave_s < wish.arrive_by_s]
    rows: list[Departure] = []
    for _, alike in groupby(leave_s.tolist(), key=lambda t: _known(asked, t)):
        hours = list(alike)
        first = replace(asked, departure_s=hours[0])
        rows += departures(passage_of(first, table), np.array(hours))
    if not rows:
        raise BadRoute("no hour is left before the wanted arrival: give a later one")
    return tuple(rows)


def _known(asked: Asked, t_s: float) -> tuple[bool, bool, bool]:
    """Whether the log's wind, its tide and its sky still count at a departure."""
    ahead_s = replace(asked, departure_s=t_s).ahead_s
    return abs(ahead_s) < ONE_WIND_S, ahead_s <= TIDE_KEPT_S, ahead_s <= SAME_SKY_S
