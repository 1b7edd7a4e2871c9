"""The trips that a look through the log has found and kept."""

from typing import Any

from analyzer.errors import NoTrip
from analyzer.estimation.estimate import Estimate
from analyzer.estimation.ground import Ground
from analyzer.estimation.results import SCHEMA, LegRow, TripRow
from analyzer.series.log import OpenLog
from logger.store import TripRecord


def trips(log: OpenLog) -> tuple[TripRow, ...]:
    """The trips, oldest first."""
    return tuple(trip_row(record) for record in log.store.trips())


def find_trip(log: OpenLog, number: int | None) -> TripRecord:
    """The trip of that number, or the newest.

    Raises:
        NoTrip: There is none.
    """
    known = log.store.trips()
    if not known:
        raise NoTrip(f"{log.store.path} holds no trip yet: a trip is at least five minutes moving")
    if number is None:
        return known[-1]
    for record in known:
        if record.number == number:
            return record
    last = known[-1].number
    raise NoTrip(f"there is no trip {number}: the log holds trips 1 to {last} (`keelwatt trips`)")


def trip_row(record: TripRecord) -> TripRow:
    """The row that was kept for a trip."""
    data: dict[str, Any] = dict(record.summary)
    data["charge_start"] = _estimate(data["charge_start"])
    data["charge_end"] = _estimate(data["charge_end"])
    data["legs"] = tuple(LegRow(**leg) for leg in data["legs"])
    data["number"] = record.number
    data["grounds"] = tuple(Ground(**one) for one in data.get("grounds", ()))
    data["schema"] = SCHEMA
    return TripRow(**data)


def _estimate(data: dict[str, Any]) -> Estimate:
    return Estimate(**{**data, "used": tuple(data["used"]), "missing": tuple(data["missing"])})
