"""What meets the boat from now on: wind and stream as they may become, power and speed made good.

The wind of each draw becomes any other in time, and so does what it adds to the power; the stream
goes on as tide and eddies. Everything here is a mean over times that begin now, so that a run-down
at constant power and a distance made at constant speed stand for a run in changing weather.

Where the throttle stays as it is, more resistance slows the boat and loads the motor. With thrust
T ~ n^2 (1 - J / J_T) and torque Q ~ n^2 (1 - J / J_Q), J the advance, a resistance R ~ v^m that
grows by r at held revolutions n gives

    ln v = -r / (m + s_T),  ln P = s_Q r / (m + s_T),  s = J / (J_0 - J), J_0 of T or Q.

Source: open-water lines and equilibrium of thrust and resistance (textbook). Numbers are those of
a three-bladed propeller of pitch 0.7 diameters at a slip of 0.3, from memory: J = 0.49, J_T =
0.78, J_Q = 0.85; m = 3.5 at cruising speed of a displacement hull (common practice, no source).

While the speed settles after a step of the throttle, J is not J_0: a boat that is still fast for
its new revolutions loads the motor less than it will. At held revolutions

    P / P_0 = (1 - (J_0 / J_Q) v / v_0) / (1 - J_0 / J_Q)

where v_0, P_0 are what they settle at, and J_0 is that of every settled speed (resistance as the
square of speed, textbook).
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analyzer.environment import persistence
from analyzer.environment.stream_table import StreamTable, TableStream
from analyzer.environment.wind import Air
from analyzer.range.monte_carlo import (
    Draws,
    ReachInput,
    Throttle,
    along_across,
    aside_on,
    memory_s,
    winds_to_come,
)

Floats = npt.NDArray[np.float64]
MeanStream = Callable[[Floats], tuple[Floats, Floats]]

AHEAD_LOG_SD = 0.03  # what waves and gusts to come do to a whole passage, in ln power; assumed
# At a held throttle, exponents of power and of speed in the resistance: see above, from memory.
THROTTLE_POWER, THROTTLE_SPEED = 0.26, 0.19
SETTLED_LOAD = 0.49 / 0.85  # J_0 / J_Q, see above, from memory
LEAST_LOAD = 0.05  # of the settled power: a propeller that drives the motor is none; assumed


def ground_speed_mps(water_mps: Floats, along_mps: Floats, across_mps: Floats) -> Floats:
    """Speed made good along a course held against a stream (the current triangle).

    Args:
        water_mps: Speed through water.
        along_mps, across_mps: Stream along and across the course.
    Returns:
        Broadcast shape; 0 where the boat cannot hold the course or is set back.

    Source: navigation (textbook).
    """
    made = np.sqrt(np.maximum(water_mps**2 - across_mps**2, 0.0)) + along_mps
    return np.where(water_mps > np.abs(across_mps), np.maximum(made, 0.0), 0.0)


@dataclass(frozen=True)
class Ahead:
    """Wind, stream and power from now on, one row per draw.

    Args:
        water_mps: Speed through water at each speed asked for, now, (n, k).
        still_w: Propulsion power in still air on the course, (n, k).
        course_deg: Held over ground; one of each draw, (n,), where none is told.
        rest: Factor of the power that is neither wind nor sea now, (n, 1).
        later: Winds that the present ones become.
        stream: Mean east and north over times from now, (n, k) of (n, k). [m/s]
    """

    given: ReachInput
    draws: Draws
    water_mps: Floats
    still_w: Floats
    course_deg: float | Floats
    rest: Floats
    later: Air
    stream: MeanStream

    def mean_drive_w(self, duration_s: Floats) -> Floats:
        """Mean propulsion power over times from now, (n, k). [W]"""
        air = self._air(duration_s)
        added_w = air.added_w(self.course_deg, self.water_mps, self.still_w)
        motor_w = (self.still_w + added_w) * self.rest
        if self._throttle is not None:
            loaded = self._heavier(air) ** THROTTLE_POWER
            now_w = self.draws.now_w * self.rest[:, 0]
            motor_w[:, self._throttle] = now_w * loaded
        return np.asarray(motor_w)

    def made_mps(self, duration_s: Floats) -> Floats:
        """Mean speed made good on the course over times from now, (n, k)."""
        water_mps = self.water_mps
        if self._throttle is not None:
            heavier = self._heavier(self._air(duration_s))
            water_mps = water_mps.copy()
            water_mps[:, self._throttle] *= heavier**-THROTTLE_SPEED
        east, north = self.stream(duration_s)
        along, across = along_across(east, north, self.given.course_deg)
        return ground_speed_mps(water_mps, along, across)

    @property
    def _throttle(self) -> int | None:
        """The speed at which not speed but throttle is held: going on as now."""
        return self.given.as_now

    def _air(self, duration_s: Floats) -> Air:
        """The mean wind over times from now."""
        shares = persistence.mean_until(duration_s / memory_s(self.given))
        return self.draws.air.become(self.later, shares)

    def _heavier(self, air: Air) -> Floats:
        """Resistance of going on as now in a wind to come over that in the present one, (n,).

        Sails that help stay set: they carry their part of both.
        """
        k = self._throttle
        now = self.draws.air
        water_mps = self.water_mps[:, k, None]
        now_w = self.draws.now_w[:, None]
        still_w = now.still_w(self.course_deg, water_mps, now_w) + self.draws.helped_w[:, None]
        wind_mps, from_deg = air.wind_mps[:, k], air.from_deg[:, k]
        air = replace(air, wind_mps=wind_mps, from_deg=from_deg)
        then_w, was_w = (
            still_w + one.added_w(self.course_deg, water_mps, still_w) for one in (air, now)
        )
        return np.asarray((then_w / was_w)[:, 0])


def look_ahead(given: ReachInput, draws: Draws, rng: np.random.Generator) -> Ahead:
    """What each draw meets from now on."""
    n = len(draws.aside)
    rest = np.exp(AHEAD_LOG_SD * rng.standard_normal((n, 1)))
    aside = np.exp(aside_on(draws, given, rng))
    course = rng.uniform(0.0, 360.0, n) if given.course_deg is None else given.course_deg
    if given.throttle is not None:
        draws = _settled(given, given.throttle, draws, aside, course)
    water_mps = _water_mps(given, draws, aside, course)
    return Ahead(
        given=given,
        draws=draws,
        water_mps=water_mps,
        still_w=_still_w(given, draws, aside, water_mps),
        course_deg=course,
        rest=rest,
        later=winds_to_come(given, n),
        stream=_stream(given, draws, rng),
    )


def _still_w(given: ReachInput, draws: Draws, aside: Floats, water_mps: Floats) -> Floats:
    """Propulsion power in still air at speeds through water, (n, k). [W]"""
    return np.asarray(np.exp(given.curve.read_each(draws.log_power, water_mps)) * aside)


def _water_mps(
    given: ReachInput, draws: Draws, aside: Floats, course_deg: float | Floats
) -> Floats:
    """Speed through water per draw and speed asked for, (n, k)."""
    n = len(draws.aside)
    water = np.broadcast_to(given.speeds_mps, (n, len(given.speeds_mps))).copy()
    if given.as_now is not None and given.now is not None:
        along, across = along_across(*draws.stream.now(), given.now.course_deg)
        water[:, given.as_now] = np.hypot(given.now.speed_ground_mps - along, across)
    elif given.as_now is not None:
        water[:, given.as_now] = _at_throttle_mps(given, draws, aside, course_deg)
    return water


def _at_throttle_mps(
    given: ReachInput, draws: Draws, aside: Floats, course_deg: float | Floats
) -> Floats:
    """Speed through water of each draw at the throttle's power, on its own curve, (n,)."""
    rising = np.maximum.accumulate(np.log(_on_grid_w(given, draws, aside, course_deg)), axis=1)
    pairs = zip(np.log(draws.now_w), rising, strict=True)
    return np.array([np.interp(own, line, given.curve.speed_mps) for own, line in pairs])


def _on_grid_w(
    given: ReachInput, draws: Draws, aside: Floats, course_deg: float | Floats
) -> Floats:
    """Propulsion power of each draw at the curve's own speeds, wind, sea and sails of now, (n, m).

    [W]
    """
    grid = given.curve.speed_mps
    water_mps = np.broadcast_to(grid, (len(draws.aside), len(grid)))
    still_w = _still_w(given, draws, aside, water_mps)
    alone_w = still_w + draws.air.added_w(course_deg, water_mps, still_w)
    return np.asarray(np.maximum(alone_w - draws.helped_w[:, None], LEAST_LOAD * alone_w))


def _settled(
    given: ReachInput, throttle: Throttle, draws: Draws, aside: Floats, course_deg: float | Floats
) -> Draws:
    """The draws with the power that their throttle settles at, while the speed still moves.

    A controller that holds the power itself makes no difference between the two; which is aboard,
    or what lies between, is not known: a share of the effect, uniform, in each draw (assumed).
    """
    if throttle.speed_ground_mps is None:
        return draws
    along, across = along_across(*draws.stream.now(), given.course_deg)
    water_mps = np.hypot(throttle.speed_ground_mps - along, across)
    power_w = _on_grid_w(given, draws, aside, course_deg)
    load = 1.0 - SETTLED_LOAD * water_mps[:, None] / given.curve.speed_mps
    load = np.maximum(load / (1.0 - SETTLED_LOAD), LEAST_LOAD)
    n = len(aside)
    rng = np.random.default_rng((given.seed, n, 3))
    held = rng.uniform(size=(n, 1))
    felt_w = power_w * (1.0 - held + held * load)
    rising = np.maximum.accumulate(np.log(felt_w), axis=1)
    rows = zip(np.log(draws.now_w), rising, np.log(power_w), strict=True)
    settled = [np.interp(own, felt, line) for own, felt, line in rows]
    return replace(draws, now_w=np.exp(settled))


def _stream(given: ReachInput, draws: Draws, rng: np.random.Generator) -> MeanStream:
    """The stream to come: its mean east and north over times from now, (n, k) or (n, 1). [m/s]"""
    if isinstance(given.ahead, StreamTable):
        table = TableStream.around(given.ahead, len(draws.aside), rng)
        return lambda duration_s: table.mean_over(float(given.stream.t_s[-1]), duration_s)
    if given.ahead == "goes on":
        return draws.stream.mean_over
    sign = -1.0 if given.ahead == "reversed" else 1.0
    east, north = draws.stream.now()
    held = sign * east[:, None], sign * north[:, None]
    return lambda duration_s: held
