"""Walks a passage leg by leg, many equally likely boats at once.

Each step is a piece of a leg: ground speed from the stream at that boat's own clock, power from
its curve and the wind on that course, charge from its pack, checked against every limit. The wind
of now, known or in each draw another, becomes any other in time; one that was given for the
passage stays.
"""

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
import numpy.typing as npt

from analyzer.environment import persistence
from analyzer.environment.wind import Air
from analyzer.range.ahead import AHEAD_LOG_SD, ground_speed_mps
from analyzer.range.monte_carlo import (
    Draws,
    ReachInput,
    along_across,
    aside_on,
    memory_s,
    winds_to_come,
)
from analyzer.range.route import Leg, Route, SeenStream
from analyzer.range.run_down.discharge import PackDraws, after_s, run_down
from analyzer.range.sample import sample
from logger.units import HOUR_S

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Speed = float | Floats

# A leg is walked in pieces of about this length, at most so many; slower over ground than STUCK
# the boat makes no way. All assumed.
PIECE_M = 1000.0
MOST_PIECES = 20
STUCK_MPS = 0.05


class MovingWater(Protocol):
    """A stream for each draw at its own time."""

    def take(self, which: Ints) -> "MovingWater":
        """The draws picked by index."""

    def at(self, t_s: Floats) -> tuple[Floats, Floats]:
        """East and north, (n,). [m/s]"""


class Sun(Protocol):
    """Power from the panels."""

    def take(self, which: Ints) -> "Sun":
        """The draws picked by index."""

    def at(self, t_s: Floats) -> Floats:
        """Mean power at each draw's own time, (n,). [W]"""


@dataclass(frozen=True)
class NoSun:
    """No panels, or nothing known of them."""

    def take(self, which: Ints) -> "NoSun":
        """None of any."""
        return self

    def at(self, t_s: Floats) -> Floats:
        """Nothing."""
        return np.zeros_like(t_s)


@dataclass(frozen=True)
class Surroundings:
    """What meets the boat on the way, in each draw.

    water: None: the stream that is drawn with the boats, going on from the log's end.
    log_end_s: When stream and wind were measured, where they were. [UTC s]
    """

    water: MovingWater | None = None
    sun: Sun = NoSun()
    log_end_s: float = 0.0


@dataclass(frozen=True)
class Boats:
    """Everything drawn once for a passage; all (n,) but the curve's lines (n, m).

    weather: ln power that wind and sea of each leg add beside `air`, (n, legs). later: the winds
    that `air` becomes from the log's end on.
    """

    given: ReachInput
    water: MovingWater
    around: Surroundings
    pack: PackDraws
    lines: Floats
    weather: Floats
    air: Air
    hotel_w: Floats
    later: Air

    def repeated(self, times: int) -> "Boats":
        """The same draws so many times over, one set after the other."""
        which = np.tile(np.arange(len(self.hotel_w)), times)
        return replace(
            self,
            water=self.water.take(which),
            around=replace(self.around, sun=self.around.sun.take(which)),
            pack=self.pack.take(which),
            lines=self.lines[which],
            weather=self.weather[which],
            air=self.air.take(which),
            hotel_w=self.hotel_w[which],
            later=self.later.take(which),
        )

    def air_at(self, t_s: Floats) -> Air:
        """Winds at each draw's own time, (n,)."""
        age_s = np.maximum(t_s - self.around.log_end_s, 0.0)
        return self.air.become(self.later, persistence.later(age_s / memory_s(self.given)))


@dataclass(frozen=True)
class LegEnd:
    """State at a leg's end, (n,) each. ended: a limit came before it."""

    t_s: Floats
    soc: Floats
    energy_wh: Floats
    ended: npt.NDArray[np.bool_]


def draw_boats(given: ReachInput, route: Route, around: Surroundings) -> Boats:
    """Equally likely boats for a passage: those that "how far" and the way home are drawn from."""
    drawn = sample(given)
    draws, rng = drawn.draws, drawn.rng
    n = len(draws.hotel_w)
    whole = AHEAD_LOG_SD * rng.standard_normal((n, 1))
    water = around.water or SeenStream(draws.stream, around.log_end_s)
    return Boats(
        given=given,
        water=water,
        around=around,
        pack=replace(drawn.pack, lag_ah=None),  # hours later it has levelled out
        lines=draws.log_power,
        weather=whole + _weather(given, draws, route, rng),
        air=draws.air,
        hotel_w=draws.hotel_w,
        later=winds_to_come(given, n),
    )


def _weather(given: ReachInput, draws: Draws, route: Route, rng: np.random.Generator) -> Floats:
    """ln power that wind and sea of each leg add, as far as courses are alike, (n, legs)."""
    n, legs = len(draws.aside), len(route.legs)
    if given.now is None:
        return draws.air.left * given.curve.leg_sd * rng.standard_normal((n, legs))
    asked = [replace(given, course_deg=leg.course_deg) for leg in route.legs]
    return np.concatenate([aside_on(draws, one, rng) for one in asked], axis=1)


def leg_power_w(boats: Boats, k: int, leg: Leg, speed_mps: Speed, t_s: Floats) -> Floats:
    """Propulsion power of each draw on a leg at a speed through water, (n,). [W]

    Args:
        speed_mps: One for all draws, or one each, (n,). t_s: Each draw's own time, (n,).
    """
    speed = np.full(len(boats.hotel_w), speed_mps)
    still = np.exp(boats.given.curve.read_own(boats.lines, speed) + boats.weather[:, k])
    added = boats.air_at(t_s).added_w(leg.course_deg, speed[:, None], still[:, None])
    return np.asarray(still + added[:, 0])


def walk_leg(boats: Boats, k: int, leg: Leg, speed_mps: Speed, start: LegEnd) -> LegEnd:
    """From one leg's end to the next. Once a limit has come the boat stays ended.

    Args:
        k: The leg's number. speed_mps: Through water, one for all draws or one each, (n,).
    """
    pieces = int(np.clip(np.ceil(leg.distance_m / PIECE_M), 1, MOST_PIECES))
    t, soc, energy = start.t_s.copy(), start.soc.copy(), start.energy_wh.copy()
    ended = start.ended.copy()
    for _ in range(pieces):
        east, north = boats.water.at(t)
        along, across = along_across(east, north, leg.course_deg)
        made = ground_speed_mps(np.full_like(t, speed_mps), along, across)
        ended |= made < STUCK_MPS
        seconds = leg.distance_m / pieces / np.maximum(made, STUCK_MPS)
        motor = leg_power_w(boats, k, leg, speed_mps, t + seconds / 2)
        power = motor + boats.hotel_w - boats.around.sun.at(t + seconds / 2)
        soc = after_s(boats.pack, power, soc, seconds)
        energy += power * seconds / HOUR_S
        t += seconds
        ended |= soc <= _lowest_soc(boats, motor, power)
    return LegEnd(t, np.maximum(soc, 0.0), energy, ended)


def _lowest_soc(boats: Boats, motor: Floats, power: Floats) -> Floats:
    """Charge at which the first limit comes at this power, (n,)."""
    limits = boats.given.limits
    full = replace(boats.pack, soc=np.ones(len(motor)))
    run = run_down(motor[:, None], (power - motor)[:, None], full, limits)
    return np.asarray(run.end_soc[:, 0])


def begin(boats: Boats, departure_s: float | Floats) -> LegEnd:
    """State at departure, one time for all draws or one each. [UTC s]"""
    n = len(boats.hotel_w)
    soc = boats.pack.soc
    ended = soc <= boats.given.limits.reserve_frac
    return LegEnd(np.full(n, departure_s), soc, np.zeros(n), ended)
