"""What stands in for a meter that fell silent, with what it was found to be worth.

    I_pack = (k·P_controller + P_hotel - P_sun - P_shore) / V_pack

The ratio k (cables, two meters) is learned where both were read while motoring, else 1 within
`UNLEARNED_SD`.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analyzer.series.operating import (
    TURNING_RPS,
    beside_power_w,
    controller_power_w,
    drive_threshold_w,
    first_finite,
    shaft_rps,
)
from analyzer.series.series import Series
from logger.boat import Boat

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

CHANNELS = (
    "controller_voltage_v", "controller_current_a", "hotel_power_w", "solar_power_w",
    "shore_power_w", "pack_voltage_v", "shaft_speed_rps", "motor_speed_rps", "motor_torque_nm",
)  # fmt: skip
UNLEARNED_SD = 0.06  # of k: a controller's own current is good to 5 %, cables 2 % (assumed)
LEARNED_SD = 0.02  # at the least, of a k that this boat has shown (assumed)
HOTEL_SD = 0.3  # of a hotel load that is not measured, as where the range is asked (assumed)
LEARN_S = 120.0  # both must have been read for so long (assumed)
BEYOND_RATING = 2.5  # times a motor's rating: no controller gives it for minutes; assumed
# Of a rating: a propeller that the way of the boat turns gives back no more. Makers of drives with
# regeneration print 2 to 6 % at a cruiser's speed under sail; from memory.
BACK_FRAC = 0.1
RATIO = (0.7, 1.4)  # outside, one of the two meters is wrong: nothing is bridged (assumed)


@dataclass(frozen=True)
class Bridge:
    """A series whose pack current was filled where it was missing.

    Args:
        series: With the filled channel.
        bridged: Where it was filled. (n,)
        share_sd: Relative error of what was filled.
    """

    series: Series
    bridged: Bools
    share_sd: float


def beyond_rating_w(series: Series, boat: Boat) -> float | None:
    """What is said to go into the controller, where no motor of its rating takes it. [W]

    Judged by the highest twentieth: the current's unit or scale is wrong then, at any power.
    """
    taken = controller_power_w(series)
    taken = taken[taken > drive_threshold_w(boat)]
    if len(taken) * series.step_s < LEARN_S:
        return None
    high_w = float(np.percentile(taken, 95))
    return high_w if high_w > BEYOND_RATING * boat.motor.rated_power_w else None


def gives_back_w(series: Series, boat: Boat) -> float | None:
    """What is said to come out of the controller, where it drives the boat. [W] None: nothing is

    Its current has the wrong sign then. The torque tells it, where that is read: while it turns
    the shaft the way that it goes, power goes in. Else what no propeller gives back.
    """
    taken, turns = controller_power_w(series), shaft_rps(series, boat)
    least_w = drive_threshold_w(boat)
    driven = np.isfinite(taken) & (np.abs(turns) > TURNING_RPS) & (np.abs(taken) > least_w)
    torque = series.get("motor_torque_nm")
    if np.isfinite(torque[driven]).any():
        driven &= torque * turns > 0
        least_w = 0.0
    else:
        least_w = BACK_FRAC * boat.motor.rated_power_w
    if driven.sum() * series.step_s < LEARN_S:
        return None
    mid_w = float(np.median(taken[driven]))
    return -mid_w if mid_w < -least_w else None


def lacks_current(series: Series) -> bool:
    """Whether there are times without the pack's current."""
    return bool(series.n) and not np.isfinite(series.get("pack_current_a")).all()


def pack_current(series: Series, boat: Boat, known: tuple[float, float] | None = None) -> Bridge:
    """The pack's current, filled from the controller's where it is missing.

    Args:
        series: With `CHANNELS` as far as they are there.
        known: k and its standard deviation as learned before; None: as this series shows it.
    """
    current = series.get("pack_current_a")
    volts = first_finite(series, ("pack_voltage_v", "controller_voltage_v"))
    taken, beside = controller_power_w(series), beside_power_w(series, boat)
    ratio, sd = known or learned_ratio(series, boat) or (1.0, UNLEARNED_SD)
    filled = (ratio * taken + beside) / np.where(volts > 0, volts, np.nan)
    bridged = ~np.isfinite(current) & np.isfinite(filled)
    believed = RATIO[0] <= ratio <= RATIO[1]
    believed &= beyond_rating_w(series, boat) is None and gives_back_w(series, boat) is None
    if not bridged.any() or not believed:
        return Bridge(series, np.zeros(series.n, bool), 0.0)
    values = series.values | {"pack_current_a": np.where(bridged, filled, current)}
    return Bridge(replace(series, values=values), bridged, _share_sd(series, boat, sd, filled))


def learned_ratio(series: Series, boat: Boat) -> tuple[float, float] | None:
    """Power at the pack over that at the controller, and its standard deviation; None unseen."""
    volts = first_finite(series, ("pack_voltage_v", "controller_voltage_v"))
    given_w = series.get("pack_current_a") * volts - beside_power_w(series, boat)
    taken_w = controller_power_w(series)
    known = np.isfinite(given_w) & (taken_w > 5 * drive_threshold_w(boat))
    if known.sum() * series.step_s < LEARN_S:
        return None
    ratios = given_w[known] / taken_w[known]
    low, mid, high = np.percentile(ratios, [16, 50, 84])
    return float(mid), max(float(high - low) / 2, LEARNED_SD)


def _share_sd(series: Series, boat: Boat, ratio_sd: float, filled: Floats) -> float:
    """Relative error of what was filled: the ratio's, and that of a load only assumed."""
    if series.has("hotel_power_w"):
        return ratio_sd
    volts = first_finite(series, ("pack_voltage_v", "controller_voltage_v"))
    mean_w = float(np.nanmean(np.abs(filled * volts)))
    return float(np.hypot(ratio_sd, HOTEL_SD * boat.hotel.power_w / max(mean_w, 1.0)))


def bridged_ah(bridge: Bridge) -> float:
    """Charge that was filled rather than read, both ways added. [Ah]"""
    amps = np.abs(bridge.series.get("pack_current_a")[bridge.bridged])
    return float(amps.sum() * bridge.series.step_s / 3600.0)
