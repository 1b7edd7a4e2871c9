"""Where the motor drives the boat, and by itself: power into the drive and the propeller's load.

A propeller's power goes about with the cube of its revolutions. Sails or a tow unload it, weed or
towing load it, and one that the boat's way turns takes nothing or gives power back: only at its
usual load do its revolutions tell the speed through water, and its power the boat's resistance.
"""

import numpy as np
import numpy.typing as npt

from analyzer.series.series import Series
from logger.boat import Boat

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

LEAST_LOAD, MOST_LOAD = 0.75, 1.6  # power over revolutions cubed, against the usual
USUAL_PERCENT = 60.0  # more minutes are helped than held


def propulsion_power_w(series: Series, boat: Boat) -> Floats:
    """Power from the pack into the motor drive, shape (n,). [W]

    The pack's own power plus what sun and shore give, less the hotel load: as measured, else
    the boat file's typical figure. Where the pack is not measured, what the controller takes.
    """
    pack = series.get("pack_voltage_v") * series.get("pack_current_a")
    given = sum(
        np.nan_to_num(series.get(name), nan=0.0) for name in ("solar_power_w", "shore_power_w")
    )
    hotel = series.get("hotel_power_w")
    typical = boat.hotel.power_w if boat.hotel.measured_in_pack_current else 0.0
    balance = pack + given - np.where(np.isfinite(hotel), hotel, typical)
    taken = series.get("controller_voltage_v") * series.get("controller_current_a")
    return np.asarray(np.where(np.isfinite(balance), balance, taken))


def shaft_rps(series: Series, boat: Boat | None) -> Floats:
    """Revolutions of the propeller shaft, else the motor's over the gear's ratio, (n,). [1/s]"""
    shaft = series.get("shaft_speed_rps")
    if boat is None:
        return shaft
    return np.where(
        np.isfinite(shaft), shaft, series.get("motor_speed_rps") / boat.motor.gear_ratio
    )


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
    return np.asarray(ok & ~(load < LEAST_LOAD * usual) & ~(load > MOST_LOAD * usual))
