"""How far: for each speed, draws of everything not known, run down until the first limit.

A draw is one equally likely boat, pack, stream, hotel load and sun together; distance over the
ground is its time times its ground speed.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analyzer.environment.sun_ahead import HOURS, SunPaths
from analyzer.estimation.estimate import Estimate
from analyzer.estimation.results import BEYOND
from analyzer.hull.power_curve import PowerCurve
from analyzer.range.ahead import Ahead, look_ahead
from analyzer.range.monte_carlo import ReachInput
from analyzer.range.run_down.discharge import LIMITS, RunDown, run_down
from analyzer.range.run_down.pack_draws import MOST_S, PackDraws
from analyzer.range.run_down.through_days import through_days
from analyzer.range.sample import sample
from logger.units import KN

Floats = npt.NDArray[np.float64]

TOO_HOT = 0.5  # probability from which on heat counts as what ends a speed; assumed
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
        ground_mps: Over ground on the course, now, (n, k).
        motor_w, total_w, distance_m, duration_s: Powers as means over the run, (n, k).
        run: End charge and limit, (n, k).
        pack: As drawn, (n,).
        made_over, motor_over, other_over: Mean speed made good on the course, propulsion power,
            and hotel load less sun, over times from now, (n, k) of (n, k). [m/s], [W]
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
    motor_over: Callable[[Floats], Floats]
    other_over: Callable[[Floats], Floats]

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
        """Median speed over ground now at the k-th speed."""
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


def reach(given: ReachInput) -> ReachResult:
    """How far and how long at each speed, as draws.

    Returns:
        Draws and summaries; the number of draws is that of `given.charge["soc"]`.
    """
    drawn = sample(given)
    pack, rng = drawn.pack, drawn.rng
    ahead = look_ahead(given, drawn.draws, rng)
    sun = _sun(given, drawn.draws.sun_w)
    other_over = _other(drawn.draws.hotel_w, drawn.draws.sun_w, sun)
    run, motor_w = _run(given, pack, ahead, sun)
    run = _cooled(given, run, motor_w, pack.soc, rng)
    days = np.where(run.duration_s >= MOST_S, LIMITS.index(BEYOND), run.limit)
    run = replace(run, limit=days)
    made_mps = ahead.made_mps(run.duration_s)
    reason = given.curve.reason + ("" if given.stream.known else "; " + given.stream.reason)
    return ReachResult(
        speeds_mps=given.speeds_mps,
        ground_mps=ahead.made_mps(np.zeros_like(motor_w)),
        motor_w=motor_w,
        total_w=motor_w + other_over(run.duration_s),
        distance_m=made_mps * run.duration_s,
        duration_s=run.duration_s,
        run=run,
        pack=pack,
        known_stream=given.stream.known,
        reason=reason,
        as_now=given.as_now,
        made_over=ahead.made_mps,
        motor_over=ahead.mean_drive_w,
        other_over=other_over,
    )


def _run(
    given: ReachInput, pack: PackDraws, ahead: Ahead, sun: SunPaths | None
) -> tuple[RunDown, Floats]:
    """The run-down, and mean propulsion power over it, (n, k). [W]

    How long the run lasts says how much of the weather and of the days it meets, and the other
    way round.
    """
    hotel_w = ahead.draws.hotel_w[:, None]
    motor_w = ahead.mean_drive_w(np.zeros_like(ahead.still_w))
    if sun is not None:
        return through_days(motor_w, ahead.mean_drive_w, hotel_w, sun, pack, given.limits)
    other_w = hotel_w - ahead.draws.sun_w[:, None]
    run = run_down(motor_w, other_w, pack, given.limits)
    motor_w = ahead.mean_drive_w(run.duration_s)
    return run_down(motor_w, other_w, pack, given.limits), motor_w


def _sun(given: ReachInput, sun_w: Floats) -> SunPaths | None:
    """Days and nights to come for each draw; None where panels do not count."""
    if given.sun_ahead is None:
        return None
    rng = np.random.default_rng((given.seed, len(sun_w), len(HOURS)))  # the other draws stay
    return SunPaths(given.sun_ahead.paths_w(sun_w, rng))


def _other(hotel_w: Floats, sun_w: Floats, sun: SunPaths | None) -> Callable[[Floats], Floats]:
    """Mean of hotel load less sun over times from now, (n, k) of (n, k). [W]"""
    if sun is None:
        return lambda duration_s: (hotel_w - sun_w)[:, None] + np.zeros_like(duration_s)
    return lambda duration_s: hotel_w[:, None] - sun.mean_w(duration_s)


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
