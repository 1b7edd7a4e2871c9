"""Will this passage work: energy per leg, charge and time on arrival, and the cheapest speeds.

Speeds are chosen on the middle of the posterior (each leg the speed with the least energy plus
a price for time; the price is raised until the passage arrives when it should); the answer is
then walked with everything that is not known drawn.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

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

Floats = npt.NDArray[np.float64]

FEW = 24  # draws while speeds are chosen; assumed
PRICES = 18  # steps in which the price of time is narrowed: to 1 in 260,000, by definition


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
    speeds = passage.speeds_mps or cheapest(passage)
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


def cheapest(passage: Passage) -> tuple[float, ...]:
    """Speeds through water, one a leg, that cost the least and arrive in time if they can.

    With no time wanted, time still costs what the hotel load costs.
    """
    few = {k: v[:FEW] for k, v in passage.given.charge.items()}
    given = replace(passage.given, charge=few)
    boats = draw_boats(given, passage.route, passage.few_around)
    speeds, arrival = _at_price(passage, boats, 0.0)
    wanted = passage.arrive_by_s
    if wanted is None or arrival <= wanted:
        return speeds
    low, high = 0.0, 10.0 * float(np.median(given.curve.mean_w(given.speeds_mps[-1:])))
    speeds, arrival = _at_price(passage, boats, high)
    for _ in range(PRICES):
        price = (low + high) / 2
        tried, arrival = _at_price(passage, boats, price)
        if arrival <= wanted:
            high, speeds = price, tried
        else:
            low = price
    return speeds


def _at_price(passage: Passage, boats: Boats, price_w: float) -> tuple[tuple[float, ...], float]:
    """Leg by leg the speed with the least mean energy plus price x time; and the arrival."""
    at = begin(boats, passage.departure_s)
    speeds: list[float] = []
    for k, leg in enumerate(passage.route.legs):
        tries = [walk_leg(boats, k, leg, float(v), at) for v in passage.given.speeds_mps]
        before = at
        cost = [
            float(np.mean(end.energy_wh - before.energy_wh))
            + price_w * float(np.mean(end.t_s - before.t_s)) / 3600.0
            + 1e9 * float(_stuck(end, before, leg.distance_m))
            for end in tries
        ]
        best = int(np.argmin(cost))
        speeds.append(float(passage.given.speeds_mps[best]))
        at = tries[best]
    return tuple(speeds), float(np.mean(at.t_s))


def _stuck(end: LegEnd, before: LegEnd, distance_m: float) -> bool:
    """Whether the boat makes no way worth the name on the leg."""
    return float(np.mean(end.t_s - before.t_s)) > distance_m / 0.2
