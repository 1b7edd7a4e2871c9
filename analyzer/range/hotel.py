"""The load beside the motor, where no meter shows it: thought, and learned while the motor is off.

Under way with the motor off (under sail, adrift) the pack's shunt measures nothing but this load,
less what panels give and plus what the shunt reads too much. Alongside a charger may feed the load
past the shunt, so that nothing is learned there.

Source: linear Gaussian update (textbook).
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from analyzer.pack.soc import PackPosterior
from analyzer.series.operating import (
    HOTEL_SPREAD,
    TURNING_RPS,
    controller_power_w,
    drive_threshold_w,
    pack_power_w,
    shaft_rps,
    usual_hotel_w,
)
from analyzer.series.series import Bools, Series
from logger.boat import Boat

LEAST_S = 300.0  # with the motor off before anything is learned; assumed
UNDER_WAY_MPS = 0.5  # over ground: not alongside, where a charger may feed the load; assumed
OFFSET_SD_A = 0.3  # of a shunt of which nothing is known; common practice, no source


@dataclass(frozen=True)
class AtRest:
    """The load as it was measured with the motor off. mean_w, sd_w: [W]. seconds: how long."""

    mean_w: float
    sd_w: float
    seconds: float

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers, for JSON."""
        return dict(self.__dict__)

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> "AtRest":
        """The inverse of `to_dict`."""
        return cls(float(data["mean_w"]), float(data["sd_w"]), float(data["seconds"]))


def at_rest(series: Series, boat: Boat, charge: PackPosterior | None = None) -> AtRest | None:
    """The load while the motor was off under way; None where that cannot be told.

    Args:
        charge: For what the shunt reads too much.
    """
    if not boat.hotel.measured_in_pack_current or series.has("hotel_power_w"):
        return None
    if boat.solar.peak_w > 0 and not series.has("solar_power_w"):
        return None
    off = _motor_off(series, boat)
    power_w = pack_power_w(series) + np.nan_to_num(series.get("solar_power_w"))
    off &= np.isfinite(power_w) & (series.get("speed_ground_mps") > UNDER_WAY_MPS)
    seconds = float(off.sum() * series.step_s)
    if seconds < LEAST_S:
        return None
    volts = float(np.mean(series.get("pack_voltage_v")[off]))
    offset_a, offset_sd_a = 0.0, OFFSET_SD_A
    if charge is not None:
        offset_a, offset_sd_a = charge.offset_a, charge.offset_sd_a
    mean_w = float(np.mean(power_w[off])) - offset_a * volts
    sd_w = float(np.hypot(offset_sd_a * volts, HOTEL_SPREAD * abs(mean_w)))
    return AtRest(mean_w, sd_w, seconds)


def _motor_off(series: Series, boat: Boat) -> Bools:
    """When shaft or controller say that the motor neither takes nor gives; (n,)."""
    still = np.abs(shaft_rps(series, boat)) < TURNING_RPS
    idle = np.abs(controller_power_w(series)) < drive_threshold_w(boat)
    return np.asarray(still | idle)


def thought_w(boat: Boat, learned: AtRest | None) -> tuple[float, float]:
    """(mean, standard deviation) of a load that no meter shows. [W]"""
    mean_w, sd_w = usual_hotel_w(boat)
    if learned is None:
        return mean_w, sd_w
    if sd_w == 0:
        return max(learned.mean_w, 0.0), learned.sd_w  # the file says none: the shunt knows better
    share = sd_w**2 / (sd_w**2 + learned.sd_w**2)
    return max(mean_w + share * (learned.mean_w - mean_w), 0.0), float(
        np.sqrt(share)
    ) * learned.sd_w
