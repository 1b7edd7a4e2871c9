"""Kinds of invented boats: what each is made of, what it measures and what its days are like."""

from dataclasses import dataclass
from typing import Literal

Kit = Literal["full", "usual", "minimal", "no_heading", "volts_only", "cells", "probes"]

# What each kit records besides a GPS's position, speed and course.
PACK = ("pack_voltage_v", "pack_current_a")
COMPASS = ("heading_magnetic_deg", "variation_deg")
KITS: dict[Kit, tuple[str, ...]] = {
    "usual": (*PACK, *COMPASS, "pack_temp_c", "shaft_speed_rps", "solar_power_w"),
    "no_heading": (*PACK, "pack_temp_c", "shaft_speed_rps", "solar_power_w"),
    "minimal": PACK,
    "volts_only": ("pack_voltage_v", *COMPASS, "shaft_speed_rps"),
    "cells": (*PACK, *COMPASS, "pack_temp_c", "shaft_speed_rps", "solar_power_w", "cell_"),
    "probes": (
        *PACK, *COMPASS, "pack_temp_c", "shaft_speed_rps", "solar_power_w", "probe_",
        "controller_", "ambient_temp_c",
    ),
    "full": (
        *PACK, *COMPASS, "pack_temp_c", "shaft_speed_rps", "solar_power_w", "cell_", "probe_",
        "controller_", "ambient_temp_c", "motor_", "shore_power_w", "speed_water_mps",
        "water_temp_c", "pack_soc_frac",
    ),
}  # fmt: skip


@dataclass(frozen=True)
class Kind:
    """One kind of boat.

    Args:
        cells: "lfp", "nmc", "agm", "lead_acid". hull: "yacht" or "launch".
        air_c: Range of the air's temperature. stream_mps: range of the tide's peak.
        river: A steady stream instead of a tide. veer_deg_h: range, either way.
        charging: What of the charging the log sees. fault: "weak", "low", "loose" or "".
        gps_lost, dated, solar_measured: What goes wrong with the record.
        offset_steps_a: Size of jumps of the shunt's zero. motor_sailing: share of legs.
    """

    name: str
    text: str
    cells: str = "lfp"
    hull: str = "yacht"
    kit: Kit = "usual"
    air_c: tuple[float, float] = (10.0, 26.0)
    stream_mps: tuple[float, float] = (0.0, 0.6)
    river: bool = False
    veer_deg_h: tuple[float, float] = (0.0, 6.0)
    wind_mps: tuple[float, float] = (1.0, 6.5)
    charging: Literal["recorded", "unrecorded"] = "recorded"
    fault: str = ""
    gps_lost: bool = False
    dated: bool = True
    offset_steps_a: float = 0.0
    motor_sailing: float = 0.05
    panels_w: tuple[float, ...] = (0.0, 0.0, 110.0, 200.0)


_ALL = (
    Kind("lfp_full", "iron phosphate, every sensor", kit="full"),
    Kind("lfp_minimal", "iron phosphate, pack volts, amperes and GPS", kit="minimal"),
    Kind("no_heading", "iron phosphate, no compass", kit="no_heading"),
    Kind("gps_lost", "the GPS falls silent during the outing that is asked about", gps_lost=True),
    Kind("no_dates", "the board has no clock and the GPS gives no date", dated=False),
    Kind("unrecorded", "charged while the logger is off", charging="unrecorded"),
    Kind(
        "sun_unmeasured", "panels on the pack's bus that nothing measures", kit="minimal",
        panels_w=(320.0, 450.0, 600.0),
    ),
    Kind("motor_sailing", "half of the legs under motor and sails", motor_sailing=0.5,
         wind_mps=(3.5, 7.0)),
    Kind("cold", "iron phosphate at 0 to 7 °C", air_c=(0.0, 7.0)),
    Kind("weak_cell", "a cell of less capacity, more resistance or less charge", kit="cells",
         fault="cell"),
    Kind("loose_lug", "a lug that loosens", kit="probes", fault="loose"),
    Kind("nmc", "nickel manganese cobalt, charged to 4.05 to 4.20 V", cells="nmc"),
    Kind("agm", "glass-mat lead-acid blocks", cells="agm"),
    Kind("flooded", "flooded lead-acid blocks", cells="lead_acid"),
    Kind("launch", "an open launch of 4 to 6 m", hull="launch", stream_mps=(0.0, 0.3),
         wind_mps=(0.5, 4.5)),
    Kind("veering_wind", "a wind that turns by 15 to 40 degrees an hour",
         veer_deg_h=(15.0, 40.0), wind_mps=(4.0, 7.5)),
    Kind("turning_tide", "a strong tide that turns on the way", stream_mps=(0.8, 1.3)),
    Kind("river_steps", "a river, and a shunt whose zero jumps by an ampere", river=True,
         stream_mps=(0.3, 0.9), offset_steps_a=1.0),
    Kind("volts_only", "pack volts without current", kit="volts_only"),
)  # fmt: skip

KINDS: dict[str, Kind] = {kind.name: kind for kind in _ALL}
