"""Power against speed from the boat file alone: what holds on the first day.

Friction line and residuary resistance of the Delft series for the hull's numbers; for motor
launches the mean of that and of Holtrop and Mennen's method, as they lie at the edge of both. Air
drag in still air. Over the efficiency from battery to tow power (`drive.py`), which falls as the
propeller's load rises, and the drive's no-load losses. Its uncertainty is spread over efficiency
and fouling (all speeds alike), waves against friction (with the speed), idle losses (slow speeds)
and the hump near hull speed, so that points at one speed teach about others as far as they should
and no farther.
"""

import numpy as np

from analyzer.environment.wind import DRAG, windage_m2
from analyzer.hull import resistance
from analyzer.hull.drive import (
    NO_LOAD_FRAC,
    USUAL_FROUDE,
    diameter_m,
    drive_cov,
    efficiency_mid,
    ideal_efficiency,
)
from analyzer.hull.holtrop import Ship, resistance_parts_n
from analyzer.hull.power_curve import PowerCurve, rank_cov, smooth_cov
from analyzer.hull.resistance import Form
from analyzer.hull.steady_points import LEG_LOG_SD
from analyzer.series.physics import AIR_DENSITY, GRAVITY, water
from analyzer.series.series import Floats
from logger.boat import Boat, Hull

FROUDE_GRID = np.linspace(0.04, 0.60, 57)
LAUNCH_FROUDE_GRID = np.linspace(0.04, 0.75, 72)  # light ones begin to plane
FOULING_MID = 1.10  # friction of a bottom in use over a clean one; common practice, no source
APPENDAGE_FRAC = 0.04  # of the displacement below the canoe body, where it has a keel; assumed
# Usual shapes where the file says nothing; common practice, no source: prismatic coefficient,
# midship coefficient of yachts and launches, a catamaran's hull's length over beam, centre of
# buoyancy, waterplane coefficient.
PRISMATIC, YACHT_MIDSHIP, LAUNCH_MIDSHIP, CATAMARAN_SLENDER = 0.56, 0.68, 0.75, 9.0
BUOYANCY_FRAC, LAUNCH_WATERPLANE = 0.535, 0.75
TRANSOM_FRAC = 0.25  # of a launch's midship section, immersed at rest: none to a half; assumed
# Wetted area with keel and rudder over the body's, by kind; common practice, no source.
APPENDED = {"long_keel": 1.30, "fin_keel": 1.20, "light_keel": 1.15}
RUDDER = 1.05  # the same with a rudder alone; common practice, no source
# Froude numbers between which Holtrop and Mennen's method is left for the Delft series alone: its
# own data end at about 0.45 (source: the paper of 1982).
HOLTROP_ENDS = (0.45, 0.55)

# Shares of ln power, one standard deviation each; assumed, the first four from how far published
# hulls lie off the series' formula (source: three of 1981, see `resistance.py`): all speeds alike;
# per factor e in speed; of the residuary part; wiggles, with their length in Froude number.
SERIES_SD, TILT_SD, WAVE_SD = 0.08, 0.08, 0.20
LOCAL_SD, LOCAL_LENGTH = 0.06, 0.06
# Near hull speed, on top; assumed.
HUMP_SD, HUMP_LENGTH = 0.20, 0.08
UNUSUAL = 2.0  # the same for catamarans and launches, at the edge of the series; assumed


def form(hull: Hull) -> Form:
    """The hull as the series want it, usual shapes filled in for what the file leaves out."""
    around = water(hull.water_density_kg_m3)
    volume = hull.displacement_kg / around.density_kg_m3 / _hulls(hull)
    if hull.kind in ("fin_keel", "long_keel"):
        volume *= 1 - APPENDAGE_FRAC
    length = hull.waterline_m
    beam = length / CATAMARAN_SLENDER if hull.kind == "catamaran" else hull.beam_waterline_m
    prismatic = hull.prismatic_coefficient or PRISMATIC
    section = volume / (prismatic * length)
    draught = hull.body_draught_m or section / (YACHT_MIDSHIP * beam)
    midship = float(np.clip(section / (beam * draught), 0.5, 0.98))
    return Form(
        length_m=length,
        beam_m=beam,
        volume_m3=volume,
        wetted_area_m2=resistance.wetted_area_m2(length, beam, draught, volume, midship),
        waterplane_area_m2=resistance.WATERPLANE_FRAC * length * beam,
        lcb_frac=BUOYANCY_FRAC,
        lcf_frac=BUOYANCY_FRAC + resistance.LCF_BEHIND_LCB,
        prismatic=prismatic,
        midship=midship,
        water=around,
    )


def _hulls(hull: Hull) -> int:
    return 2 if hull.kind == "catamaran" else 1


def _whole_area_m2(hull: Hull, shape: Form) -> float:
    """Wetted area with keel and rudder: from the file, else the body and usual appendages."""
    usual = _hulls(hull) * APPENDED.get(hull.kind, RUDDER) * shape.wetted_area_m2
    return hull.wetted_area_m2 or usual


def _air_n(hull: Hull, speed_mps: Floats) -> Floats:
    """Air drag in still air. [N]"""
    drag = 0.5 * AIR_DENSITY * DRAG * windage_m2(hull)
    return np.asarray(drag * speed_mps**2)


def _launch(hull: Hull, shape: Form) -> Ship:
    """A displacement motor launch as Holtrop's method wants it."""
    section = shape.volume_m3 / (shape.prismatic * hull.waterline_m)
    draught = hull.body_draught_m or section / (LAUNCH_MIDSHIP * shape.beam_m)
    midship = section / (shape.beam_m * draught)
    appendages_m2 = _whole_area_m2(hull, shape) - shape.wetted_area_m2
    return Ship(
        length_m=hull.waterline_m,
        beam_m=shape.beam_m,
        draught_fore_m=draught,
        draught_aft_m=draught,
        volume_m3=shape.volume_m3,
        prismatic=shape.prismatic,
        midship=float(np.clip(midship, 0.5, 0.98)),
        waterplane=LAUNCH_WATERPLANE,
        lcb_pct=100 * (0.5 - shape.lcb_frac),
        transom_area_m2=TRANSOM_FRAC * section,
        appendage_area_m2=max(appendages_m2, 0.0),
        water=shape.water,
    )


def tow_parts_n(hull: Hull, speed_mps: Floats) -> tuple[Floats, Floats, Floats]:
    """Friction (of a bottom in use), residuary resistance, air drag; each (k,). [N]"""
    shape, air = form(hull), _air_n(hull, speed_mps)
    area = _whole_area_m2(hull, shape)
    friction = FOULING_MID * resistance.friction_n(speed_mps, hull.waterline_m, area, shape.water)
    keel = hull.kind != "motor_launch"
    waves = _hulls(hull) * resistance.residuary_n(shape, speed_mps, appended=keel)
    if keel:
        return friction, waves, air
    viscous, also = resistance_parts_n(_launch(hull, shape), speed_mps)
    froude = speed_mps / np.sqrt(GRAVITY * hull.waterline_m)
    low, high = HOLTROP_ENDS
    share = 0.5 * np.clip((high - froude) / (high - low), 0.0, 1.0)
    viscous = _mixed(friction, FOULING_MID * viscous, share)
    return viscous, _mixed(waves, also, share), air


def _mixed(one_n: Floats, other_n: Floats, share: Floats) -> Floats:
    """Geometric mean of two methods, so much of it the other's. [N]"""
    least_n = 1e-3
    logs = (1 - share) * np.log(np.maximum(one_n, least_n))
    return np.asarray(np.exp(logs + share * np.log(np.maximum(other_n, least_n))))


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
    hull, around = boat.hull, water(boat.hull.water_density_kg_m3)
    usual = np.array([USUAL_FROUDE * np.sqrt(GRAVITY * hull.waterline_m)])
    there = np.sum(tow_parts_n(hull, usual), axis=0)
    size = diameter_m(boat)
    here = ideal_efficiency(total_n, speed_mps, size, around)
    ratio = here / ideal_efficiency(there, usual, size, around)
    return np.asarray(efficiency_mid(boat.motor.rated_power_w) * ratio)


def prior(boat: Boat) -> PowerCurve:
    """Power against speed from the boat file alone, wide; for the sources see the module."""
    hull, rated_w = boat.hull, boat.motor.rated_power_w
    froude = LAUNCH_FROUDE_GRID if hull.kind == "motor_launch" else FROUDE_GRID
    speed = froude * np.sqrt(GRAVITY * hull.waterline_m)
    friction, residuary, air = tow_parts_n(hull, speed)
    total = friction + residuary + air
    power = total * speed / _efficiency(boat, speed, total) + NO_LOAD_FRAC * rated_w
    unusual = UNUSUAL if hull.kind in ("catamaran", "motor_launch") else 1.0
    share = residuary / total
    cov, local = series_cov(froude, share, unusual)
    return PowerCurve(
        speed_mps=speed,
        log_power=np.maximum.accumulate(np.log(power)),
        cov=cov + drive_cov(froude, share, rated_w),
        local=local,
        leg_sd=LEG_LOG_SD,
        reason="from the hull's numbers alone: no steady motoring recorded yet",
        used=("hull",),
    )
