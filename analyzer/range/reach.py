"""How far: for each speed, draws of everything not known, run down until the first limit.

A draw is one equally likely boat, pack, stream, hotel load and sun together; distance over the
ground is its time times its ground speed.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analyzer.environment.solar import HOURS
from analyzer.environment.stream_table import StreamTable, TableStream
from analyzer.estimation.estimate import Estimate
from analyzer.hull.power_curve import PowerCurve
from analyzer.range.discharge import LIMITS, RunDown, run_down
from analyzer.range.monte_carlo import (
    Draws,
    ReachInput,
    along_across,
    aside_on,
    sample,
)
from analyzer.range.pack_draws import PackDraws
from logger.units import HOUR_S, KN

Floats = npt.NDArray[np.float64]
MeanStream = Callable[[Floats], tuple[Floats, Floats]]

# Assumed: what waves and wind still to come do to a whole passage, in ln power; probability from
# which on heat counts as what ends a speed; sun from which on, and how often, the day is looked at.
AHEAD_LOG_SD = 0.03
TOO_HOT = 0.5
SUN_COUNTS_W, SUN_ROUNDS = 5.0, 3
STEPS_KN = (
    0.1,
    0.25,
    0.5,
    1.0,
    2.0,
    5.0,
)  # between the speeds of a table; common practice, no source


@dataclass(frozen=True)
class ReachResult:
    """Draws and what they say; columns follow `speeds_mps`.

    Args:
        speeds_mps: Through water, (k,).
        ground_mps, motor_w, total_w, distance_m, duration_s: (n, k).
        run: End charge and limit, (n, k).
        pack: As drawn, (n,).
        made_over: Mean speed made good on the course over times from now, (n, k) of (n, k). [m/s]
    """

    speeds_mps: Floats
    ground_mps: Floats
    motor_w: Floats
    total_w: Floats
    distance_m: Floats
    duration_s: Floats
    run: RunDown
    pack: PackDraws
    known_stream: bool
    reason: str
    as_now: int | None
    made_over: Callable[[Floats], Floats]

    @property
    def soc(self) -> Floats:
        """Charge now, (n,)."""
        return self.pack.soc

    def distance(self, k: int) -> Estimate:
        """Distance over ground at the k-th speed, median and 80 % range. [m]"""
        return middle(self.distance_m[:, k], "m", self.reason)

    def duration(self, k: int) -> Estimate:
        """Time at the k-th speed. [s]"""
        return middle(self.duration_s[:, k], "s", self.reason)

    def power(self, k: int) -> Estimate:
        """Power from the pack at the k-th speed, motor and hotel less sun. [W]"""
        return middle(self.total_w[:, k], "W", self.reason)

    def ground_speed_mps(self, k: int) -> float:
        """Median speed over ground at the k-th speed."""
        return float(np.median(self.ground_mps[:, k]))

    def limit_shares(self, k: int) -> dict[str, float]:
        """How often each limit ends the run at the k-th speed; only those that ever do."""
        count = np.bincount(self.run.limit[:, k], minlength=len(LIMITS))
        share = count / count.sum()
        return {LIMITS[i]: float(share[i]) for i in np.argsort(-share) if share[i] > 0}

    def best(self) -> int | None:
        """Index of the speed whose median distance is longest; None if none makes way."""
        medians = np.median(self.distance_m, axis=0)
        return int(np.argmax(medians)) if medians.max() > 0 else None

    def nearest(self, speed_mps: float) -> int:
        """Index of the speed nearest to one."""
        return int(np.argmin(np.abs(self.speeds_mps - speed_mps)))


def middle(draws: Floats, unit: str, reason: str = "", used: tuple[str, ...] = ()) -> Estimate:
    """Median and 80 % range of draws."""
    low, mid, high = np.percentile(draws, (10, 50, 90))
    return Estimate(float(mid), float(low), float(high), unit, reason=reason, used=used)


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


def reach(given: ReachInput) -> ReachResult:
    """How far and how long at each speed, as draws.

    Returns:
        Draws and summaries; the number of draws is that of `given.charge["soc"]`.
    """
    drawn = sample(given)
    draws, pack, rng = drawn.draws, drawn.pack, drawn.rng
    # what waves and wind still to come do to the whole passage
    ahead = np.exp(AHEAD_LOG_SD * rng.standard_normal((len(draws.aside), 1)))
    water_mps = _water_mps(given, draws, rng)
    motor_w = _course_power_w(given, draws, water_mps, rng) * ahead
    run, other_w = _run(given, pack, motor_w, draws.hotel_w[:, None], draws.sun_w[:, None])
    run = _cooled(given, run, motor_w, pack.soc, rng)
    stream = _stream_ahead(given, draws, rng)
    made_mps = _made_mps(given, water_mps, stream(run.duration_s))
    reason = given.curve.reason + ("" if given.stream.known else "; " + given.stream.reason)
    return ReachResult(
        speeds_mps=given.speeds_mps,
        ground_mps=made_mps,
        motor_w=motor_w,
        total_w=motor_w + other_w,
        distance_m=made_mps * run.duration_s,
        duration_s=run.duration_s,
        run=run,
        pack=pack,
        known_stream=given.stream.known,
        reason=reason,
        as_now=given.as_now,
        made_over=lambda duration_s: _made_mps(given, water_mps, stream(duration_s)),
    )


def _made_mps(given: ReachInput, water_mps: Floats, stream: tuple[Floats, Floats]) -> Floats:
    """Speed made good on the course in a stream, its east and north, (n, k)."""
    along, across = along_across(*stream, given.course_deg)
    return ground_speed_mps(water_mps, along, across)


def _course_power_w(
    given: ReachInput, draws: Draws, water_mps: Floats, rng: np.random.Generator
) -> Floats:
    """Propulsion power on the course at each speed in the present weather, (n, k). [W]"""
    n = len(draws.aside)
    calm_w = np.exp(given.curve.read_each(draws.log_power, water_mps))
    still_w = calm_w * np.exp(aside_on(draws, given, rng))
    course = rng.uniform(0.0, 360.0, n) if given.course_deg is None else given.course_deg
    motor_w = still_w + draws.air.added_w(course, water_mps, still_w)
    if given.as_now is not None:
        motor_w[:, given.as_now] = draws.now_w
    return np.asarray(motor_w)


def _at_throttle_mps(given: ReachInput, draws: Draws, rng: np.random.Generator) -> Floats:
    """Speed through water of each draw at the throttle's power, on its own curve, (n,)."""
    grid = given.curve.speed_mps
    water_mps = np.broadcast_to(grid, (len(draws.aside), len(grid)))
    power_w = _course_power_w(replace(given, as_now=None), draws, water_mps, rng)
    rising = np.maximum.accumulate(np.log(power_w), axis=1)
    pairs = zip(np.log(draws.now_w), rising, strict=True)
    return np.array([np.interp(own, line, grid) for own, line in pairs])


def _run(
    given: ReachInput, pack: PackDraws, motor_w: Floats, hotel_w: Floats, sun_w: Floats
) -> tuple[RunDown, Floats]:
    """The run-down, and hotel less the mean sun over it, (n, k) or (n, 1). [W]

    How long the run lasts says how much of the day's sun it meets, and the other way round.
    """
    other_w = hotel_w - sun_w
    run = run_down(motor_w, other_w, pack, given.limits)
    if given.sun_ahead is None or given.solar_w[0] <= SUN_COUNTS_W:
        return run, other_w
    for _ in range(SUN_ROUNDS):
        share = np.interp(run.duration_s / HOUR_S, HOURS, given.sun_ahead)
        other_w = hotel_w - sun_w * share
        run = run_down(motor_w, other_w, pack, given.limits)
    return run, other_w


def _cooled(
    given: ReachInput, run: RunDown, motor_w: Floats, soc: Floats, rng: np.random.Generator
) -> RunDown:
    """The run cut short at speeds that motor or controller probably gets too hot for first.

    Where it is only possible the flag that watches it will tell: the heat's doubt is wide, and
    the boat goes on, slower.
    """
    for warmth in given.warmths:
        holds = warmth.holds_s(motor_w, rng)
        short = holds < run.duration_s
        short &= short.mean(axis=0) >= TOO_HOT
        share = np.where(short, holds / np.maximum(run.duration_s, 1.0), 1.0)
        start = soc[:, None]
        run = RunDown(
            end_soc=start - (start - run.end_soc) * share,
            duration_s=run.duration_s * share,
            limit=np.where(short, LIMITS.index(f"{warmth.part}'s temperature"), run.limit),
        )
    return run


def _stream_ahead(given: ReachInput, draws: Draws, rng: np.random.Generator) -> MeanStream:
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


def _water_mps(given: ReachInput, draws: Draws, rng: np.random.Generator) -> Floats:
    """Speed through water per draw and speed asked for, (n, k)."""
    n = len(draws.aside)
    water = np.broadcast_to(given.speeds_mps, (n, len(given.speeds_mps))).copy()
    if given.as_now is not None and given.now is not None:
        along, across = along_across(*draws.stream.now(), given.now.course_deg)
        water[:, given.as_now] = np.hypot(given.now.speed_ground_mps - along, across)
    elif given.as_now is not None:
        water[:, given.as_now] = _at_throttle_mps(given, draws, rng)
    return water


def speeds_for(curve: PowerCurve, rated_power_w: float, most: int = 20) -> Floats:
    """Speeds worth asking for, at most that many: round knots from a walking pace up to what
    the motor can drive, and that itself. [m/s]"""
    usable = curve.speed_mps[curve.mean_w(curve.speed_mps) <= rated_power_w]
    top = float(usable[-1]) if len(usable) else float(curve.speed_mps[len(curve.speed_mps) // 2])
    top_kn = top / KN
    step_kn = next((s for s in STEPS_KN if 0.75 * top_kn / s < most - 2), 0.75 * top_kn / most)
    steps = np.arange(np.ceil(0.25 * top_kn / step_kn), np.ceil(top_kn / step_kn - 0.2))
    return np.append(steps * step_kn * KN, top)


def toward(given: ReachInput, course_deg: float | None) -> ReachInput:
    """The same question on another course, where no speed stands for going on as now."""
    return replace(given, course_deg=course_deg, as_now=None)
