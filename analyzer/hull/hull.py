"""Power against speed through water: what the hull's numbers say, and what the log adds.

Day one: friction line and residuary resistance of the Delft series for the hull's numbers (Holtrop
and Mennen for motor launches), air drag in still air, over the efficiency from battery to tow
power, which falls as the propeller's load rises, and the drive's no-load losses. Its uncertainty
is spread over efficiency and fouling (all speeds alike), waves against friction (with the speed),
idle losses (slow speeds) and the hump near hull speed, so that points at one speed teach about
others as far as they should and no farther.

Source of the efficiency range 0.30 to 0.55 and of the spreads: common practice, no source.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from analyzer.environment.wind import DRAG, ONE_WIND_S, windage_m2
from analyzer.estimation.quantiles import Z80
from analyzer.hull import resistance
from analyzer.hull.curve_fit import update
from analyzer.hull.holtrop import Ship, resistance_parts_n
from analyzer.hull.power_curve import (
    CurvePoints,
    PowerCurve,
    Recent,
    rank_cov,
    smooth_cov,
)
from analyzer.hull.recent_legs import doubted
from analyzer.hull.resistance import Form, diameter_m, ideal_efficiency
from analyzer.hull.steady import (
    LEG_LOG_SD,
    SteadyPoints,
    compact,
    steady,
)
from analyzer.series.physics import AIR_DENSITY, GRAVITY, WATER_DENSITY
from logger.boat import Boat, Hull

Floats = npt.NDArray[np.float64]

EFFICIENCY_LOW, EFFICIENCY_HIGH = 0.30, 0.55  # battery to tow power, eight in ten boats
USUAL_FROUDE = 0.28  # where that range holds; common practice, no source
NO_LOAD_FRAC = 0.004  # of rated power: controller and idle losses, 0.2 to 1 %; common practice
FOULING_MID, FOULING_SD = 1.10, 0.12  # friction of a bottom in use over a clean one
FROUDE_GRID = np.linspace(0.04, 0.60, 57)
APPENDAGE_FRAC = 0.04  # of the displacement below the canoe body, where it has a keel

# Shares of ln power, one standard deviation each.
SERIES_SD = 0.08  # all speeds alike
TILT_SD = 0.08  # per factor e in speed
DRIVE_TILT_SD = 0.12  # the same, of propeller and motor
WAVE_SD = 0.20  # of the residuary part
LOCAL_SD, LOCAL_LENGTH = 0.06, 0.06  # wiggles, Froude number
LEG_SD = LEG_LOG_SD  # wind and sea of one leg, on top of still air
HUMP_SD, HUMP_LENGTH = 0.20, 0.08  # near hull speed, on top
IDLE_SD, IDLE_FROUDE = 0.25, 0.10  # controller and gear at a walking pace


def form(hull: Hull) -> Form:
    """The hull as the series want it, usual shapes filled in for what the file leaves out."""
    volume = hull.displacement_kg / WATER_DENSITY
    if hull.kind in ("fin_keel", "long_keel"):
        volume *= 1 - APPENDAGE_FRAC
    halves = 2 if hull.kind == "catamaran" else 1
    volume /= halves
    beam = hull.beam_waterline_m if halves == 1 else hull.waterline_m / 9.0
    prismatic = hull.prismatic_coefficient or 0.56
    draught = hull.body_draught_m or volume / (prismatic * 0.68 * hull.waterline_m * beam)
    midship = float(np.clip(volume / (prismatic * hull.waterline_m * beam * draught), 0.5, 0.98))
    area = resistance.wetted_area_m2(hull.waterline_m, beam, draught, volume, midship)
    return Form(
        length_m=hull.waterline_m,
        beam_m=beam,
        volume_m3=volume,
        wetted_area_m2=area,
        waterplane_area_m2=resistance.WATERPLANE_FRAC * hull.waterline_m * beam,
        lcb_frac=0.535,
        lcf_frac=0.535 + resistance.LCF_BEHIND_LCB,
        prismatic=prismatic,
    )


def _whole_area_m2(hull: Hull, shape: Form) -> float:
    """Wetted area with keel and rudder: from the file, else the body and usual appendages."""
    if hull.wetted_area_m2:
        return hull.wetted_area_m2
    halves = 2 if hull.kind == "catamaran" else 1
    extra = {"long_keel": 1.30, "fin_keel": 1.20, "light_keel": 1.15}.get(hull.kind, 1.05)
    return halves * extra * shape.wetted_area_m2


def _air_n(hull: Hull, speed_mps: Floats) -> Floats:
    """Air drag in still air. [N]"""
    drag = 0.5 * AIR_DENSITY * DRAG * windage_m2(hull)
    return np.asarray(drag * speed_mps**2)


def _launch(hull: Hull, shape: Form) -> Ship:
    """A displacement motor launch as Holtrop's method wants it, transom clear of the water."""
    area = _whole_area_m2(hull, shape) - shape.wetted_area_m2
    block_draught = shape.volume_m3 / (shape.prismatic * 0.75 * hull.waterline_m * shape.beam_m)
    draught = hull.body_draught_m or block_draught
    midship = shape.volume_m3 / (shape.prismatic * hull.waterline_m * shape.beam_m * draught)
    return Ship(
        length_m=hull.waterline_m,
        beam_m=shape.beam_m,
        draught_fore_m=draught,
        draught_aft_m=draught,
        volume_m3=shape.volume_m3,
        prismatic=shape.prismatic,
        midship=float(np.clip(midship, 0.5, 0.98)),
        waterplane=0.75,
        lcb_pct=100 * (0.5 - shape.lcb_frac),
        appendage_area_m2=max(area, 0.0),
    )


def tow_parts_n(hull: Hull, speed_mps: Floats) -> tuple[Floats, Floats, Floats]:
    """Friction (of a bottom in use), residuary resistance, air drag; each (k,). [N]"""
    shape = form(hull)
    air = _air_n(hull, speed_mps)
    if hull.kind == "motor_launch":
        viscous, waves = resistance_parts_n(_launch(hull, shape), speed_mps)
        return FOULING_MID * viscous, waves, air
    halves = 2 if hull.kind == "catamaran" else 1
    area = _whole_area_m2(hull, shape)
    friction = FOULING_MID * resistance.friction_n(speed_mps, hull.waterline_m, area)
    return friction, halves * resistance.residuary_n(shape, speed_mps), air


def series_cov(froude: Floats, wave_share: Floats, unusual: float = 1.0) -> tuple[Floats, Floats]:
    """How far a hull's resistance may lie off the series' formula, in ln resistance.

    Args:
        froude: Grid, shape (m,).
        wave_share: Residuary part of the whole, shape (m,).
        unusual: Factor where the series does not fit the kind of hull.
    Returns:
        The covariance, and the part of it that is local wiggles, each (m, m).
    """
    parts = [
        unusual * SERIES_SD * np.ones_like(froude),
        unusual * TILT_SD * np.log(froude / 0.25),
        unusual * WAVE_SD * wave_share,
    ]
    hump = HUMP_SD * np.clip((froude - 0.28) / 0.10, 0.0, 1.5)
    local = smooth_cov(froude, LOCAL_LENGTH, LOCAL_SD) + smooth_cov(froude, HUMP_LENGTH, hump)
    return rank_cov(parts) + unusual**2 * local, unusual**2 * local


def drive_cov(froude: Floats, wave_share: Floats) -> Floats:
    """How far the way from battery to tow rope may lie off the usual, in ln power, (m, m)."""
    efficiency_sd = np.log(EFFICIENCY_HIGH / EFFICIENCY_LOW) / 2 / Z80
    parts = [
        efficiency_sd * np.ones_like(froude),
        FOULING_SD * (1 - wave_share),
        DRIVE_TILT_SD * np.log(froude / 0.25),
        IDLE_SD * np.exp(-froude / IDLE_FROUDE),
    ]
    return rank_cov(parts)


def tow_prior(shape: Form) -> PowerCurve:
    """Tow power (resistance times speed) of a clean hull as tanks measure it, with its spread."""
    speed = FROUDE_GRID * np.sqrt(GRAVITY * shape.length_m)
    friction = resistance.friction_n(speed, shape.length_m, shape.wetted_area_m2)
    residuary = resistance.residuary_n(shape, speed)
    total = friction + residuary
    cov, local = series_cov(FROUDE_GRID, residuary / total)
    return PowerCurve(speed, np.log(total * speed), cov, local=local)


def _efficiency(boat: Boat, speed_mps: Floats, total_n: Floats) -> Floats:
    """Battery to tow power: the usual at a usual speed, elsewhere by the propeller's load, (k,)."""
    usual = np.array([USUAL_FROUDE * np.sqrt(GRAVITY * boat.hull.waterline_m)])
    there = np.sum(tow_parts_n(boat.hull, usual), axis=0)
    size = diameter_m(boat)
    ratio = ideal_efficiency(total_n, speed_mps, size) / ideal_efficiency(there, usual, size)
    return np.asarray(np.sqrt(EFFICIENCY_LOW * EFFICIENCY_HIGH) * ratio)


def prior(boat: Boat) -> PowerCurve:
    """Power against speed from the boat file alone, wide.

    Source: see the module and `analyzer.hull.resistance`.
    """
    hull = boat.hull
    speed = FROUDE_GRID * np.sqrt(GRAVITY * hull.waterline_m)
    friction, residuary, air = tow_parts_n(hull, speed)
    total = friction + residuary + air
    efficiency = _efficiency(boat, speed, total)
    power = total * speed / efficiency + NO_LOAD_FRAC * boat.motor.rated_power_w
    unusual = 2.0 if hull.kind in ("catamaran", "motor_launch") else 1.0
    share = residuary / total
    cov, local = series_cov(FROUDE_GRID, share, unusual)
    return PowerCurve(
        speed_mps=speed,
        log_power=np.maximum.accumulate(np.log(power)),
        cov=cov + drive_cov(FROUDE_GRID, share),
        local=local,
        leg_sd=LEG_SD,
        reason="from the hull's numbers alone: no steady motoring recorded yet",
        used=("hull",),
    )


def fit(points: SteadyPoints, before: PowerCurve) -> PowerCurve:
    """The power curve after steady stretches of the log.

    Args:
        points: From `steady`, one or many trips joined.
        before: `prior(boat)`, or an older fit that has not seen these points.
    Returns:
        A curve on the same grid; `before` itself where there are no points.
    """
    if not len(points.speed_mps):
        return before
    after = _fitted(points, before)
    end_s = points.t_utc_s + points.duration_s / 2
    new = np.isfinite(points.headings) & (end_s > end_s.max() - ONE_WIND_S)
    if not new.any():
        return after
    earlier = before if new.all() else _fitted(points.take(~new), before)
    earlier = replace(earlier, local=None)
    legs = doubted(after, _table(points.take(new)))
    return replace(after, recent=Recent(earlier, legs, points.headings[new], end_s[new]))


def _table(points: SteadyPoints) -> CurvePoints:
    return CurvePoints(
        speed_mps=points.speed_mps,
        power_w=points.power_w,
        log_sd=points.log_sd,
        speed_sd_mps=points.speed_sd_mps,
        group=points.group,
        wind_log_sd=points.winds,
    )


def _fitted(points: SteadyPoints, before: PowerCurve) -> PowerCurve:
    after = update(before, _table(compact(points)))
    minutes = before.minutes + float(points.duration_s.sum()) / 60.0
    reason = f"from {minutes:.0f} minutes of steady motoring and the hull's numbers"
    return replace(after, minutes=minutes, reason=reason, used=("hull", *points.used))


__all__: Sequence[str] = ("PowerCurve", "SteadyPoints", "fit", "form", "prior", "steady")
