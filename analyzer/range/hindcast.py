"""What the range answer would have been during a trip, against what then happened.

At each asked moment only what was known then is used. What then happened is read off the log: as
long as the boat went on at about the same power and course, the energy really used is held
against the distance really made: the answer's distance for that same energy should be it. (Not for
the same charge: a full pack's ampere-hours carry more than those of the whole run on average.)
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analyzer.cells.weak_cell import WeakCell
from analyzer.environment import stream_fit
from analyzer.environment.stream import Calibration, Stream
from analyzer.estimation.quantiles import Z80
from analyzer.hull import hull
from analyzer.hull.power_curve import PowerCurve
from analyzer.hull.steady import steady
from analyzer.hull.steady_points import SteadyPoints
from analyzer.pack.counted_back import CountedBack
from analyzer.pack.soc import PackPosterior, advance
from analyzer.range import inputs
from analyzer.range.inputs import RangeInputs
from analyzer.range.monte_carlo import Now
from analyzer.range.reach import ReachResult, reach
from analyzer.series.operating import propulsion_power_w
from analyzer.series.series import Series
from logger.boat import Boat
from logger.units import HOUR_S

Floats = npt.NDArray[np.float64]

# What counts as going on alike, long enough for a comparison; power relative. All assumed.
LEAST_S, MOST_S = 600.0, 3600.0
POWER_ALIKE = 0.25
COURSE_ALIKE_DEG = 30.0
# Rounds in which a span and its mean power come to agree, what divides where nothing is used, and
# the longest span that an energy is looked at for: assumed.
ROUNDS, LEAST_W, LONGEST_S = 3, 1.0, 4 * MOST_S


@dataclass(frozen=True)
class Asked:
    """One moment of the trip.

    Args:
        t_utc_s: When.
        distance_m: Answer then, (low, mid, high), distance left to the limit.
        soc_frac: Charge as it was thought.
        foreseen_m: Distance for the energy that was then used, (low, mid, high).
        made_m: Distance then made on it; None where the boat soon did something else.
        over_s: How long that was.
        charge_frac: Charge as it was thought, (low, mid, high).
        charge_was_frac: Charge by the next full charge; None where none followed that tells.
        charge_was_sd: Its standard deviation: a yardstick that may be the less sure of the two.
    """

    t_utc_s: float
    distance_m: tuple[float, float, float]
    soc_frac: float
    foreseen_m: tuple[float, float, float] | None
    made_m: float | None
    over_s: float
    charge_frac: tuple[float, float, float] | None = None
    charge_was_frac: float | None = None
    charge_was_sd: float = 0.0

    @property
    def charge_held(self) -> bool | None:
        """Whether the charge lay in its range, with the yardstick's own error beside it; None where
        it cannot be compared.

        Errors of both add in squares (textbook), as the yardstick is counted back from later on.
        """
        if self.charge_was_frac is None or self.charge_frac is None:
            return None
        low, mid, high = self.charge_frac
        off = self.charge_was_frac - mid
        own = high - mid if off > 0 else mid - low
        return abs(off) <= math.hypot(own, Z80 * self.charge_was_sd)

    @property
    def held(self) -> bool | None:
        """Whether what happened lay in the range; None where it cannot be compared."""
        if self.made_m is None or self.foreseen_m is None:
            return None
        return self.foreseen_m[0] <= self.made_m <= self.foreseen_m[2]


@dataclass(frozen=True)
class Score:
    """How good the answers were; None where nothing could be compared.

    held_frac: share of ranges that held (80 % is right). error_frac: median error of the middle.
    width_frac: median width of the range over its middle. charge_compared, charge_held_frac,
    charge_error_frac: the same of the charge, against the next full one; its error in points.
    """

    compared: int
    held_frac: float | None
    error_frac: float | None
    width_frac: float | None
    sentence: str
    charge_compared: int = 0
    charge_held_frac: float | None = None
    charge_error_frac: float | None = None


@dataclass(frozen=True)
class Hindcast:
    """All moments and the score."""

    rows: tuple[Asked, ...]
    score: Score


@dataclass(frozen=True)
class Before:
    """What was known when the trip began, and what came to be known of its charge."""

    charge: PackPosterior | None = None
    points: SteadyPoints | None = None
    calibration: Calibration | None = None
    weakest: WeakCell | None = None
    after: CountedBack | None = None  # not known then: what the charge is held against


def hindcast(
    series: Series,
    boat: Boat,
    before: Before,
    every_s: float = 300.0,
    progress: Callable[[float], None] | None = None,
) -> Hindcast:
    """Asks "how far" through a trip's log.

    Args:
        series: The whole trip.
        before: From earlier trips.
        every_s: Between questions; 60 asks each minute.
    """
    step = max(round(every_s / series.step_s), 1)
    state, done, rows = before.charge, 0, []
    for end in range(step, series.n + 1, step):
        state = advance(series.cut(done, end), boat.pack, state)
        done = end
        row = _ask(series, end, boat, before, state)
        if row is not None:
            rows.append(_with_charge(row, before.after, series.t0_us, end * series.step_s))
        if progress:
            progress(end / series.n)
    return Hindcast(tuple(rows), score(rows))


def _with_charge(row: Asked, after: CountedBack | None, t0_us: int, at_s: float) -> Asked:
    """A row with the charge that the next full charge tells."""
    found = after.at(t0_us + round(at_s * 1e6)) if after is not None else None
    if found is None:
        return row
    was, sd = found
    return replace(row, charge_was_frac=was, charge_was_sd=sd)


def _ask(
    series: Series, end: int, boat: Boat, before: Before, state: PackPosterior
) -> Asked | None:
    """One question at a moment; None where the boat was not motoring steadily."""
    past = series.cut(0, end)
    present = inputs.now(past, boat)
    if present is None or not np.isfinite(state.soc):
        return None
    stream = stream_fit.estimate(past, boat, before=before.calibration)
    curve = _curve(past, boat, before, stream)
    known = RangeInputs(
        boat,
        state,
        curve,
        stream,
        weakest=before.weakest,
        present=present,
        hotel_w=inputs.hotel_w(past, boat),
        solar_w=inputs.mean_sd(past, "solar_power_w"),
    )
    result = reach(known.question(seed=end))
    return _compare(series, end, boat, present, result)


def _curve(past: Series, boat: Boat, before: Before, stream: Stream) -> PowerCurve:
    """The power curve as it was known then."""
    points = [steady(past, boat, stream)]
    if before.points is not None:
        points.insert(0, before.points)
    return hull.fit(SteadyPoints.join(points), hull.prior(boat))


def _compare(series: Series, end: int, boat: Boat, present: Now, result: ReachResult) -> Asked:
    """The answer beside what the log shows from there on."""
    assert result.as_now is not None
    left = result.distance_m[:, result.as_now]
    size, wh, made = _what_followed(series, end, boat, present)
    predicted = None
    if made is not None and wh > 0:
        predicted = _three(_foreseen_m(result, wh))
    return Asked(
        t_utc_s=series.t0_us / 1e6 + end * series.step_s,
        distance_m=_three(left),
        soc_frac=float(np.median(result.soc)),
        foreseen_m=predicted,
        made_m=made if predicted else None,
        over_s=size * series.step_s,
        charge_frac=_three(result.soc),
    )


def _three(draws: Floats) -> tuple[float, float, float]:
    """Low, middle and high of an 80 % range."""
    low, mid, high = np.percentile(draws, (10, 50, 90))
    return float(low), float(mid), float(high)


def _foreseen_m(result: ReachResult, wh: float) -> Floats:
    """Distance for an energy, going on as now, with the weather over the time it takes, (n,)."""
    span_s = np.minimum(result.duration_s, MOST_S)
    for _ in range(ROUNDS):
        total_w = result.motor_over(span_s) + result.other_over(span_s)
        span_s = np.minimum(wh * HOUR_S / np.maximum(total_w, LEAST_W), LONGEST_S)
    return np.asarray((result.made_over(span_s) * span_s)[:, result.as_now])


def _what_followed(
    series: Series, end: int, boat: Boat, present: Now
) -> tuple[int, float, float | None]:
    """Samples of going on alike, energy used [Wh], distance along the course [m] or None."""
    most = round(MOST_S / series.step_s)
    after = series.cut(end, min(end + most, series.n))
    minute = max(round(60.0 / series.step_s), 1)
    whole = after.n // minute
    if not whole:
        return 0, 0.0, None
    power = propulsion_power_w(after, boat)[: whole * minute].reshape(whole, minute).mean(axis=1)
    course = np.radians(after.get("course_ground_deg") - present.course_deg)
    along = after.get("speed_ground_mps") * np.cos(course)
    off = np.cos(course)[: whole * minute].reshape(whole, minute).mean(axis=1)
    alike = np.abs(power / present.power_w - 1) < POWER_ALIKE
    alike &= off > np.cos(np.radians(COURSE_ALIKE_DEG))
    size = (int(np.argmin(alike)) if not alike.all() else whole) * minute
    if size * series.step_s < LEAST_S:
        return size, 0.0, None
    watts = (after.get("pack_current_a") * after.get("pack_voltage_v"))[:size]
    wh = float(watts.sum() * series.step_s / HOUR_S)
    return size, wh, float(along[:size].sum() * series.step_s)


def score(rows: Sequence[Asked]) -> Score:
    """How often ranges held, and how far the middle was off; of distances and of charges."""
    charges = [(r.charge_held, r.charge_frac, r.charge_was_frac) for r in rows]
    told = [(h, abs(f[1] - w)) for h, f, w in charges if f is not None and w is not None]
    held = float(np.mean([h for h, _ in told])) if told else None
    off = _middle([error for _, error in told])
    found = replace(
        _distance_score(rows),
        charge_compared=len(told),
        charge_held_frac=held,
        charge_error_frac=off,
    )
    if held is None or off is None:
        return found
    more = (
        f"; of {len(told)} charges held against the next full one the range held "
        f"{held * 100:.0f} %, the middle was off by {off * 100:.0f} points"
    )
    return replace(found, sentence=found.sentence + more)


def _distance_score(rows: Sequence[Asked]) -> Score:
    """The score of the distances."""
    pairs = [(r.foreseen_m, r.made_m, r.held) for r in rows]
    known = [(f, m, h) for f, m, h in pairs if f is not None and m is not None]
    if not known:
        why = "nothing to compare: the boat never went on alike for ten minutes"
        return Score(0, None, None, None, why)
    held = float(np.mean([h for _, _, h in known]))
    error = _middle([abs(f[1] / m - 1) for f, m, _ in known if m > 0])
    width = _middle([(f[2] - f[0]) / f[1] for f, _, _ in known if f[1] > 0])
    sentence = (
        f"{len(known)} answers could be held against the log: the range held the truth in "
        f"{held * 100:.0f} % (8 in 10 is right)"
    )
    if error is not None:
        sentence += f", the middle was off by {error * 100:.0f} %"
    return Score(len(known), held, error, width, sentence)


def _middle(values: list[float]) -> float | None:
    return float(np.median(values)) if values else None
