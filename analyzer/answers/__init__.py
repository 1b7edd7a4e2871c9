"""One function per question a person asks; the only door for the faces.

`open_log` gives the context that each question is asked of. Questions about trips want
`refresh` to have been run on it (opened for writing), as `keelwatt trips` does.

>>> from analyzer import answers
>>> with answers.open_log("demo.sqlite") as log:
...     (trip,) = answers.trips(log)
...     left = answers.range_left(log)
>>> trip.number, [leg.kind for leg in trip.legs][:1]
(1, ['motoring'])

Every answer is made of estimates: a value, its 80 % range, what it rests on, and why it is as
wide as it is, or missing.

>>> charge = left.charge
>>> charge.low < charge.mid < charge.high, charge.unit
(True, 'frac')
>>> answers.to_json(charge)["coverage"]
0.8

`frame` gives readings to pandas, `table` the rows of an answer; see `analyzer.exchange.data_frame`.
"""

import numpy as np

from analyzer.answers.cell_end import cell_end, sentence
from analyzer.answers.charging import charging_now
from analyzer.answers.check import check
from analyzer.answers.flags import views
from analyzer.answers.range_left import range_left
from analyzer.answers.refresh import refresh, trip_row
from analyzer.answers.snapshot import here_now
from analyzer.cells.monitor import CellMonitor
from analyzer.errors import NoTrip
from analyzer.estimation.results import (
    CablesAnswer,
    CellsAnswer,
    FlagView,
    Plot,
    ReviewAnswer,
    SagAccount,
    TripRow,
    to_json,
)
from analyzer.exchange.data_frame import frame, table
from analyzer.flags import monitor as watch
from analyzer.learned import cable_history, sag_history
from analyzer.learned.findings import as_kept
from analyzer.learned.keys import REST_BEFORE_US, follow
from analyzer.series.log import Context, open_log, pack_channels
from analyzer.series.series import Series, load
from analyzer.thermal.cable_trend import base_k, trend
from analyzer.thermal.cables import CableGroup
from analyzer.thermal.loop_resistance import LoopMonitor, with_witness
from analyzer.trips import ledger, sag, sag_account
from analyzer.trips import trips as outings
from logger.boat import Cable
from logger.channels import probe_temp
from logger.store import TripRecord

REST_AFTER_US = 60 * 60 * 1_000_000
CELLS_UNSEEN = (
    "Cells are not measured: no cell or block voltage has arrived, so none can be called sound. "
    "One voltage for each cell or block would show which of them falls behind."
)
CABLES_UNSEEN = (
    "How warm cables and joints are is not measured: no probe's temperature has arrived beside the "
    "pack's current, so none can be called cool. A temperature probe on each lug would tell."
)
BY_VOLTS_ONLY = " What is lost between pack and controller is measured, and stands below."
RECENT_US = 12 * 3600 * 1_000_000  # health is judged over the last trip, or this much of the log

__all__ = [
    "Context",
    "cables",
    "cells",
    "check",
    "flags",
    "frame",
    "open_log",
    "plot",
    "range_left",
    "refresh",
    "review",
    "table",
    "to_json",
    "trips",
]


def trips(ctx: Context) -> tuple[TripRow, ...]:
    """The trips, oldest first."""
    return tuple(trip_row(record) for record in ctx.store.trips())


def flags(ctx: Context) -> tuple[FlagView, ...]:
    """All flags: those that stand first, the newest of each first."""
    seen = views(ctx, ctx.store.flags())
    return tuple(sorted(seen, key=lambda f: (f.cleared_utc_s is not None, -f.raised_utc_s)))


def review(ctx: Context, number: int | None = None) -> ReviewAnswer:
    """One trip, explained; the newest where no number is given.

    Raises:
        NoTrip: There is no such trip.
    """
    record = find_trip(ctx, number)
    names = (*watch.channels(ctx.boat), *outings.TRIP_CHANNELS, *pack_channels(ctx.boat))
    # The pack's rest before and after tells what its charge alone does to the voltage.
    first, last = record.start_us - REST_BEFORE_US, record.end_us + REST_AFTER_US
    series = ctx.load(tuple(dict.fromkeys(names)), first, last)
    row = trip_row(record)
    trip = outings.Trip(
        record.start_us,
        record.end_us,
        tuple(
            outings.Leg(g.kind, round(g.start_utc_s * 1e6), round(g.end_utc_s * 1e6))
            for g in row.legs
        ),
    )
    remarks: list[str] = []
    charge = follow(ctx, series)
    if charge is None:
        remarks.append("Without the pack's current there is no account of volts and charge.")
    sags: list[SagAccount] = []
    if charge is not None and series.has("pack_voltage_v"):
        earlier = sag_history.before(ctx, record.start_us)
        parts = sag.of_trip(series, charge, ctx.boat, trip, earlier)
        sags = sag_account.accounts(series, parts, ctx.boat, trip)
        if parts.found is not None and sags:
            now = sag_history.circuit(series, parts.found)
            before = sag_history.circuits(ctx, record.start_us)
            remarks += filter(None, [sag_history.compared(now, before, sags[0].current_a)])
    return ReviewAnswer(
        trip=row,
        ledger=ledger.ledger(series, charge, ctx.boat, trip),
        sag=tuple(sags),
        flags=views(ctx, ctx.store.flags(record.start_us, record.end_us)),
        remarks=tuple(remarks),
    )


def find_trip(ctx: Context, number: int | None) -> TripRecord:
    """The trip of that number, or the newest.

    Raises:
        NoTrip: There is none.
    """
    known = ctx.store.trips()
    if not known:
        raise NoTrip(f"{ctx.store.path} holds no trip yet: a trip is at least five minutes moving")
    if number is None:
        return known[-1]
    for record in known:
        if record.number == number:
            return record
    last = known[-1].number
    raise NoTrip(f"there is no trip {number}: the log holds trips 1 to {last} (`keelwatt trips`)")


def cells(ctx: Context) -> CellsAnswer:
    """Health of the cells over the newest trip, or the last hours of the log; how they are charged,
    and which of them will end the trip, and when.
    """
    monitor = CellMonitor(ctx.boat.pack)
    series = _recent(ctx, watch.channels(ctx.boat))
    monitor.update(series)
    span = ctx.store.span()
    if span is None:
        return CellsAnswer((), monitor.spread(), (), monitor.remarks(), CELLS_UNSEEN)
    here = here_now(ctx, span[1] + 1)
    wrong, remarks = charging_now(ctx, here)
    end = cell_end(here, ctx.boat)
    predicted = () if end is None else (sentence(end, ctx.boat.reserve.soc_frac),)
    return CellsAnswer(
        monitor.rows(),
        monitor.spread(),
        (*as_kept(ctx.store, monitor.detections(), series.t0_us), *wrong),
        (*predicted, *remarks, *monitor.remarks()),
        "" if any(np.isfinite(row.lowest_v) for row in monitor.rows()) else CELLS_UNSEEN,
    )


def cables(ctx: Context) -> CablesAnswer:
    """Health of the cables over the newest trip, or the last hours of the log."""
    if not ctx.boat.cable:
        return CablesAnswer((), (), ("The boat file names no cable.",), CABLES_UNSEEN)
    series = _recent(ctx, watch.channels(ctx.boat))
    group, loop = CableGroup(ctx.boat.cable), LoopMonitor(ctx.boat)
    kept = cable_history.history(ctx.store, series.t0_us)
    group.expect({k: base for k, h in kept.items() if (base := base_k(h)) is not None})
    group.update(series)
    loop.update(series)
    found = [with_witness(f, loop) for judge in group.monitors for f in judge.detections()]
    findings = as_kept(ctx.store, found, series.t0_us)
    everything = cable_history.history(ctx.store)
    trends = [trend(c, everything.get(c.name, [])) for c in ctx.boat.cable]
    findings += [f for f in trends if f is not None]
    rows = tuple(judge.row() for judge in group.monitors)
    unseen = _unseen_heat(ctx.boat.cable, series, loop)
    return CablesAnswer(rows, tuple(findings), _cable_remarks(ctx, loop), unseen)


def _unseen_heat(cables: tuple[Cable, ...], series: Series, loop: LoopMonitor) -> str:
    """What is said where no probe has told of a joint; "" where one has."""
    if any(c.probe and series.has(probe_temp(c.probe), "pack_current_a") for c in cables):
        return ""
    return CABLES_UNSEEN + (BY_VOLTS_ONLY if loop.resistance().known else "")


def _cable_remarks(ctx: Context, loop: LoopMonitor) -> tuple[str, ...]:
    remarks = []
    bare = [c.name for c in ctx.boat.cable if not c.probe]
    if bare:
        remarks.append(f"Without a probe: {', '.join(bare)}.")
    said = loop.resistance()
    if said.mid is not None and said.low is not None and said.high is not None:
        remarks.append(
            f"Two voltmeters see {said.mid * 1e3:.2f} mΩ ({said.low * 1e3:.2f} to "
            f"{said.high * 1e3:.2f}) between pack and controller at 20 °C; the boat file's copper "
            f"makes {loop.expected_ohm() * 1e3:.2f} of it, joints, contactor and fuse the rest."
        )
    return tuple(remarks)


def _recent(ctx: Context, names: tuple[str, ...]) -> Series:
    span = ctx.store.span()
    if span is None:
        return Series(0, 1.0, 0, {})
    known = ctx.store.trips()
    start_us = known[-1].start_us if known else max(span[0], span[1] - RECENT_US)
    end_us = known[-1].end_us if known else span[1] + 1
    return ctx.load(names, start_us, end_us)


def plot(ctx: Context, number: int | None, channels: tuple[str, ...], points: int = 2000) -> Plot:
    """Channels of one trip, thinned for drawing: each point a mean.

    Raises:
        NoTrip: There is no such trip.
    """
    record = find_trip(ctx, number)
    seconds = (record.end_us - record.start_us) / 1e6
    step_s = max(float(np.ceil(seconds / max(points, 2))), 1.0)
    series = load(ctx.store, channels, record.start_us, record.end_us, step_s)
    values = {
        name: [None if v != v else round(v, 6) for v in column.tolist()]
        for name, column in series.values.items()
    }
    return Plot(series.t_utc_s.tolist(), values)
