"""Turn back when told: invented boats go out from home until the advice says turn, then home.

The physics is that of `voyages.py`; stream and wind go on changing while the boat is out. Advice
is asked every ten minutes going out (turn if the turning point lies within the next ten minutes)
and every half hour going back, where the advised speed is kept. The bar: with a reserve of 20 %
at least 98 % of boats arrive above it. Some boats have a wind sensor and a table of the tidal
stream, each as good as such things are. Reduced count by default; KEELWATT_FULL=1 runs 100.
"""

import os
from dataclasses import dataclass

import numpy as np
import pytest

from analyzer.environment import stream_fit
from analyzer.environment.stream_table import StreamTable
from analyzer.environment.wind import lately
from analyzer.hull import hull
from analyzer.hull.steady import steady
from analyzer.pack.soc import PackPosterior, track
from analyzer.range import inputs
from analyzer.range.home import HomeReach, WayBack, home_reach
from analyzer.range.reach import reach
from analyzer.series.series import Series
from tests.support.voyage_legs import at_shore, speeds
from tests.support.voyage_pack import Pack
from tests.support.voyages import (
    STEP_S,
    Craft,
    Data,
    Leg,
    Place,
    joined,
    measured,
    random_place,
    wander,
)

pytestmark = [pytest.mark.field, pytest.mark.filterwarnings("ignore::RuntimeWarning")]

BOATS = 100 if os.environ.get("KEELWATT_FULL") else 4
RESERVE, SURE = 0.20, 0.98
OUT_S, BACK_S = 600.0, 1800.0
LONGEST_S = 14 * 3600.0


@dataclass
class Outing:
    """One boat on its way: what happened and what was recorded."""

    craft: Craft
    place: Place
    pack: Pack
    parts: list[Series]
    state: PackPosterior
    t: float
    east_m: float = 0.0
    north_m: float = 0.0
    soc: float = 1.0
    table: StreamTable | None = None  # with it goes a wind sensor, so much off:
    sensor: tuple[float, float] = (1.0, 0.0)

    def home(self) -> tuple[float, float]:
        """Distance and course home."""
        distance = float(np.hypot(self.east_m, self.north_m))
        return distance, float(np.degrees(np.arctan2(-self.east_m, -self.north_m)) % 360)

    def go(self, seconds: float, course: float, speed: float) -> bool:
        """Motors on a course; False once the pack is at its end."""
        craft = self.craft
        turns = craft.turns_for(speed, craft.weather_n(self.place, course, speed))
        run = craft.sail([Leg(seconds, course, turns)], self.place, self.t)
        current, volts, charge = self.pack.give(run.motor_w + craft.hotel_w, 0.05)
        n = len(current)
        part = measured(craft, run, current, volts, self.t)
        if self.table is not None:
            part.values.update(wind_sensor(craft, self.place, part.n, self.sensor))
        self.state = track(part, craft.boat.pack, self.state).final
        self.parts.append(part)
        self.east_m += float(run.east[:n].sum() * STEP_S)
        self.north_m += float(run.north[:n].sum() * STEP_S)
        self.t += part.n * STEP_S
        self.soc = float(charge[-1])
        return n >= len(run.t) - 2

    def advice(self) -> HomeReach | None:
        """What the analyzer says of the way home."""
        log, boat = joined(self.parts), self.craft.boat
        present = inputs.now(log, boat)
        if present is None:
            return None
        stream = stream_fit.estimate(log, self.craft.boat)
        curve = hull.fit(steady(log, boat, stream), hull.prior(boat))
        told = inputs.RangeInputs(
            boat,
            self.state,
            curve,
            stream,
            present=present,
            hotel_w=(self.craft.hotel_w, 10.0),
            wind=lately(log, log.get("heading_true_deg")),
        )
        asked = told.question()
        result = reach(asked)
        assert result.as_now is not None
        ahead = self.table or "goes on"
        return home_reach(
            asked,
            result.distance_m[:, result.as_now],
            result.as_now,
            WayBack(*self.home(), SURE, ahead),
        )


def wind_sensor(
    craft: Craft, place: Place, n: int, off: tuple[float, float]
) -> dict[str, np.ndarray]:
    """True wind as an instrument gives it, gusts and all; off by a factor and some degrees."""
    gusts = 1 + 0.15 * wander(craft.rng, n, STEP_S, 30.0)
    from_deg = place.wind_from_deg + off[1] + 8.0 * wander(craft.rng, n, STEP_S, 30.0)
    return {
        "wind_speed_true_mps": np.maximum(off[0] * place.wind_mps * gusts, 0.0),
        "wind_direction_true_deg": from_deg % 360,
    }


def stream_table(craft: Craft, place: Place) -> StreamTable:
    """The day's stream by the hour, its strength a tenth off and some hundredths of m/s besides."""
    r = craft.rng
    t_s = np.arange(0.0, 3 * LONGEST_S, 3600.0)
    east, north = place.stream(t_s, np.zeros((2, len(t_s))))
    scale, off = 1 + 0.1 * r.standard_normal(), 0.06 * r.standard_normal(2)
    return StreamTable(t_s, scale * east + off[0], scale * north + off[1])


def outing(data: Data, number: int, *, aided: bool = False) -> tuple[float, float, float, bool]:
    """Farthest distance, charge when turning and on arrival, and whether it got home."""
    craft = Craft(data, np.random.default_rng(40_000 + number))
    pack = Pack(craft, 0.97)
    parts = [at_shore(craft, pack, 0.0)]
    state = track(parts[0], craft.boat.pack).final
    place = random_place(craft.rng)
    way = Outing(craft, place, pack, parts, state, parts[0].n * STEP_S)
    course, speed = craft.rng.uniform(0, 360), craft.rng.uniform(*speeds(craft))
    if aided:
        way.table = stream_table(craft, place)
        way.sensor = 1 + 0.05 * craft.rng.standard_normal(), 4.0 * craft.rng.standard_normal()
    back_speed = speed
    alive = True
    while alive and way.t < LONGEST_S:
        alive = way.go(OUT_S, course, speed)
        told = way.advice()
        if told is None:
            continue
        back_speed = told.back_speed_mps
        if (told.turn_in.low or 0.0) < 1.3 * OUT_S * speed:
            break
    farthest, turned = way.home()[0], way.soc
    while alive and way.home()[0] > 100.0:
        distance, homeward = way.home()
        east, north = way.place.stream(np.array([way.t]), np.zeros((2, 1)))
        angle = np.radians(homeward)
        made = max(back_speed + float(east[0] * np.sin(angle) + north[0] * np.cos(angle)), 0.2)
        alive = way.go(min(BACK_S, max(distance / made, 20.0)), homeward, back_speed)
        told = way.advice() if way.home()[0] > 1000.0 else None
        back_speed = told.back_speed_mps if told else back_speed
        if way.t > 3 * LONGEST_S:
            alive = False
    return farthest, turned, way.soc, alive


def told(found: list[tuple[float, float, float, bool]], who: str) -> tuple[float, float, float]:
    """Prints a table; share home above the reserve, median charge home, median farthest [nmi]."""
    print(f"\n{who}\nfarthest nmi   charge turning   charge home")
    for far, turned, home, alive in found:
        print(f"{far / 1852:12.1f}   {turned:14.0%}   {home:11.0%}{'' if alive else '  not home'}")
    above = float(np.mean([alive and home >= RESERVE for _, _, home, alive in found]))
    home, far = float(np.median([row[2] for row in found])), np.median([row[0] for row in found])
    print(
        f"{len(found)} boats, {who}: {above:.0%} home above the reserve (bar 98 %), median charge "
        f"home {home:.0%}, median farthest {far / 1852:.1f} nmi"
    )
    return above, home, float(far / 1852)


@pytest.fixture(scope="module")
def unaided(data: Data) -> list[tuple[float, float, float, bool]]:
    return [outing(data, number) for number in range(BOATS)]


def test_turning_back_when_told_keeps_the_reserve(unaided):
    above, home, _ = told(unaided, "wind and stream not known")
    assert above >= 0.98
    assert home < 0.5  # not bought by turning at once


def test_a_wind_sensor_and_a_stream_table_take_the_boat_farther(data, unaided):
    aided = [outing(data, number, aided=True) for number in range(BOATS if BOATS > 10 else 2)]
    above, _, far = told(aided, "wind sensor and stream table")
    assert above >= 0.98
    if BOATS > 10:
        assert far > np.median([row[0] for row in unaided]) / 1852
