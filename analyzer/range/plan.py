"""Will this passage work: energy per leg, charge and time on arrival, and the cheapest speeds.

Speeds are chosen on the middle of the posterior (each leg the speed with the least energy plus
a price for time; the price is raised until the passage arrives when it should); the answer is
then walked with everything that is not known drawn.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
import numpy.typing as npt

from analyzer.estimation.estimate import Estimate
from analyzer.range.monte_carlo import ReachInput
from analyzer.range.passage import (
    Boats,
    LegEnd,
    Surroundings,
    begin,
    draw_boats,
    walk_leg,
)
from analyzer.range.reach import middle
from analyzer.range.route import Route
from logger.units import HOUR_S

Floats = npt.NDArray[np.float64]

FEW = 24  # draws while speeds are chosen; assumed
PRICES = 18  # steps in which the price of time is narrowed: to 1 in 260,000, by definition
FEW_PRICES = 9  # the same for each of many departures, that are only compared, by definition
LEAST_WAY_MPS = 0.2  # slower than this is no way worth the name; assumed


@dataclass(frozen=True)
class PlanLeg:
    """One leg of the plan; estimates are at its end."""

    name: str
    distance_m: float
    course_deg: float
    speed_water_mps: float
    speed_ground_mps: Estimate
    energy: Estimate  # Wh
    charge: Estimate  # frac
    arrival_utc_s: Estimate
    holds_frac: float  # probability that no limit has come before its end


@dataclass(frozen=True)
class Plan:
    """The whole passage.

    arrives_frac: probability of arriving above the reserve and every other limit.
    in_time_frac: of that and by the wanted time; None where no time was wanted.
    reason: what the speeds and the range rest on.
    """

    name: str
    departure_utc_s: float
    distance_m: float
    legs: tuple[PlanLeg, ...]
    arrives_frac: float
    in_time_frac: float | None
    energy: Estimate
    charge: Estimate
    arrival_utc_s: Estimate
    reason: str


@dataclass(frozen=True)
class Passage:
    """What is planned.

    Args:
        given: The boat and its state as for "how far"; its speeds are those to choose from.
        route, departure_s: The way and when. [UTC s]
        around, few_around: What meets the boat; drawn as often as `given` and for `FEW`.
        speeds_mps: Through water, one for each leg; None: the cheapest.
        arrive_by_s: Wanted latest arrival; None: no hurry.
    """

    given: ReachInput
    route: Route
    departure_s: float
    around: Surroundings
    few_around: Surroundings
    speeds_mps: tuple[float, ...] | None = None
    arrive_by_s: float | None = None


def plan(passage: Passage) -> Plan:
    """Chooses speeds where they are open, and walks the passage."""
    speeds = passage.speeds_mps or tuple(cheapest(passage)[0].tolist())
    ends = walk(passage, speeds)
    last = ends[-1]
    in_time = None
    if passage.arrive_by_s is not None:
        in_time = float((~last.ended & (last.t_s <= passage.arrive_by_s)).mean())
    return Plan(
        name=passage.route.name,
        departure_utc_s=passage.departure_s,
        distance_m=passage.route.distance_m,
        legs=tuple(_leg(passage.route, k, speeds[k], ends) for k in range(len(speeds))),
        arrives_frac=float((~last.ended).mean()),
        in_time_frac=in_time,
        energy=middle(last.energy_wh, "Wh"),
        charge=middle(last.soc, "frac"),
        arrival_utc_s=middle(last.t_s, "s"),
        reason=passage.given.curve.reason,
    )


def walk(passage: Passage, speeds_mps: Sequence[float]) -> list[LegEnd]:
    """State at departure and at each leg's end, at one speed through water a leg."""
    boats = draw_boats(passage.given, passage.route, passage.around)
    ends = [begin(boats, passage.departure_s)]
    for k, leg in enumerate(passage.route.legs):
        ends.append(walk_leg(boats, k, leg, speeds_mps[k], ends[-1]))
    return ends


def _leg(route: Route, k: int, speed: float, ends: list[LegEnd]) -> PlanLeg:
    leg, before, after = route.legs[k], ends[k], ends[k + 1]
    return PlanLeg(
        name=leg.name,
        distance_m=leg.distance_m,
        course_deg=leg.course_deg,
        speed_water_mps=speed,
        speed_ground_mps=middle(leg.distance_m / (after.t_s - before.t_s), "m/s"),
        energy=middle(after.energy_wh - before.energy_wh, "Wh"),
        charge=middle(after.soc, "frac"),
        arrival_utc_s=middle(after.t_s, "s"),
        holds_frac=float((~after.ended).mean()),
    )


def cheapest(passage: Passage, departures_s: Floats | None = None) -> Floats:
    """Speeds through water, (m, legs), that cost the least and arrive in time if they can.

    With no time wanted, time still costs what the hotel load costs.

    Args:
        departures_s: Each chosen for by itself, in the same draws, (m,); None: the passage's own.
    """
    leave_s = np.array([passage.departure_s]) if departures_s is None else departures_s
    few = {k: v[:FEW] for k, v in passage.given.charge.items()}
    given = replace(passage.given, charge=few)
    boats = draw_boats(given, passage.route, passage.few_around)
    speeds, arrival_s = _at_price(passage, boats, leave_s, np.zeros(len(leave_s)))
    wanted_s = passage.arrive_by_s
    late = np.zeros(len(leave_s), bool) if wanted_s is None else arrival_s > wanted_s
    if wanted_s is not None and late.any():
        speeds[late] = _in_time(passage, boats, leave_s[late], wanted_s)
    return speeds


def _in_time(passage: Passage, boats: Boats, leave_s: Floats, wanted_s: float) -> Floats:
    """The cheapest speeds that arrive by a time, or the dearest where none does, (m, legs)."""
    given = passage.given
    low = np.zeros(len(leave_s))
    high = low + 10.0 * float(np.median(given.curve.mean_w(given.speeds_mps[-1:])))
    speeds, _ = _at_price(passage, boats, leave_s, high)
    for _ in range(PRICES if len(leave_s) == 1 else FEW_PRICES):
        price = (low + high) / 2
        tried, arrival_s = _at_price(passage, boats, leave_s, price)
        there = arrival_s <= wanted_s
        speeds[there] = tried[there]
        high = np.where(there, price, high)
        low = np.where(there, low, price)
    return speeds


def _at_price(
    passage: Passage, boats: Boats, leave_s: Floats, price_w: Floats
) -> tuple[Floats, Floats]:
    """Leg by leg the speed with the least mean energy plus price x time; and the arrival.

    Args:
        boats: Few draws, the same for each departure. leave_s, price_w: (m,).
    Returns:
        Speeds (m, legs), and the mean arrival of each departure (m,).
    """
    m, n = len(leave_s), len(boats.hotel_w)
    many = boats.repeated(m)
    at = begin(many, np.repeat(leave_s, n))
    asked = passage.given.speeds_mps
    speeds: list[Floats] = []
    for k, leg in enumerate(passage.route.legs):
        tries = [walk_leg(many, k, leg, float(v), at) for v in asked]
        took_s = np.array([_means(end.t_s - at.t_s, m) for end in tries])
        energy_wh = np.array([_means(end.energy_wh - at.energy_wh, m) for end in tries])
        stuck = took_s > leg.distance_m / LEAST_WAY_MPS
        cost = energy_wh + price_w * took_s / HOUR_S + 1e9 * stuck
        best = np.argmin(cost, axis=0)
        speeds.append(asked[best])
        at = _picked(tries, np.repeat(best, n))
    return np.stack(speeds, axis=1), _means(at.t_s, m)


def _means(values: Floats, m: int) -> Floats:
    """The mean of each of so many equal pieces, (m,)."""
    return np.asarray(values.reshape(m, -1).mean(axis=1))


def _picked(ends: list[LegEnd], which: npt.NDArray[np.int64]) -> LegEnd:
    """Of several ends the one that each draw takes. which: (n,)."""
    rows = np.arange(len(which))
    names = [field.name for field in fields(LegEnd)]
    return LegEnd(*(np.array([getattr(end, k) for end in ends])[which, rows] for k in names))
