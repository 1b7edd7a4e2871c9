"""Will this passage work: composed from the log and the boat file."""

import time
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from analyzer.answers.ahead.asked import (
    Asked,
    PlanWish,
    old_charge,
    passage_of,
    stream_table,
    stream_words,
    sun_share,
    tide_near,
    wind_words,
)
from analyzer.answers.ahead.leaving import leaving
from analyzer.answers.grounded import PLAN_INPUTS, condition
from analyzer.answers.snapshot import here_now
from analyzer.environment.stream_table import StreamTable, parse_utc
from analyzer.environment.wind import ONE_WIND_S, Wind
from analyzer.errors import BadRoute
from analyzer.estimation.ground import Ground
from analyzer.estimation.results import SCHEMA
from analyzer.range.leaving import Departure, best
from analyzer.range.plan import Passage, Plan, PlanLeg, plan
from analyzer.range.route import MOST_PLACES, Place, Route, gpx_places, read_gpx, thinned
from analyzer.series.log import OpenLog
from logger.units import UNDATED_S

__all__ = [
    "Departure",
    "Place",
    "PlanLeg",
    "PlanWish",
    "Wind",
    "parse_utc",
    "shown_places",
]  # for the faces

SHOWN_DIGITS = 2  # of a probability: it is judged as it is shown, in whole per cent; by definition

CAUTIONS = (
    "A plan is no promise: keep the reserve, a sail ready and an anchor clear to let go.",
    "Tables of streams and forecasts of wind are never quite right; look again on the way.",
)
ANY_HOUR = "Hours are judged by stream, sun and charge alone: look yourself at darkness and depth."


@dataclass(frozen=True)
class PlanAnswer:
    """A planned passage.

    stream_from: what stream was used. wind_from: what wind. sun_from: what sun.
    enough: whether the wanted sureness of arriving above the reserve is reached.
    departures: each hour asked about, where the best was looked for; the plan leaves at that.
    """

    boat: str
    plan: Plan
    reserve_frac: float
    sureness_frac: float
    enough: bool
    stream_from: str
    wind_from: str
    sun_from: str
    cautions: tuple[str, ...]
    grounds: tuple[Ground, ...] = ()  # how every input stands
    condition: str = ""  # what of them is broken: the first clause; empty where nothing is
    departures: tuple[Departure, ...] = ()
    asked_utc_s: float | None = None  # the newest reading, which it speaks of
    data_age_s: float | None = None
    schema: int = SCHEMA


def forecast(speed_mps: float, from_deg: float) -> Wind:
    """A true wind by a forecast: less sure than a sensor's.

    Args:
        from_deg: Where it comes from.
    """
    return Wind(speed_mps, from_deg, sd_mps=0.5 + 0.15 * speed_mps)  # assumed


def plan_passage(log: OpenLog, wish: PlanWish) -> PlanAnswer:
    """Will this passage work? See `with_passage`."""
    return with_passage(log, wish)[0]


def with_passage(log: OpenLog, wish: PlanWish) -> tuple[PlanAnswer, Asked, Passage]:
    """Will this passage work; with the question, and the passage at the speeds of the answer.

    Raises:
        BadRoute: A file or the number of speeds is not what it should be.
    """
    asked = _asked(_with_reserve(log, wish.reserve_frac), wish)
    table = stream_table(wish, asked.departure_s)
    rows: tuple[Departure, ...] = ()
    if wish.leave_within_s is not None:
        rows = leaving(asked, table)
        asked = replace(asked, departure_s=best(rows).departure_utc_s)
    passage = passage_of(asked, table)
    if rows:
        passage = replace(passage, speeds_mps=best(rows).speeds_water_mps)
    made = plan(passage)
    chosen = tuple(leg.speed_water_mps for leg in made.legs)
    return _answer(asked, passage, table, made, rows), asked, replace(passage, speeds_mps=chosen)


def _asked(log: OpenLog, wish: PlanWish) -> Asked:
    """The question with what the log says."""
    span = log.store.span()
    end_us = span[1] + 1 if span else 0
    departure_s = wish.departure_s if wish.departure_s is not None else _now_s(log, end_us)
    _check_times(wish, departure_s)
    route = read_gpx(wish.route)
    tide = "" if wish.stream_table or wish.stream else tide_near(log, route)
    return Asked(log, wish, here_now(log, end_us), end_us, route, departure_s, tide)


def _answer(
    asked: Asked,
    passage: Passage,
    table: StreamTable | None,
    made: Plan,
    rows: tuple[Departure, ...],
) -> PlanAnswer:
    log, route = asked.log, asked.route
    sureness = log.boat.reserve.return_sureness_frac
    hours = (ANY_HOUR,) if rows else ()
    old = old_charge(asked.wish, asked.ahead_s)
    return PlanAnswer(
        boat=log.boat.name,
        plan=made,
        reserve_frac=log.boat.reserve.soc_frac,
        sureness_frac=sureness,
        enough=round(made.arrives_frac, SHOWN_DIGITS) >= sureness,
        stream_from=stream_words(table, asked),
        wind_from=wind_words(passage.given.wind),
        sun_from=sun_share(asked)[1],
        cautions=(*old, *hours, *_thinned(route), *CAUTIONS),
        grounds=asked.here.grounds,
        condition=_condition(asked),
        departures=rows,
    )


def _check_times(wish: PlanWish, departure_s: float) -> None:
    """Raises BadRoute where the passage would have to end before it begins."""
    if wish.arrive_by_s is not None and wish.arrive_by_s <= departure_s:
        late = datetime.fromtimestamp(wish.arrive_by_s, UTC)
        leave = datetime.fromtimestamp(departure_s, UTC)
        raise BadRoute(
            f"arriving by {late:%Y-%m-%dT%H:%MZ} wants an earlier departure than "
            f"{leave:%Y-%m-%dT%H:%MZ}: give a later arrival, or another --depart"
        )


def shown_places(path: Path) -> list[Place]:
    """The places of a GPX file that a plan would use. Raises BadRoute."""
    places, _ = gpx_places(path)
    return thinned(places) if len(places) > MOST_PLACES else places


def _thinned(route: Route) -> tuple[str, ...]:
    if route.places <= MOST_PLACES:
        return ()
    return (
        f"Of the route's {route.places} places {len(route.legs) + 1} are used: corners between "
        "them are cut.",
    )


def _condition(asked: Asked) -> str:
    """What of the inputs is broken; of a passage that starts now, from what the log says."""
    if asked.ahead_s > ONE_WIND_S:
        return ""
    wanted = PLAN_INPUTS if asked.wish.charge_frac is None else PLAN_INPUTS[1:]
    return condition(asked.here.grounds, wanted, asked.end_us / 1e6)


def _now_s(log: OpenLog, end_us: int) -> float:
    """Now, by the log where it is of this boot: a board's calendar may be wrong. [UTC s]"""
    age_s = log.store.age_s()
    if age_s is None or end_us / 1e6 < UNDATED_S:
        return time.time()
    return end_us / 1e6 + age_s


def _with_reserve(log: OpenLog, reserve_frac: float | None) -> OpenLog:
    """The same log and boat with another reserve."""
    if reserve_frac is None:
        return log
    kept = log.boat.reserve.model_copy(update={"soc_frac": reserve_frac})
    return OpenLog(log.store, log.boat.model_copy(update={"reserve": kept}))
