"""A trip explained: where the watt-hours and the volts went."""

from analyzer.answers.flags import views
from analyzer.answers.grounded import COUNTED, seldom, sparse
from analyzer.estimation.results import ReviewAnswer, SagAccount, TripRow
from analyzer.flags import monitor as watch
from analyzer.learned import sag_history
from analyzer.learned.charge_history import REST_BEFORE_US, follow
from analyzer.learned.kept_trips import find_trip, trip_row
from analyzer.pack.soc import turned
from analyzer.series.log import OpenLog, pack_channels
from analyzer.trips import ledger, sag, sag_account
from analyzer.trips import trips as outings
from logger.store import TripRecord

REST_AFTER_US = 60 * 60 * 1_000_000  # of the pack, after a trip; assumed


def review(log: OpenLog, number: int | None = None) -> ReviewAnswer:
    """One trip, explained; the newest where no number is given.

    Raises:
        NoTrip: There is no such trip.
    """
    record = find_trip(log, number)
    names = (*watch.channels(log.boat), *outings.TRIP_CHANNELS, *pack_channels(log.boat))
    # The pack's rest before and after tells what its charge alone does to the voltage.
    first, last = record.start_us - REST_BEFORE_US, record.end_us + REST_AFTER_US
    series = log.load(tuple(dict.fromkeys(names)), first, last)
    row = trip_row(record)
    trip = _trip(record, row)
    remarks: list[str] = []
    charge = follow(log, series)
    if charge is None:
        remarks.append("Without the pack's current there is no account of volts and charge.")
    elif charge.final.sign_reversed:
        series = turned(series)
        remarks.append(
            "The pack's current comes with the wrong sign; it is turned round here. "
            "`keelwatt check` tells the cure."
        )
    sags: list[SagAccount] = []
    if charge is not None and series.has("pack_voltage_v"):
        earlier = sag_history.before(log, record.start_us)
        parts = sag.of_trip(series, charge, log.boat, trip, earlier)
        sags = sag_account.accounts(series, parts, log.boat, trip)
        if parts.found is not None and sags:
            now = sag_history.circuit(series, parts.found)
            before = sag_history.circuits(log, record.start_us)
            remarks += filter(None, [sag_history.compared(now, before, sags[0].current_a)])
    for ground in sparse(row.grounds, COUNTED)[:1]:
        remarks.append(f"The {ground.input} was {seldom(ground)}: what lies between is not seen.")
    return ReviewAnswer(
        trip=row,
        ledger=ledger.ledger(series, charge, log.boat, trip),
        sag=tuple(sags),
        flags=views(log, log.store.flags(record.start_us, record.end_us)),
        remarks=tuple(remarks),
        grounds=row.grounds,
    )


def _trip(record: TripRecord, row: TripRow) -> outings.Trip:
    """A kept trip as it was found."""
    legs = (
        outings.Leg(g.kind, round(g.start_utc_s * 1e6), round(g.end_utc_s * 1e6)) for g in row.legs
    )
    return outings.Trip(record.start_us, record.end_us, tuple(legs))
