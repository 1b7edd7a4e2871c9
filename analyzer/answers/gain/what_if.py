"""The same question of another boat file, beside the boat as it is."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from analyzer.answers import range_left
from analyzer.answers.ahead.asked import (
    DRAWS,
    Asked,
    PlanWish,
    stream_table,
    sun_share,
    surroundings,
)
from analyzer.answers.ahead.passage import with_passage
from analyzer.answers.gain.boat_changes import changed_question, place_of
from analyzer.answers.gain.keys import ChangedKey, changed_boat
from analyzer.answers.gain.rows import PlanWhatIf, RangeWhatIf
from analyzer.environment.solar import USUAL_SD, USUAL_SHARE
from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.estimation.quantiles import Z80
from analyzer.estimation.results import HomeAnswer, HomeWish, RangeAnswer, WayHome
from analyzer.range.home import home_reach
from analyzer.range.monte_carlo import ReachInput
from analyzer.range.passage import Surroundings
from analyzer.range.plan import Passage, plan, walk
from analyzer.range.reach import ReachResult, middle, reach
from analyzer.series.log import OpenLog
from logger.boat import Boat

Floats = npt.NDArray[np.float64]

PAIRED = "draw by draw, everything else drawn alike"


def range_what_if(
    log: OpenLog,
    wishes: Sequence[str],
    speed_mps: float | None = None,
    stream: tuple[float, float] | None = None,
    home: WayHome | None = None,
    wind: tuple[float, float] | None = None,
) -> RangeWhatIf:
    """How far with some numbers of the boat file changed; the rest as `range_left` has it.

    Args:
        wishes: KEY=VALUE each; see `keys.changed_boat`.
    Raises:
        BadChange: A key or a value cannot be asked.
    """
    boat, changes = changed_boat(log.boat, wishes)
    answer, asked = range_left.with_question(log, speed_mps, stream, home, wind)
    if asked is None:
        return _unsaid(answer, changes)
    given, rests_on = changed_question(asked.given, log.boat, boat, place_of(log, asked.end_us))
    result, k = reach(given), asked.k
    before = asked.result
    return RangeWhatIf(
        changes=changes,
        as_is=answer,
        distance=result.distance(k),
        duration=result.duration(k),
        power=result.power(k),
        distance_more=_more(result.distance_m, before.distance_m, k, "m"),
        duration_more=_more(result.duration_s, before.duration_s, k, "s"),
        power_more=_more(result.total_w, before.total_w, k, "W"),
        limit=next(iter(result.limit_shares(k))),
        home=_home(asked, given, result, home),
        rests_on=rests_on,
    )


def _unsaid(answer: RangeAnswer, changes: tuple[ChangedKey, ...]) -> RangeWhatIf:
    """Without a charge there is no range to change."""
    why = answer.distance.reason or answer.charge.reason
    far, long, power = (cannot_say(why, unit) for unit in ("m", "s", "W"))
    return RangeWhatIf(changes, answer, far, long, power, far, long, power, "", None, ())


def _more(after: Floats, before: Floats, k: int, unit: str) -> Estimate:
    """What lies between two answers at the k-th speed, draw by draw."""
    return middle(after[:, k] - before[:, k], unit, PAIRED)


def _home(
    asked: range_left.Asked, given: ReachInput, result: ReachResult, home: WayHome | None
) -> HomeAnswer | None:
    """The way home of the changed boat, where it is asked for and known."""
    if home is None or asked.log.boat.home is None:
        return None
    wish = home if isinstance(home, HomeWish) else HomeWish(home)
    way = range_left.way_home(asked, wish)
    if isinstance(way, str):
        return None
    back = home_reach(given, result.distance_m[:, asked.k], asked.k, way)
    return range_left.home_answer(asked.log.boat.home.name, wish, back)


def plan_what_if(log: OpenLog, wishes: Sequence[str], wish: PlanWish) -> PlanWhatIf:
    """A passage with some numbers changed, at the speeds that the boat as it is would choose.

    Raises:
        BadChange, BadRoute: A key, a value or the route cannot be used.
    """
    boat, changes = changed_boat(log.boat, wishes)
    answer, asked, passage = with_passage(log, wish)
    place = place_of(log, asked.end_us)
    given, rests_on = changed_question(passage.given, asked.log.boat, boat, place)
    changed = replace(passage, given=given, around=_around(asked, passage, boat))
    assert passage.speeds_mps is not None  # those of the answer
    ends = [walk(one, passage.speeds_mps)[-1] for one in (passage, changed)]
    before, after = ends
    arrives = before.ended.astype(float) - after.ended.astype(float)
    return PlanWhatIf(
        changes=changes,
        as_is=answer,
        plan=plan(changed),
        energy_more=middle(after.energy_wh - before.energy_wh, "Wh", PAIRED),
        charge_more=middle(after.soc - before.soc, "frac", PAIRED),
        arrival_later=middle(after.t_s - before.t_s, "s", PAIRED),
        arrives_more=_share(arrives),
        rests_on=rests_on,
    )


def _share(draws: Floats) -> Estimate:
    """A difference of two probabilities, with the range that so few draws leave. [frac]"""
    mid, half = float(draws.mean()), Z80 * float(draws.std()) / len(draws) ** 0.5
    reason = f"the range is that of counting {len(draws)} draws"
    return Estimate(mid, mid - half, mid + half, "frac", reason=reason)


def _around(asked: Asked, passage: Passage, boat: Boat) -> Surroundings:
    """What meets the changed boat: the same water, the sun on its own panels."""
    old_w, new_w = asked.log.boat.solar.peak_w, boat.solar.peak_w
    if old_w == new_w:
        return passage.around
    # the share of a clear sky is what the panels aboard show, where there are any
    share = sun_share(asked)[0] if old_w > 0 else (USUAL_SHARE, USUAL_SD)
    table = stream_table(asked.wish, asked.departure_s)
    there = replace(asked, log=OpenLog(asked.log.store, boat))
    return surroundings(there, table, share if new_w > 0 else None, DRAWS, np.random.default_rng(2))
