"""When to leave: the same passage at each of many departures, in the same draws.

Departures differ by tide, sun and wind alone: what is drawn of boat, pack and weather is drawn
once (common random numbers), so that small differences between hours show.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.estimation.estimate import Estimate
from analyzer.range.passage import Ints, LegEnd, begin, draw_boats, walk_leg
from analyzer.range.plan import Passage, cheapest
from analyzer.range.reach import middle

Floats = npt.NDArray[np.float64]

AS_SURE = 0.005  # two departures are as sure as each other within this: as shown, by definition


@dataclass(frozen=True)
class Departure:
    """One hour to leave at.

    arrives_frac: probability of arriving above the reserve and every other limit.
    in_time_frac: of that and by the wanted time; None where no time was wanted.
    energy, charge, arrival_utc_s: At the end. [Wh], [frac], [UTC s]
    speeds_water_mps: Of each leg.
    """

    departure_utc_s: float
    arrives_frac: float
    in_time_frac: float | None
    energy: Estimate
    charge: Estimate
    arrival_utc_s: Estimate
    speeds_water_mps: tuple[float, ...]

    @property
    def sure_frac(self) -> float:
        """What is wanted: above the reserve, and in time where a time was."""
        return self.arrives_frac if self.in_time_frac is None else self.in_time_frac


def departures(passage: Passage, leave_s: Floats) -> list[Departure]:
    """The passage at each departure, at its own cheapest speeds unless they are given.

    Args:
        leave_s: Rising, (m,). [UTC s]
    """
    m, legs = len(leave_s), passage.route.legs
    told = passage.speeds_mps
    speeds = cheapest(passage, leave_s) if told is None else np.tile(told, (m, 1))
    boats = draw_boats(passage.given, passage.route, passage.around)
    n = len(boats.hotel_w)
    many = boats.repeated(m)
    first = at = begin(many, np.repeat(leave_s, n))
    for k, leg in enumerate(legs):
        at = walk_leg(many, k, leg, np.repeat(speeds[:, k], n), at)
    found = []
    for j in range(m):
        begins, ends = (_part(end, j, n) for end in (first, at))
        found.append(_departure(passage, speeds[j], begins, ends))
    return found


def _part(end: LegEnd, j: int, n: int) -> LegEnd:
    """The draws of one departure."""
    mine: Ints = np.arange(j * n, (j + 1) * n)
    return LegEnd(end.t_s[mine], end.soc[mine], end.energy_wh[mine], end.ended[mine])


def _departure(passage: Passage, speeds: Floats, first: LegEnd, last: LegEnd) -> Departure:
    wanted_s = passage.arrive_by_s
    holds = ~last.ended
    in_time = None
    if wanted_s is not None:
        early = last.t_s <= wanted_s
        in_time = float((holds & early).mean())
    return Departure(
        departure_utc_s=float(first.t_s[0]),
        arrives_frac=float(holds.mean()),
        in_time_frac=in_time,
        energy=middle(last.energy_wh, "Wh"),
        charge=middle(last.soc, "frac"),
        arrival_utc_s=middle(last.t_s, "s"),
        speeds_water_mps=tuple(speeds.tolist()),
    )


def best(rows: Sequence[Departure]) -> Departure:
    """The surest; of those that are as sure, the one with the most charge left; then the first."""
    surest = max(row.sure_frac for row in rows)
    sure = [row for row in rows if row.sure_frac >= surest - AS_SURE]
    return max(sure, key=lambda row: (row.charge.mid or 0.0, -row.departure_utc_s))
