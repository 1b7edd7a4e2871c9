"""What is not known, drawn: packs, power curves, streams and winds that agree with the present.

What the boat does now (this speed over ground at this power) is used twice: draws that disagree
with it are left out in proportion, and the power curve of each remaining draw is bent through it.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from analyzer.environment import sails
from analyzer.environment.stream import Stream, StreamDraws
from analyzer.environment.stream_table import StreamTable
from analyzer.environment.sun_ahead import SunAhead
from analyzer.environment.wind import (
    ANY_WIND_MPS,
    AREA_LOG_SD,
    BEYOND_WIND,
    LEAST_SHARE,
    MEMORY_S,
    MOST_SEA,
    ONE_WIND_S,
    Air,
    Wind,
)
from analyzer.estimation.resampling import resample
from analyzer.hull.power_curve import PowerCurve, Recent
from analyzer.hull.recent_legs import Day, after_the_day
from analyzer.hull.steady import LEG_DEG, SETTING_LOG
from analyzer.pack.chemistry import LEAD, Chemistry
from analyzer.pack.lead_acid.prior import draw_wells, lag_of
from analyzer.range.run_down.discharge import Limits, PackDraws, ocv_table
from analyzer.range.thermal_limit import Warmth

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Ahead = Literal["stays", "goes on", "reversed"] | StreamTable

# All assumed: a few minutes' mean power about the curve, in ln power; cosine between courses that
# count as the same; how much of the weather's part is kept on another course, and turned round.
NOW_LOG_SD = 0.03
ALIKE = 0.9
ASIDE_KEPT, ASIDE_BACK = 0.8, 0.6


@dataclass(frozen=True)
class Now:
    """What the boat does at this moment, as a mean of the last minutes of steady motoring.

    speed_ground_mps, course_deg: over ground. power_w: propulsion, from the pack.
    log_sd: how well that stretch's mean power is known. less_hotel: power_w is the pack's
    measured power less a hotel load that is only thought: were that larger, this is smaller.
    less_sun: it lacks what panels without a meter give the motor: were that more, this is larger.
    taken_w: The load that was thought and taken off; None: the mean of the question's.
    """

    speed_ground_mps: float
    course_deg: float
    power_w: float
    log_sd: float = NOW_LOG_SD
    less_hotel: bool = False
    less_sun: bool = False
    taken_w: float | None = None


@dataclass(frozen=True)
class Throttle:
    """Where the throttle stands, whose speed has not settled yet: power at this moment, its doubt
    in ln, and speed over ground where it is known."""

    power_w: float
    log_sd: float
    speed_ground_mps: float | None = None


@dataclass(frozen=True)
class Weak:
    """The weakest cell against the mean.

    Args:
        resistance_ohm: (mean, sd).
        deficits: Charge it lacks when empty, cause by cause: (probability, mean, sd); what is left
            of the probabilities is a cell that lacks nothing. [frac]
    """

    resistance_ohm: tuple[float, float] = (0.0, 0.0)
    deficits: tuple[tuple[float, float, float], ...] = ()


@dataclass(frozen=True)
class ReachInput:
    """All that "how far" needs.

    Args:
        curve: Power against speed through water.
        stream: Set and drift.
        charge: Draws of the pack, per mean cell, each shape (n,): soc, capacity_ah, r0_ohm,
            r1_ohm at 25 °C and, if there, r2_ohm, temp_c, ocv_shift_v; recent_ah, (r,), of
            lead-acid cells. From `PackPosterior.draws`.
        kind: The chemistry.
        cells: In series.
        limits: Reserve, cut-off, controller, cable.
        course_deg: Course over ground to be held; None: any, with no stream taken into account.
        speeds_mps: Through water, rising, shape (k,).
        hotel_w, solar_w: (mean, sd). [W]
        weak: The weakest cell.
        now: The present operating point, if motoring steadily.
        as_now: Index of the speed that stands for going on as now, where it is among them: there
            every draw keeps the present ground speed and power, whatever its stream and curve
            are; only what weather is still to come is left open. By `throttle` every draw keeps
            that power, and goes as fast as its own curve says.
        throttle: Where it stands, if the boat motors and its speed has not settled yet; beside no
            `now`.
        before: The operating point on this course until the throttle was moved; beside no `now`.
        ahead: The stream to come: "goes on", turning and wandering as its draws have it; "stays"
            as it is now; "reversed"; or by a table of times.
        sun_ahead: Days and nights to come, where panels count; None: the sun stays as it is.
        wind, windage_m2: True wind and the area it meets; None: its part stays unknown.
        sails_frac: Probability, before the present is looked at, that sails help beside the motor.
        warmths: Parts that may get too hot at a speed, as they are now.
        seed: Of the draws; the same seed gives the same answer.
        changes: What is changed in boats after they were drawn, in order: see `range/what_if`.
    """

    curve: PowerCurve
    stream: Stream
    charge: Mapping[str, Floats]
    kind: Chemistry
    cells: int
    limits: Limits
    course_deg: float | None
    speeds_mps: Floats
    hotel_w: tuple[float, float] = (0.0, 0.0)
    solar_w: tuple[float, float] = (0.0, 0.0)
    weak: Weak = Weak()
    now: Now | None = None
    as_now: int | None = None
    throttle: Throttle | None = None
    before: Now | None = None
    ahead: Ahead = "goes on"
    wind: Wind | None = None
    windage_m2: float = 0.0
    sails_frac: float = 0.0
    sun_ahead: SunAhead | None = None
    warmths: tuple[Warmth, ...] = ()
    seed: int = 1
    changes: tuple[Callable[["ReachInput", Any], Any], ...] = ()  # `sample.Then`

    @property
    def point(self) -> Now | None:
        """The operating point that stream, curve and weather must agree with."""
        return self.now or self.before


def along_across(east: Floats, north: Floats, course_deg: float | None) -> tuple[Floats, Floats]:
    """Stream along and across a course; none without a course."""
    if course_deg is None:
        return np.zeros_like(east), np.zeros_like(east)
    angle = np.radians(course_deg)
    sin, cos = np.sin(angle), np.cos(angle)
    return east * sin + north * cos, east * cos - north * sin


def air_draws(given: ReachInput, n: int, rng: np.random.Generator) -> Air:
    """One wind, windage and sea a draw: about the wind that is given, else any from anywhere.

    What the boat does now, where it motors, then picks among them; what helps it now will hinder
    it on the way back.
    """
    area = given.windage_m2 * np.exp(AREA_LOG_SD * rng.standard_normal(n))
    sea = rng.uniform(0.0, MOST_SEA, n)
    if given.wind is None:
        wind_mps = ANY_WIND_MPS * rng.weibull(2.0, n)
        return Air(wind_mps, rng.uniform(0.0, 360.0, n), area, sea, BEYOND_WIND)
    wind_mps = at_least_zero((given.wind.speed_mps, given.wind.sd_mps), n, rng)
    return Air(wind_mps, np.full(n, given.wind.from_deg), area, sea, BEYOND_WIND)


def winds_to_come(given: ReachInput, n: int) -> Air:
    """Winds that the present ones become, one a draw."""
    return air_draws(replace(given, wind=None), n, np.random.default_rng(given.seed + 1))


def memory_s(given: ReachInput) -> float:
    """Memory of the wind; endless where somebody says what it is on the whole way. [s]"""
    return MEMORY_S if given.wind is None else given.wind.lasts_s


@dataclass(frozen=True)
class Draws:
    """One row per equally likely boat.

    stream, air: (n,). log_power: ln power in still air on the curve's grid, (n, m). aside: ln
    power that sea and unknown wind add on the present course, (n,). hotel_w, sun_w: hotel load, and
    what the panels give now, (n,).
    now_w: propulsion power at this moment, (n,); NaN where the boat does not motor.
    helped_w: power that sails save the drive now, (n,); 0 where they are down.
    """

    stream: StreamDraws
    log_power: Floats
    aside: Floats
    air: Air
    hotel_w: Floats
    now_w: Floats
    sun_w: Floats
    helped_w: Floats

    @property
    def sailed(self) -> Bools:
        """In which draws sails help the motor now, (n,)."""
        return np.asarray(self.helped_w > 0)


def draw(
    given: ReachInput,
    air: Air,
    hotel_w: Floats,
    n: int,
    rng: np.random.Generator,
    sun_w: Floats | None = None,
) -> Draws:
    """Streams and power curves together, agreeing with what the boat does now.

    Without a point they are independent. With it, each stream says at which speed through water
    the present power was measured: streams under which that power is unlikely are drawn less
    often (importance resampling), and each curve and the weather's part are conditioned on
    their own point (Matheron's rule), so that the present power at the present ground speed is
    right in every draw.

    Args:
        air, hotel_w, sun_w: Wind, hotel load and sun of each draw, (n,); no sun: none.
    """
    now = given.point
    paths = given.stream.paths(n, rng)
    legs = None if now is None else _legs_before(given, now)
    day = after_the_day(given.curve, legs, air, rng)
    lines = day.lines(n, rng)
    leg_sd = air.left * given.curve.leg_sd
    aside = leg_sd * rng.standard_normal(n)
    sun_w = np.zeros(n) if sun_w is None else sun_w
    throttle_w = _throttle_w(given, n, rng)
    free = Draws(paths, lines, aside, air, hotel_w, throttle_w, sun_w, np.zeros(n))
    if now is None:
        return replace(free, log_power=np.maximum.accumulate(lines + day.moved, axis=1))
    return _through_present(given, now, free, day, rng)


def _throttle_w(given: ReachInput, n: int, rng: np.random.Generator) -> Floats:
    """Power that the throttle stands at, (n,); NaN where it is not asked for. [W]"""
    if given.throttle is None:
        return np.full(n, np.nan)
    doubt = np.exp(given.throttle.log_sd * rng.standard_normal(n))
    return np.asarray(given.throttle.power_w * doubt)


def _through_present(
    given: ReachInput, now: Now, free: Draws, day: Day, rng: np.random.Generator
) -> Draws:
    """Draws resampled by how likely each makes the present power, and bent through it."""
    n, curve = len(free.aside), given.curve
    leg_sd = free.air.left * curve.leg_sd
    along, across = along_across(*free.stream.now(), now.course_deg)
    water_mps = np.hypot(now.speed_ground_mps - along, across)
    cov_rows = day.cov_rows(water_mps)
    variance = curve.at_own(cov_rows, water_mps) + leg_sd**2 + now.log_sd**2
    now_w = _now_w(given, now, free)
    still_w = free.air.still_w(now.course_deg, water_mps[:, None], now_w[:, None])
    log_w = np.log(still_w[:, 0])
    mean = day.curves[0].log_power + day.moved
    innovation = log_w - curve.read_own(mean, water_mps)
    weighed = sails.weigh(innovation, variance, given.sails_frac)
    log_weight = day.log_chance + weighed.log_chance
    pick = resample(np.exp(log_weight - log_weight.max()), n, rng)
    own_rng = np.random.default_rng((given.seed, n, len(sails.HELPS)))  # the other draws stay
    helped = weighed.draw(pick, own_rng)
    log_alone_w = log_w[pick] + helped
    # Matheron's rule: prior draw + gain x (measured with its noise - the draw's own value).
    noise = now.log_sd * rng.standard_normal(n)
    lines = (free.log_power + day.moved)[pick]
    own = curve.read_own(lines, water_mps[pick]) + free.aside
    missing = (log_alone_w + noise - own) / variance[pick]
    lines = lines + cov_rows[pick] * missing[:, None]
    return Draws(
        stream=free.stream.take(pick),
        log_power=np.maximum.accumulate(lines, axis=1),
        aside=free.aside + leg_sd**2 * missing,
        air=free.air.take(pick),
        hotel_w=free.hotel_w[pick],
        now_w=(now_w if given.now is not None else free.now_w)[pick],
        sun_w=free.sun_w[pick],
        helped_w=np.exp(log_alone_w) - np.exp(log_w[pick]),
    )


def _legs_before(given: ReachInput, now: Now) -> Recent | None:
    """Legs of the last hours but the one that goes on; None where there was none at all."""
    recent = given.curve.recent
    oldest_s = given.stream.t_s[-1] - ONE_WIND_S
    if recent is None or not recent.end_s.max() > oldest_s:
        return None
    cos_off = np.cos(np.radians(recent.heading_deg - now.course_deg))
    log_ratio = np.log(max(now.power_w, 1.0) / recent.points.power_w)
    same_setting = np.abs(log_ratio) < SETTING_LOG
    goes_on = same_setting & (cos_off > np.cos(np.radians(LEG_DEG)))
    return recent.take(~goes_on)


def _now_w(given: ReachInput, now: Now, draws: Draws) -> Floats:
    """The present propulsion power, per draw (n,). [W]"""
    power_w = np.full(len(draws.hotel_w), max(now.power_w, 1.0))
    taken_w = given.hotel_w[0] if now.taken_w is None else now.taken_w
    more_w = draws.hotel_w - taken_w if now.less_hotel else np.zeros_like(power_w)
    if now.less_sun:
        more_w = more_w - draws.sun_w
    return np.asarray(np.maximum(power_w - more_w, LEAST_SHARE * power_w))


def aside_on(draws: Draws, given: ReachInput, rng: np.random.Generator) -> Floats:
    """ln power that wind and sea add on the course asked for, (n, 1).

    On the present course what is found now; on another, as much of it as the course is alike
    (a head wind turned round helps less than it hindered), the rest unknown.
    """
    point = given.point
    if point is None or given.course_deg is None:
        return draws.aside[:, None]
    turn_deg = given.course_deg - point.course_deg
    alike = float(np.cos(np.radians(turn_deg)))
    if alike > ALIKE:
        return draws.aside[:, None]
    kept = ASIDE_KEPT * alike * (1.0 if alike > 0 else ASIDE_BACK)
    leg_sd = draws.air.left * given.curve.leg_sd
    rest_sd = leg_sd * np.sqrt(max(1 - kept**2, 0.0))
    rest = rest_sd * rng.standard_normal(len(draws.aside))
    aside = kept * draws.aside + rest
    return np.asarray(aside[:, None])


def at_least_zero(mean_sd: tuple[float, float], n: int, rng: np.random.Generator) -> Floats:
    """Normal draws of what cannot be negative, (n,)."""
    mean, sd = mean_sd
    drawn = mean + sd * rng.standard_normal(n)
    return np.asarray(np.maximum(drawn, 0.0))


def weak_deficits(weak: Weak, normal: Floats, seed: int) -> Floats:
    """Draws of the charge that the weakest cell lacks, over all causes, (n,). [frac]

    Args:
        normal: Standard normal draws, (n,).
    """
    weight, mean, sd = np.array([*weak.deficits, (1.0, 0.0, 0.0)]).T
    weight[-1] = max(1.0 - weight[:-1].sum(), 0.0)
    own = np.random.default_rng((seed, len(normal), len(weight)))  # the other draws stay
    cause = own.choice(len(weight), len(normal), p=weight / weight.sum())
    return np.asarray(np.clip(mean[cause] + sd[cause] * normal, 0.0, 1.0))


def pack_draws(given: ReachInput, n: int, rng: np.random.Generator) -> PackDraws:
    """The pack's draws as the run-down wants them; resistances at the pack's temperature."""
    charge, kind = given.charge, given.kind
    zero = np.zeros(n)
    temp_c = np.asarray(charge.get("temp_c", zero + 25.0))
    slow_ohm = np.asarray(charge["r1_ohm"])
    # Lead-acid's slow pair stands for the wells, which are not counted twice.
    if kind.name not in LEAD:
        slow_ohm = slow_ohm + charge.get("r2_ohm", zero)
    fast_ohm = charge["r0_ohm"] * kind.ohmic_factor(temp_c)
    ohms = fast_ohm + slow_ohm * kind.charge_factor(temp_c)

    pack = PackDraws(
        soc=np.clip(charge["soc"], 0.0, 1.0),
        capacity_ah=np.maximum(charge["capacity_ah"], 1e-3),
        resistance_ohm=np.maximum(ohms, 1e-6),
        weak_resistance_ohm=at_least_zero(given.weak.resistance_ohm, n, rng),
        weak_deficit_frac=weak_deficits(given.weak, rng.standard_normal(n), given.seed),
        shift_v=np.asarray(charge.get("ocv_shift_v", zero)),
        cells=given.cells,
        ocv_v=ocv_table(kind, float(np.median(temp_c))),
    )
    return _with_wells(pack, given, temp_c) if kind.name in LEAD else pack


def _with_wells(pack: PackDraws, given: ReachInput, temp_c: Floats) -> PackDraws:
    """Lead-acid draws with the two wells of each, as they stand after what was drawn of late."""
    rng = np.random.default_rng((given.seed, len(pack.soc)))  # its own: the other draws stay
    empty_v = float(pack.ocv_v[0])
    wells = draw_wells(given.kind.name, pack.capacity_ah, temp_c, empty_v, rng)
    recent = np.asarray(given.charge.get("recent_ah", ()))
    return replace(pack, wells=wells, lag_ah=lag_of(wells, recent))
