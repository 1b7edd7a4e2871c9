"""What is not known, drawn: packs, power curves, streams and winds that agree with the present.

What the boat does now (this speed over ground at this power) is used twice: draws that disagree
with it are left out in proportion, and the power curve of each remaining draw is bent through it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from analyzer.environment.stream import Stream, StreamDraws
from analyzer.environment.stream_table import StreamTable
from analyzer.environment.wind import (
    ANY_WIND_MPS,
    AREA_LOG_SD,
    BEYOND_WIND,
    LEAST_SHARE,
    MOST_SEA,
    ONE_WIND_S,
    Air,
    Wind,
)
from analyzer.hull.power_curve import PowerCurve, Recent
from analyzer.hull.recent_legs import after_the_day
from analyzer.hull.steady import LEG_DEG, SETTING_LOG
from analyzer.pack.chemistry import LEAD, Chemistry
from analyzer.pack.lead_acid.prior import draw_wells, lag_of
from analyzer.range.discharge import Limits, PackDraws, ocv_table
from analyzer.range.thermal_limit import Warmth

Floats = npt.NDArray[np.float64]
Ahead = Literal["stays", "goes on", "reversed"] | StreamTable

NOW_LOG_SD = 0.03  # a few minutes' mean power about the curve
ALIKE = 0.9  # cosine between courses that count as the same
ASIDE_KEPT, ASIDE_BACK = 0.8, 0.6  # of the weather's part on another course; turned round


@dataclass(frozen=True)
class Now:
    """What the boat does at this moment, as a mean of the last minutes of steady motoring.

    speed_ground_mps, course_deg: over ground. power_w: propulsion, from the pack.
    log_sd: how well that stretch's mean power is known. less_hotel: power_w is the pack's
    measured power less a hotel load that is only thought: were that larger, this is smaller.
    """

    speed_ground_mps: float
    course_deg: float
    power_w: float
    log_sd: float = NOW_LOG_SD
    less_hotel: bool = False


@dataclass(frozen=True)
class Weak:
    """The weakest cell against the mean: (mean, sd) of each."""

    resistance_ohm: tuple[float, float] = (0.0, 0.0)
    soc_deficit_frac: tuple[float, float] = (0.0, 0.0)


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
            are; only what weather is still to come is left open.
        ahead: The stream to come: "stays" as it is now, which is what "how far" means where
            nothing else is said; "goes on", turning and wandering as its draws have it;
            "reversed"; or by a table of times.
        sun_ahead: Mean sun from now on over the sun now, at `solar.HOURS`; None: it stays.
        wind, windage_m2: True wind and the area it meets; None: its part stays unknown.
        warmths: Parts that may get too hot at a speed, as they are now.
        seed: Of the draws; the same seed gives the same answer.
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
    ahead: Ahead = "stays"
    wind: Wind | None = None
    windage_m2: float = 0.0
    sun_ahead: Floats | None = None
    warmths: tuple[Warmth, ...] = ()
    seed: int = 1


def along_across(east: Floats, north: Floats, course_deg: float | None) -> tuple[Floats, Floats]:
    """Stream along and across a course; none without a course."""
    if course_deg is None:
        return np.zeros_like(east), np.zeros_like(east)
    sin, cos = np.sin(np.radians(course_deg)), np.cos(np.radians(course_deg))
    return east * sin + north * cos, east * cos - north * sin


def air_draws(given: ReachInput, n: int, rng: np.random.Generator) -> Air:
    """One wind, windage and sea a draw: about the wind that is told, else any from anywhere.

    What she does now, where she motors, then picks among them; what helps her now will hinder
    her on the way back.
    """
    area = given.windage_m2 * np.exp(AREA_LOG_SD * rng.standard_normal(n))
    sea = rng.uniform(0.0, MOST_SEA, n)
    if given.wind is None:
        wind, source = ANY_WIND_MPS * rng.weibull(2.0, n), rng.uniform(0.0, 360.0, n)
        return Air(wind, source, area, sea, BEYOND_WIND)
    wind = np.maximum(given.wind.speed_mps + given.wind.sd_mps * rng.standard_normal(n), 0.0)
    return Air(wind, np.full(n, given.wind.from_deg), area, sea, BEYOND_WIND)


@dataclass(frozen=True)
class Draws:
    """One row per equally likely boat.

    stream, air: (n,). log_power: ln power in still air on the curve's grid, (n, m). aside: ln
    power that sea and unknown wind add on the present course, (n,). hotel_w: hotel load, (n,).
    now_w: propulsion power at this moment, (n,); NaN where she does not motor steadily.
    """

    stream: StreamDraws
    log_power: Floats
    aside: Floats
    air: Air
    hotel_w: Floats
    now_w: Floats


def draw(given: ReachInput, air: Air, hotel_w: Floats, n: int, rng: np.random.Generator) -> Draws:
    """Streams and power curves together, agreeing with what the boat does now.

    Without `now` they are independent. With it, each stream says at which speed through water
    the present power was measured: streams under which that power is unlikely are drawn less
    often (importance resampling), and each curve and the weather's part are conditioned on
    their own point (Matheron's rule), so that the present power at the present ground speed is
    right in every draw.

    Args:
        air, hotel_w: Wind and hotel load of each draw, (n,).
    """
    now = given.now
    paths = given.stream.paths(n, rng)
    legs = None if now is None else _legs_before(given, now)
    day = after_the_day(given.curve, legs, air, rng)
    lines = day.lines(n, rng)
    leg_sd = air.left * given.curve.leg_sd
    aside = leg_sd * rng.standard_normal(n)
    if now is None:
        lines = np.maximum.accumulate(lines + day.moved, axis=1)
        return Draws(paths, lines, aside, air, hotel_w, np.full(n, np.nan))
    curve = given.curve
    along, across = along_across(*paths.now(), now.course_deg)
    water = np.hypot(now.speed_ground_mps - along, across)
    cov_rows = day.cov_rows(water)
    var = curve.at_own(cov_rows, water) + leg_sd**2 + now.log_sd**2
    now_w = _now_w(given, now, hotel_w)
    log_w = np.log(air.still_w(now.course_deg, water[:, None], now_w[:, None])[:, 0])
    off = log_w - curve.read_own(day.curves[0].log_power + day.moved, water)
    log_chance = day.log_chance - 0.5 * (off**2 / var + np.log(var))
    pick = _resample(np.exp(log_chance - log_chance.max()), n, rng)
    noise = now.log_sd * rng.standard_normal(n)
    lines = (lines + day.moved)[pick]
    at = curve.read_own(lines, water[pick]) + aside
    missing = (log_w[pick] + noise - at) / var[pick]
    lines = lines + cov_rows[pick] * missing[:, None]
    aside = aside + leg_sd**2 * missing
    lines = np.maximum.accumulate(lines, axis=1)
    return Draws(paths.take(pick), lines, aside, air.take(pick), hotel_w[pick], now_w[pick])


def _legs_before(given: ReachInput, now: Now) -> Recent | None:
    """Legs of the last hours but the one that goes on; None where there was none at all."""
    recent = given.curve.recent
    if recent is None or not recent.end_s.max() > given.stream.t_s[-1] - ONE_WIND_S:
        return None
    aim = np.cos(np.radians(recent.heading_deg - now.course_deg))
    near = np.abs(np.log(max(now.power_w, 1.0) / recent.points.power_w)) < SETTING_LOG
    return recent.take(~(near & (aim > np.cos(np.radians(LEG_DEG)))))


def _now_w(given: ReachInput, now: Now, hotel_w: Floats) -> Floats:
    """The present propulsion power, per draw (n,). [W]"""
    power = np.full(len(hotel_w), max(now.power_w, 1.0))
    if not now.less_hotel:
        return power
    return np.maximum(power - (hotel_w - given.hotel_w[0]), LEAST_SHARE * power)


def _resample(chance: Floats, n: int, rng: np.random.Generator) -> npt.NDArray[np.int64]:
    """Systematic resampling: n indices, each in proportion to its chance."""
    total = np.cumsum(chance)
    if not total[-1] > 0:
        return np.arange(n)
    places = (np.arange(n) + rng.random()) / n * total[-1]
    return np.asarray(np.minimum(np.searchsorted(total, places), n - 1), dtype=np.int64)


def aside_on(draws: Draws, given: ReachInput, rng: np.random.Generator) -> Floats:
    """ln power that wind and sea add on the course asked for, (n, 1).

    On the present course what is found now; on another, as much of it as the course is alike
    (a head wind turned round helps less than it hindered), the rest unknown.
    """
    if given.now is None or given.course_deg is None:
        return draws.aside[:, None]
    alike = float(np.cos(np.radians(given.course_deg - given.now.course_deg)))
    if alike > ALIKE:
        return draws.aside[:, None]
    kept = ASIDE_KEPT * alike * (1.0 if alike > 0 else ASIDE_BACK)
    rest = draws.air.left * given.curve.leg_sd * np.sqrt(max(1 - kept**2, 0.0))
    return np.asarray((kept * draws.aside + rest * rng.standard_normal(len(draws.aside)))[:, None])


def at_least_zero(mean_sd: tuple[float, float], n: int, rng: np.random.Generator) -> Floats:
    """Normal draws of what cannot be negative, (n,)."""
    return np.asarray(np.maximum(mean_sd[0] + mean_sd[1] * rng.standard_normal(n), 0.0))


def pack_draws(given: ReachInput, n: int, rng: np.random.Generator) -> PackDraws:
    """The pack's draws as the run-down wants them; resistances at the pack's temperature."""
    charge, kind = given.charge, given.kind
    zero = np.zeros(n)
    temp_c = np.asarray(charge.get("temp_c", zero + 25.0))
    slow = np.asarray(charge["r1_ohm"])
    # Lead-acid's slow pair stands for the wells, which are not counted twice.
    if kind.name not in LEAD:
        slow = slow + charge.get("r2_ohm", zero)
    ohms = charge["r0_ohm"] * kind.ohmic_factor(temp_c) + slow * kind.charge_factor(temp_c)

    pack = PackDraws(
        soc=np.clip(charge["soc"], 0.0, 1.0),
        capacity_ah=np.maximum(charge["capacity_ah"], 1e-3),
        resistance_ohm=np.maximum(ohms, 1e-6),
        weak_resistance_ohm=at_least_zero(given.weak.resistance_ohm, n, rng),
        weak_deficit_frac=at_least_zero(given.weak.soc_deficit_frac, n, rng),
        shift_v=np.asarray(charge.get("ocv_shift_v", zero)),
        cells=given.cells,
        ocv_v=ocv_table(kind, float(np.median(temp_c))),
    )
    return _with_wells(pack, given, temp_c) if kind.name in LEAD else pack


def _with_wells(pack: PackDraws, given: ReachInput, temp_c: Floats) -> PackDraws:
    """Lead-acid draws with the two wells of each, as they stand after what was drawn of late."""
    rng = np.random.default_rng((given.seed, len(pack.soc)))  # its own: the other draws stay
    wells = draw_wells(given.kind.name, pack.capacity_ah, temp_c, float(pack.ocv_v[0]), rng)
    recent = np.asarray(given.charge.get("recent_ah", ()))
    return replace(pack, wells=wells, lag_ah=lag_of(wells, recent))
