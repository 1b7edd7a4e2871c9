"""How the parts of the boat changed from trip to trip: pack, cells, cable joints, hull."""

from collections.abc import Callable
from dataclasses import dataclass

from analyzer.cells.monitor import CellMonitor
from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.estimation.quantiles import Z80
from analyzer.flags import monitor as watch
from analyzer.learned import cable_history
from analyzer.learned.charge_history import charges
from analyzer.learned.keys import GAUGE, revive
from analyzer.pack.ageing import ageing
from analyzer.pack.capacity import TripCharge, learn
from analyzer.series.log import OpenLog
from analyzer.thermal import joints
from logger.store import TripRecord

CELL_TRIPS = 8  # of the newest: each has to be read again; assumed


@dataclass(frozen=True)
class Past:
    """One value at one time."""

    t_utc_s: float
    value: Estimate


@dataclass(frozen=True)
class Course:
    """How something went over time, oldest first. text: what it is, for people."""

    text: str
    rows: tuple[Past, ...]


@dataclass(frozen=True)
class PackHealth:
    """The pack's capacity [Ah] and its resistance over that of a new one [frac], now and before."""

    capacity: Estimate
    rated_ah: float
    resistance: Estimate
    capacity_course: Course
    resistance_course: Course
    remarks: tuple[str, ...]


def pack(log: OpenLog) -> PackHealth:
    """Capacity and resistance as the log has shown them so far."""
    states = charges(log)
    capacity = tuple(
        Past(s.t_us / 1e6, _range(s.capacity_ah, s.capacity_sd_ah, "Ah")) for s in states
    )
    resistance = tuple(
        Past(s.t_us / 1e6, _range(s.r_factor, s.r_factor_sd, "frac")) for s in states
    )
    why = "no trip has been looked through yet"
    return PackHealth(
        capacity=capacity[-1].value if capacity else cannot_say(why, "Ah"),
        rated_ah=log.boat.pack.rated_capacity_ah,
        resistance=resistance[-1].value if resistance else cannot_say(why, "frac"),
        capacity_course=Course("capacity, Ah", capacity),
        resistance_course=Course("resistance, % of a new pack's", resistance),
        remarks=(*ageing(states).remarks, *_by_gauge(log)),
    )


def _by_gauge(log: OpenLog) -> tuple[str, ...]:
    """The capacity that the trips agree on by a device's own gauge, and the trips left out."""
    found = [revive(lambda v: TripCharge(**v), kept.value) for kept in log.store.learned(GAUGE)]
    learned = learn([trip for trip in found if trip is not None])
    said = []
    ah = learned.estimate
    if ah.mid is not None and ah.low is not None and ah.high is not None:
        said.append(
            f"By the device's own gauge {len(learned.used)} trips agree on {ah.mid:.0f} Ah "
            f"({ah.low:.0f} to {ah.high:.0f})."
        )
    odd = [(trip, why) for trip, why in learned.left_out.items() if "not believed" in why]
    return (*said, *(f"{trip[:1].upper()}{trip[1:]}: {why}." for trip, why in odd))


def cable_courses(log: OpenLog) -> dict[str, Course]:
    """Rise of each probe's place at its reference current, trip by trip. [K] by cable."""
    history = cable_history.history(log.store)
    return {
        cable.name: Course(
            f"rise at {joints.joint(cable).ref_a:.0f} A, K",
            tuple(Past(k.t_s, _range(k.rise_k, k.sd_k, "K")) for k in history[cable.name]),
        )
        for cable in log.boat.cable
        if cable.name in history
    }


def cell_course(
    log: OpenLog, cell: str, remember: Callable[[TripRecord, Callable[[], object]], object]
) -> Course:
    """A cell's resistance over the others' middle, in the newest trips. [ohm]

    Args:
        cell: As the answer about cells names it.
        remember: Gives what it was given before for a trip, else asks.
    """
    rows = []
    for trip in log.store.trips()[-CELL_TRIPS:]:
        found = remember(trip, lambda trip=trip: _resistances(log, trip))  # type: ignore[misc]
        assert isinstance(found, dict)
        if cell in found:
            rows.append(Past(trip.end_us / 1e6, found[cell]))
    return Course(f"{cell}: resistance above the others', mΩ", tuple(rows))


def _resistances(log: OpenLog, trip: TripRecord) -> dict[str, Estimate]:
    """Each cell's resistance less the middle of all, over one trip. [ohm]"""
    monitor = CellMonitor(log.boat.pack)
    monitor.update(log.load(watch.channels(log.boat), trip.start_us, trip.end_us))
    middle = monitor.median_resistance().mid
    if middle is None:
        return {}
    found = {}
    for row in monitor.rows():
        low, mid, high = row.resistance.low, row.resistance.mid, row.resistance.high
        if low is not None and mid is not None and high is not None:
            found[row.name] = Estimate(mid - middle, low - middle, high - middle, "ohm")
    return found


def _range(mid: float, sd: float, unit: str) -> Estimate:
    return Estimate(mid, mid - Z80 * sd, mid + Z80 * sd, unit)
