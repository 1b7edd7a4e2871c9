"""The boat as it is usually used: a full pack, the usual speed, no stream, a year as the log's."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analyzer.answers.snapshot import Here, here_now
from analyzer.environment import stream
from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.hull.steady_points import SteadyPoints
from analyzer.learned.kept_trips import trips
from analyzer.learned.keys import points_before
from analyzer.range.inputs import RangeInputs, usual_speed_mps
from analyzer.range.monte_carlo import ReachInput
from analyzer.range.reach import ReachResult, middle, reach
from analyzer.range.run_down.discharge import run_down
from analyzer.range.sample import sample
from analyzer.range.what_if.changes import own_rng
from analyzer.series.log import OpenLog
from logger.boat import Boat
from logger.units import DAY_S, HOUR_S, KN

Floats = npt.NDArray[np.float64]

SLOWER_MPS = 0.5 * KN  # half a knot, by definition of the question
LEAST_S = 1800.0  # of steady motoring before the log says what is usual; assumed
LEAST_DAYS, LEAST_TRIPS = 28.0, 3  # of log before it says what a year is; assumed
YEAR_DAYS = 365.25  # by definition
CELL_V = 3.3  # only to find how fast a run-down has to be; assumed, that of LFP
IDLE_H = 60.0  # a run on the load alone is asked for faster and stretched beyond; assumed


@dataclass(frozen=True)
class Year:
    """A year that is as the log's days. motor_wh, motor_m: Under motor. log_sd: Of both, in ln."""

    motor_wh: float
    motor_m: float
    log_sd: float
    days: float

    def draws(self, mean: float, given: ReachInput) -> Floats:
        """Equally likely years, (n,), of something whose mean is told."""
        normal = own_rng(given, 6).standard_normal(len(given.charge["soc"]))
        return np.asarray(mean * np.exp(self.log_sd * normal))


@dataclass(frozen=True)
class Usual:
    """The usual question and its answer; the last speed is the usual one.

    idle_s: How long a full pack feeds the load alone, (n,). no_year: Why there is no year.
    """

    log: OpenLog
    here: Here
    end_us: int
    speed_from: str
    given: ReachInput
    result: ReachResult
    idle_s: Floats
    year: Year | None
    no_year: str

    @property
    def boat(self) -> Boat:
        """The boat."""
        return self.log.boat

    @property
    def speed_mps(self) -> float:
        """Through water."""
        return float(self.given.speeds_mps[-1])

    @property
    def wh_per_m(self) -> Floats:
        """Out of the pack at the usual speed, (n,)."""
        return np.asarray(self.result.total_w[:, -1] / HOUR_S / self.speed_mps)

    def further(self, result: ReachResult) -> Estimate:
        """What another boat goes further, draw by draw. [m]"""
        return middle(result.distance_m[:, -1] - self.result.distance_m[:, -1], "m")

    def longer(self, given: ReachInput) -> Estimate:
        """What another boat feeds its load longer, draw by draw. [s]"""
        return middle(idle_s(given) - self.idle_s, "s")

    def saved(self, result: ReachResult) -> Estimate:
        """What another boat saves under motor in a year, draw by draw. [Wh]"""
        share = 1 - result.motor_w[:, -1] / self.result.motor_w[:, -1]
        return self.in_year(share, self.year.motor_wh if self.year else 0.0)

    def in_year(self, share: Floats, mean: float) -> Estimate:
        """A share, (n,), of something in a year. [Wh]"""
        if self.year is None:
            return cannot_say(self.no_year, "Wh")
        reason = f"if the year is as the log's {self.year.days:.0f} days"
        return middle(share * self.year.draws(mean, self.given), "Wh", reason)


def usual(log: OpenLog) -> Usual:
    """The usual question of a log."""
    span = log.store.span()
    end_us = span[1] + 1 if span else 0
    here = here_now(log, end_us)
    speed, source = _speed(log)
    given = _question(log, here, speed)
    year, why = _year(log)
    return Usual(log, here, end_us, source, given, reach(given), idle_s(given), year, why)


def _question(log: OpenLog, here: Here, speed_mps: float) -> ReachInput:
    """From a full pack, in no stream, with any wind, without sun."""
    charge = None if here.charge is None or here.charge.sign_reversed else here.charge
    known = RangeInputs(
        log.boat,
        charge,
        here.curve,
        stream.unknown("no stream"),
        hotel_w=here.hotel_w,
        weakest=here.weakest,
    )
    speeds = np.array([max(speed_mps - SLOWER_MPS, 0.3 * speed_mps), speed_mps])
    given = known.question(speeds_mps=speeds)
    full = {**given.charge, "soc": np.ones_like(given.charge["soc"])}
    full.pop("recent_ah", None)  # lead-acid that has rested
    return replace(given, charge=full, sun_ahead=None)


def _speed(log: OpenLog) -> tuple[float, str]:
    """The speed that is usual under motor, and what makes it so."""
    points = points_before(log, None)
    joined = SteadyPoints.join(points) if points else None
    if joined is not None and float(joined.duration_s.sum()) >= LEAST_S:
        minutes = float(joined.duration_s.sum()) / 60
        return joined.middle_mps, (
            f"the middle of {minutes:.0f} minutes of steady motoring in the log"
        )
    told = "the boat file" if log.boat.hull.cruising_speed_mps else "its waterline"
    return usual_speed_mps(log.boat.hull), f"by {told}, as too little motoring is in the log"


def idle_s(given: ReachInput) -> Floats:
    """How long the pack feeds the load beside the motor alone, (n,). [s]"""
    drawn = sample(given)
    load_w = np.maximum(drawn.draws.hotel_w, 1.0)
    whole_wh = drawn.pack.capacity_ah * drawn.pack.cells * CELL_V
    faster = np.maximum(whole_wh / (IDLE_H * load_w), 1.0)
    none = np.zeros((len(load_w), 1))
    run = run_down(none, (load_w * faster)[:, None], drawn.pack, given.limits)
    return np.asarray(run.duration_s[:, 0] * faster)


def _year(log: OpenLog) -> tuple[Year | None, str]:
    """What a year takes under motor; None, with why, where the log is too short."""
    rows = trips(log)
    days = (rows[-1].end_utc_s - rows[0].start_utc_s) / DAY_S if rows else 0.0
    if days < LEAST_DAYS or len(rows) < LEAST_TRIPS:
        return None, f"a year wants {LEAST_DAYS:.0f} days and {LEAST_TRIPS} trips of log"
    legs = [[leg for leg in row.legs if leg.kind == "motoring"] for row in rows]
    wh = np.array([sum(leg.energy_wh or 0.0 for leg in some) for some in legs])
    far_m = np.array([sum(leg.distance_m or 0.0 for leg in some) for some in legs])
    if not wh.sum() > 0:
        return None, "no energy under motor is in the log"
    spread = wh.std() / wh.mean()
    # of a sum of as many trips as happened to be made (Poisson), each of its own size: textbook
    log_sd = float(np.sqrt((1 + spread**2) / len(rows)))
    factor = YEAR_DAYS / days
    return Year(float(wh.sum() * factor), float(far_m.sum() * factor), log_sd, days), ""
