"""THE operating point: power into the drive, and when the boat motors, is settled or at rest.

Every model takes these words from here, each with one threshold. A propeller's power goes about
with the cube of its revolutions. Sails or a tow unload it, weed or towing load it, and one that
the boat's way turns takes nothing or gives power back: only at its usual load do its revolutions
tell the speed through water, and its power the boat's resistance.
"""

import numpy as np

from analyzer.series.series import Bools, Floats, Series
from logger.boat import Boat, Pack

MOTORING_FRAC = 0.01  # of rated power: less is not motoring (assumed)
MOTORING_LEAST_W = 30.0  # what an idling controller takes at the most (assumed)
TURNING_RPS = 0.5  # of the shaft: less is standing still, not motoring (assumed)
SETTLED_SPREAD = 0.12  # standard deviation of power over its mean, and its change (assumed)
SETTLED_CHANGE_MPS = 0.10  # of speed between the halves: more is gathering way (assumed)
SETTLED_TURN_DEG = 12.0  # scatter of heading or course; more is turning (assumed)
REST_C = 0.01  # at rest: below one hundredth of the rated capacity, in amperes (common practice)
# Power over revolutions cubed, against the usual. The least is that of a drive which takes two
# thirds of what the boat would take alone, as less is sails' or a tow's doing (assumed): at
# revolutions x of those alone, a power of x^2 (x - a) / (1 - a) = 2/3 with a = 0.49 / 0.85
# (`range/ahead.py`, from memory) has x = 0.915. The most is assumed.
LEAST_LOAD, MOST_LOAD = 0.87, 1.6
HOTEL_SPREAD = 0.3  # of a load that is only told, and that a measured one changes by (assumed)
# Load of boats that tell none: 1.5 to 2.4 kWh a day are published by cruisers of a yacht of 11.6 m
# on the waterline, at anchor and under way, that is 63 to 100 W; that it goes with the square of
# the length, 38 W at 8 m and 15 W at 5 m, and its spread: common practice, no source.
HOTEL_W_M2, HOTEL_UNTOLD_SPREAD = 0.6, 0.7
USUAL_PERCENT = 60.0  # more minutes are helped than held (assumed)


def usual_hotel_w(boat: Boat) -> tuple[float, float]:
    """Load beside the drive that is only thought: (mean, standard deviation). [W]

    The boat file's figure; where it tells none, what boats of its length use under way.
    """
    if "power_w" in boat.hotel.model_fields_set or not boat.hotel.measured_in_pack_current:
        return boat.hotel.power_w, HOTEL_SPREAD * boat.hotel.power_w
    mean_w = HOTEL_W_M2 * boat.hull.waterline_m**2
    return mean_w, HOTEL_UNTOLD_SPREAD * mean_w


def hotel_power_w(series: Series, boat: Boat) -> Floats:
    """Load beside the drive, as measured, else as it is thought. [W] (n,)"""
    typical = usual_hotel_w(boat)[0] if boat.hotel.measured_in_pack_current else 0.0
    measured = series.get("hotel_power_w")
    return np.where(np.isfinite(measured), measured, typical)


def beside_power_w(series: Series, boat: Boat) -> Floats:
    """What flows out of the pack beside the drive: hotel load less sun and shore. [W] (n,)"""
    sun = np.nan_to_num(series.get("solar_power_w"))
    shore = np.nan_to_num(series.get("shore_power_w"))
    return hotel_power_w(series, boat) - sun - shore


def pack_power_w(series: Series) -> Floats:
    """Volts times amperes at the pack, below 0 on charge. [W] (n,), NaN where unknown"""
    return series.get("pack_voltage_v") * series.get("pack_current_a")


def controller_power_w(series: Series) -> Floats:
    """Volts times amperes at the controller, below 0 when it gives back. [W] (n,), NaN unknown

    Where the controller has no voltmeter of its own the pack's stands in; cables take 1 or 2 %.
    """
    volts = first_finite(series, ("controller_voltage_v", "pack_voltage_v"))
    return volts * series.get("controller_current_a")


def propulsion_power_w(series: Series, boat: Boat) -> Floats:
    """Power from the pack into the motor drive. [W] (n,), NaN where unknown

    P = V·I + sun + shore - hotel, at the pack. The pack's shunt is the better instrument, and
    what is counted from the pack adds up with the hotel load to what empties it. Where the pack
    is not measured, what the controller takes.
    """
    balance = pack_power_w(series) - beside_power_w(series, boat)
    return np.where(np.isfinite(balance), balance, controller_power_w(series))


def drive_threshold_w(boat: Boat) -> float:
    """Power into the drive from which the boat is motoring. [W]"""
    return max(MOTORING_FRAC * boat.motor.rated_power_w, MOTORING_LEAST_W)


def motoring(series: Series, boat: Boat) -> Bools:
    """When the motor drives the boat; False where that is not known. (n,)

    Power flows into the drive and the shaft turns, each as far as it is measured. Where two
    meters differ, two of three decide: the pack's balance, the controller, the shaft.
    """
    least_w = drive_threshold_w(boat)
    taken = controller_power_w(series)
    turns = np.abs(shaft_rps(series, boat))
    controller, shaft = np.isfinite(taken), np.isfinite(turns)
    by_pack = propulsion_power_w(series, boat) > least_w
    by_controller = taken > least_w
    by_shaft = turns > TURNING_RPS
    votes = by_pack.astype(int) + by_controller + by_shaft
    other = np.where(shaft, by_shaft, True)
    both = by_pack & np.where(controller, by_controller, other)
    return np.where(controller & shaft, votes >= 2, both)


def settled(
    power_w: Floats,
    speed_mps: Floats,
    sin: Floats,
    cos: Floats,
) -> Bools:
    """Rows of samples in which power, speed and heading hold still. (rows,)

    Args:
        power_w, speed_mps: Shape (rows, samples); a row with a NaN is not settled.
        sin, cos: Of heading or course, the same shape; NaN all over: not asked.
    """
    return settled_power(power_w) & settled_way(speed_mps, sin, cos)


def settled_power(power_w: Floats) -> Bools:
    """Rows in which the power neither scatters nor goes up or down. (rows,)"""
    allowed_w = SETTLED_SPREAD * power_w.mean(axis=1)
    with np.errstate(invalid="ignore"):
        scatters_little = power_w.std(axis=1) < allowed_w
        changes_little = np.abs(halves(power_w)) < allowed_w
    return np.asarray(scatters_little & changes_little)


def settled_way(speed_mps: Floats, sin: Floats, cos: Floats) -> Bools:
    """Rows in which speed and heading hold still. (rows,)"""
    aim = np.hypot(sin.mean(axis=1), cos.mean(axis=1))
    straight = (aim > np.cos(np.radians(SETTLED_TURN_DEG))) | ~np.isfinite(aim)
    with np.errstate(invalid="ignore"):
        keeps_speed = np.abs(halves(speed_mps)) < SETTLED_CHANGE_MPS
    return np.asarray(keeps_speed & straight)


def halves(rows: Floats) -> Floats:
    """Change between the means of the two halves of each row. (rows,)"""
    half = rows.shape[1] // 2
    first = rows[:, :half].mean(axis=1)
    second = rows[:, half:].mean(axis=1)
    return np.asarray(second - first)


def rest_a(pack: Pack) -> float:
    """Current below which a pack is at rest. [A]"""
    return REST_C * pack.rated_capacity_ah


def at_rest(series: Series, pack: Pack) -> Bools:
    """When next to nothing flows; False where the current is not known. (n,)"""
    return np.asarray(np.abs(series.get("pack_current_a")) < rest_a(pack))


def shaft_rps(series: Series, boat: Boat | None) -> Floats:
    """Revolutions of the propeller shaft, else the motor's over the gear's ratio, (n,). [1/s]"""
    shaft = series.get("shaft_speed_rps")
    if boat is None:
        return shaft
    geared = series.get("motor_speed_rps") / boat.motor.gear_ratio
    return np.where(np.isfinite(shaft), shaft, geared)


def first_finite(series: Series, names: tuple[str, ...]) -> Floats:
    """At each grid time the first of some channels that has a value. (n,), NaN where none"""
    out = np.full(series.n, np.nan)
    for name in names:
        out = np.where(np.isfinite(out), out, series.get(name))
    return out


def unaided(power_w: Floats, shaft_rps: Floats, ok: Bools) -> Bools:
    """Which of some stretches have the propeller's usual load.

    Args:
        power_w, shaft_rps: Means of each stretch, shape (n,); NaN where not measured.
        ok: Those that may say what is usual.
    Returns:
        `ok` less those off the usual load; as it is where shaft or power is not measured.
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        load = power_w / np.abs(shaft_rps) ** 3
    known = load[ok & np.isfinite(load) & (load > 0)]
    if not len(known):
        return ok
    usual = np.percentile(known, USUAL_PERCENT)
    light = load < LEAST_LOAD * usual
    heavy = load > MOST_LOAD * usual
    return np.asarray(ok & ~light & ~heavy)
