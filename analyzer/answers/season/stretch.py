"""Which of a log's trips are a season's, and what was kept of each."""

from dataclasses import dataclass
from functools import cached_property

from analyzer.errors import NoTrip
from analyzer.estimation.results import LegRow, TripRow
from analyzer.hull import hull
from analyzer.hull.fouling import Fouling, fouling
from analyzer.hull.power_curve import PowerCurve
from analyzer.hull.steady_points import SteadyPoints
from analyzer.learned import season_history
from analyzer.learned.kept_trips import trip_row
from analyzer.learned.keys import STEADY, points_before, revive
from analyzer.learned.season_history import Energies
from analyzer.series.log import OpenLog
from logger.store import TripRecord
from logger.units import DAY_S

YEAR_S = 365.25 * DAY_S  # by definition
LEAST_S = 1800.0  # of steady motoring before a speed is called usual; as for gains, assumed


@dataclass(frozen=True)
class Outing:
    """A trip with what was kept of it; None or no points where nothing was."""

    record: TripRecord
    row: TripRow
    points: SteadyPoints
    energies: Energies | None

    def legs(self, kind: str) -> list[LegRow]:
        """Its legs that do one thing."""
        return [leg for leg in self.row.legs if leg.kind == kind]

    def lasts_s(self, kind: str) -> float:
        """Time of those legs."""
        return sum(leg.end_utc_s - leg.start_utc_s for leg in self.legs(kind))

    def motor(self) -> tuple[float, float] | None:
        """Energy and distance of the legs under motor that tell both, [Wh] and [m]; else None."""
        if self.row.energy_reason:
            return None
        told = [(g.energy_wh, g.distance_m) for g in self.legs("motoring")]
        both = [(wh, far_m) for wh, far_m in told if wh is not None and far_m is not None]
        return (sum(wh for wh, _ in both), sum(far for _, far in both)) if both else None


@dataclass(frozen=True)
class Season:
    """What a season's answer is made from; times on the log's timeline. [µs]"""

    log: OpenLog
    start_us: int
    end_us: int
    outings: tuple[Outing, ...]

    @cached_property
    def prior(self) -> PowerCurve:
        """The boat's curve before any trip."""
        return hull.prior(self.log.boat)

    @cached_property
    def points(self) -> SteadyPoints:
        """All steady motoring of the season."""
        return SteadyPoints.join([outing.points for outing in self.outings])

    @cached_property
    def curve(self) -> PowerCurve:
        """Power against speed as the season's steady motoring shows it."""
        return hull.fit(self.points, self.prior)

    @cached_property
    def fouling(self) -> Fouling:
        """Speed losses up to the season's end, those of earlier seasons too."""
        return fouling(points_before(self.log, self.end_us + 1), self.prior)

    @cached_property
    def usual_mps(self) -> float | None:
        """The middle of the season's steady motoring, by time; None with too little of it."""
        enough = float(self.points.duration_s.sum()) >= LEAST_S
        return self.points.middle_mps if enough else None


def season_of(log: OpenLog, start_utc_s: float | None, end_utc_s: float | None) -> Season:
    """The season between two times; None: the year up to the newest trip's end.

    Raises:
        NoTrip: No trip began in it.
    """
    records = log.store.trips()
    if not records:
        raise NoTrip(f"{log.store.path} holds no trip yet: a trip is at least five minutes moving")
    end_s = records[-1].end_us / 1e6 if end_utc_s is None else end_utc_s
    start_s = end_s - YEAR_S if start_utc_s is None else start_utc_s
    start_us, end_us = round(start_s * 1e6), round(end_s * 1e6)
    chosen = [record for record in records if start_us <= record.start_us <= end_us]
    if not chosen:
        raise NoTrip(
            f"no trip of the log began in that time: its {len(records)} trips are listed by "
            "`keelwatt trips`"
        )
    points = {(k.from_us, k.to_us): k.value for k in log.store.learned(STEADY)}
    energies = season_history.of_trips(log)
    outings = []
    for record in chosen:
        key = record.start_us, record.end_us
        kept = revive(SteadyPoints.from_dict, points[key]) if key in points else None
        row = trip_row(record)
        outings.append(Outing(record, row, kept or SteadyPoints.none(), energies.get(key)))
    return Season(log, start_us, end_us, tuple(outings))
