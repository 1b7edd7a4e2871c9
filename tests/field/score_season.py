"""A season's answer beside what was true of a year's invented boat (`tests/boats/year.py`).

    python -m tests.field.score_season LOG [--weeks N]

Makes the log where it is not there, looks through it, holds its range answers against the log and
prints truth and finding line by line; some ten minutes of processor time for the year.
"""

import argparse
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analyzer.answers import Log
from analyzer.answers.season.rows import SeasonAnswer
from analyzer.estimation.estimate import Estimate
from replay.boatsim.outing import Outing
from tests.boats import year
from tests.boats.year import Week

DAY_S = 86_400.0


@dataclass(frozen=True)
class Row:
    """One thing that was true, and what is said of it."""

    what: str
    truth: float
    said: Estimate

    @property
    def holds(self) -> bool | None:
        """Whether the range held it; None where nothing is said."""
        if self.said.low is None or self.said.high is None:
            return None
        return self.said.low <= self.truth <= self.said.high

    @property
    def sds(self) -> float:
        """How many of its standard deviations it is off."""
        assert self.said.mid is not None
        assert self.said.low is not None
        assert self.said.high is not None
        sd = (self.said.high - self.said.low) / 2 / 1.2816
        return abs(self.said.mid - self.truth) / max(sd, 1e-9)


def true_energies(weeks: list[Week]) -> dict[str, float]:
    """Watt-hours of the outings by kind, and metres over the ground, from what truly was."""
    total = dict.fromkeys(("motor", "sun", "shore", "metres"), 0.0)
    for week in weeks:
        day = year.outing(week)
        _, steps = year.channels(day, week)
        moving = _moving(day, steps)
        hours = day.motion.dt_s / 3600
        power = day.series["controller_v"] * day.series["controller_a"]
        total["motor"] += float(np.maximum(power[moving], 0.0).sum()) * hours
        total["sun"] += float(day.series["solar_w"][moving].sum()) * hours
        total["shore"] += float(day.series["shore_w"][:steps].sum()) * hours
        speed = np.hypot(day.motion.east_mps, day.motion.north_mps)
        total["metres"] += float(speed[moving].sum()) * day.motion.dt_s
    return total


def _moving(day: Outing, steps: int) -> np.ndarray:
    """Steps of the record that are under way."""
    under_way = ~np.isin(day.motion.doing, ("shore", "lying"))
    return under_way & (np.arange(day.n) < steps)


def rows(answer: SeasonAnswer, weeks: list[Week]) -> Iterator[Row]:
    """Truth beside finding."""
    energy = {row.kind: row for row in answer.energy}
    true = true_energies(weeks)
    yield Row("way, m", true["metres"], answer.distance)
    yield Row("motor, Wh", true["motor"], energy["motor"].under_way)
    yield Row("sun on trips, Wh", true["sun"], energy["sun"].under_way)
    yield Row("shore alongside, Wh", true["shore"], energy["shore"].alongside)
    last = weeks[-1]
    since = [w for w in weeks if w.number >= year.CLEANED_WEEK] or weeks
    lost = last.speed_over_clean / since[0].speed_over_clean - 1
    yield Row("speed lost since the last clean bottom", lost, answer.fouling.speed)
    more = last.power_over_clean / since[0].power_over_clean - 1
    yield Row("more power at the usual speed", more, answer.fouling.power)
    if len(since) < len(weeks):
        before = weeks[year.CLEANED_WEEK - 1].speed_over_clean
        yield Row("speed that the cleaning gave back", 1 - before, answer.fouling.given_back)
    share = year.CAPACITY_A_YEAR
    yield Row("capacity a year", share, answer.pack.capacity_year)
    if answer.pack.capacity:
        found = answer.pack.capacity[-1]
        at_s = (found.t_utc_s - year.FIRST_UTC_S) / year.WEEK_S
        yield Row("capacity at the end, Ah", weeks[min(round(at_s), last.number)].capacity_ah,
                  found.value)  # fmt: skip
    yield Row("resistance a year", year.OHM_A_YEAR, answer.pack.resistance_year)


def cleaned_between(answer: SeasonAnswer) -> str:
    """The dates that are said, and whether they hold the true one."""
    said = answer.fouling.cleaned_utc_s
    if said is None:
        return "no cleaning was found"
    at_s = year.FIRST_UTC_S + year.CLEANED_WEEK * year.WEEK_S
    weeks = [(t - year.FIRST_UTC_S) / year.WEEK_S for t in said]
    holds = said[0] <= at_s + DAY_S and at_s <= said[1] + DAY_S
    return f"cleaned between weeks {weeks[0]:.1f} and {weeks[1]:.1f}: {holds}"


def growth_cost_wh(weeks: list[Week]) -> float:
    """What growth since the cleaning truly cost under motor. [Wh]"""
    cost = 0.0
    clean = year.weeks(1)[0]
    for week in weeks:
        if week.number < year.CLEANED_WEEK:
            continue
        day = year.outing(week)
        _, steps = year.channels(day, week)
        wh = true_energies([week])["motor"] if steps else 0.0
        cost += wh * (1 - clean.power_over_clean / week.power_over_clean)
    return cost


def ask(path: Path, count: int) -> tuple[SeasonAnswer, list[Week], Log]:
    """The season of a log that is made where it is not there."""
    told = year.weeks(count)
    if not path.is_file():
        year.write(path, count)
    log = Log(path)
    log.refresh()
    return log.season(), told, log


def main() -> None:
    """Prints every row."""
    options = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    options.add_argument("log", type=Path)
    options.add_argument("--weeks", type=int, default=year.WEEKS)
    asked = options.parse_args()
    answer, told, log = ask(asked.log, asked.weeks)
    for row in [*rows(answer, told),
                Row("growth's cost, Wh", growth_cost_wh(told), answer.fouling.energy)]:  # fmt: skip
        if not row.said.known:
            print(f"{row.what:<42}{row.truth:>12.4g}  not said: {row.said.reason}")
            continue
        ends = f"{row.said.low:.4g} to {row.said.high:.4g}"
        print(f"{row.what:<42}{row.truth:>12.4g}  {ends:<24}{row.holds}", f"{row.sds:.1f} sd")
    print(cleaned_between(answer))
    for cable in log.cables().rows:
        print(cable.name, cable.excess_resistance)
    print("true lug:", told[-1].lug_ohm, "pack:", math.nan if not told else told[-1].capacity_ah)
    print(answer.range_held.sentence)


if __name__ == "__main__":
    main()
