"""The catalogue of channels: name, unit, plausible limits.

A channel's name ends in its unit. Families of alike channels have a number or a name inside:
`cell_03_voltage_v`, `block_2_voltage_v`, `probe_motor_lug_temp_c`.
"""

import re
from dataclasses import dataclass
from functools import lru_cache


@dataclass(frozen=True, slots=True)
class Channel:
    """One measured quantity.

    Args:
        name: Unique, ends in the unit.
        unit: A unit used inside (see `units.py`).
        low, high: Plausible limits in that unit; a value outside is not stored but counted.
        text: What it is, for people.
    """

    name: str
    unit: str
    low: float
    high: float
    text: str


SUFFIX_UNIT = {
    "_v": "V",
    "_a": "A",
    "_w": "W",
    "_wh": "Wh",
    "_ah": "Ah",
    "_c": "degC",
    "_ohm": "ohm",
    "_mps": "m/s",
    "_m": "m",
    "_deg": "deg",
    "_rps": "rps",
    "_frac": "frac",
    "_s": "s",
    "_pa": "Pa",
    "_nm": "Nm",
    "_w_m2": "W/m2",
    "_count": "count",
    "_code": "count",
}

_FIXED = [
    Channel("pack_voltage_v", "V", 0.0, 1000.0, "voltage at the pack's terminals"),
    Channel("pack_current_a", "A", -3000.0, 3000.0, "pack current, positive when it gives"),
    Channel("pack_soc_frac", "frac", 0.0, 1.0, "state of charge as a device on board reports it"),
    Channel("pack_temp_c", "degC", -40.0, 120.0, "pack temperature"),
    Channel("controller_voltage_v", "V", 0.0, 1000.0, "voltage at the controller's terminals"),
    Channel("controller_current_a", "A", -3000.0, 3000.0, "current into the controller"),
    Channel("controller_temp_c", "degC", -40.0, 200.0, "controller temperature"),
    Channel("controller_fault_code", "count", 0.0, 2**32, "the controller's own fault number"),
    Channel("motor_temp_c", "degC", -40.0, 250.0, "motor temperature"),
    Channel("motor_current_a", "A", -3000.0, 3000.0, "current in the motor's phases"),
    Channel("motor_torque_nm", "Nm", -5000.0, 5000.0, "torque of the motor"),
    Channel("shaft_speed_rps", "rps", -200.0, 200.0, "speed of the propeller shaft"),
    Channel("motor_speed_rps", "rps", -500.0, 500.0, "speed of the motor"),
    Channel("solar_power_w", "W", -100.0, 20000.0, "power from the sun into the pack"),
    Channel("shore_power_w", "W", -100.0, 50000.0, "power from shore into the pack"),
    Channel("hotel_power_w", "W", -100.0, 20000.0, "power to everything but the motor"),
    Channel("latitude_deg", "deg", -90.0, 90.0, "latitude, north positive, WGS 84"),
    Channel("longitude_deg", "deg", -180.0, 180.0, "longitude, east positive, WGS 84"),
    Channel("altitude_m", "m", -500.0, 9000.0, "height above mean sea level"),
    Channel("speed_ground_mps", "m/s", 0.0, 60.0, "speed over ground"),
    Channel("course_ground_deg", "deg", 0.0, 360.0, "course over ground, true"),
    Channel("speed_water_mps", "m/s", -10.0, 30.0, "speed through water"),
    Channel("heading_true_deg", "deg", 0.0, 360.0, "heading, true"),
    Channel("heading_magnetic_deg", "deg", 0.0, 360.0, "heading, magnetic"),
    Channel("variation_deg", "deg", -180.0, 180.0, "magnetic variation, east positive"),
    Channel("water_temp_c", "degC", -5.0, 50.0, "water temperature"),
    Channel("depth_m", "m", 0.0, 12000.0, "water depth below the transducer"),
    Channel("ambient_temp_c", "degC", -40.0, 90.0, "air near the battery and cables"),
    Channel("wind_speed_apparent_mps", "m/s", 0.0, 110.0, "apparent wind speed"),
    Channel("wind_angle_apparent_deg", "deg", -180.0, 360.0, "apparent wind angle off the bow"),
    Channel("wind_speed_true_mps", "m/s", 0.0, 110.0, "true wind speed"),
    Channel("wind_direction_true_deg", "deg", 0.0, 360.0, "true wind direction, from"),
    Channel("roll_deg", "deg", -180.0, 180.0, "heel"),
    Channel("pitch_deg", "deg", -90.0, 90.0, "trim"),
]

# No text: the name's own words say which of many it is.
_FAMILIES: list[tuple[str, str, float, float, str]] = [
    (r"cell_\d{2,3}_voltage_v", "V", 0.0, 6.0, ""),
    (r"cell_\d{2,3}_temp_c", "degC", -40.0, 120.0, ""),
    (r"block_\d{1,2}_voltage_v", "V", 0.0, 100.0, ""),
    (r"block_\d{1,2}_temp_c", "degC", -40.0, 120.0, ""),
    (r"probe_[a-z0-9_]+_temp_c", "degC", -40.0, 250.0, ""),
    (r"health_[a-z0-9_]+_(count|frac|s)", "count", -1e15, 1e15, "the logger's own counters"),
    # What no sensor says: -273.15 (a raw 0 in kelvin), -127 and 3276.7 (no probe on the line). The
    # limits lie outside any air, water, engine or exhaust; assumed.
    (r"other_[a-z0-9_]+_c", "degC", -100.0, 1500.0, "a temperature of this boat"),
    # Anything else a boat reports; the boat's own name for it and a unit known here.
    (r"other_[a-z0-9_]+", "", -1e15, 1e15, ""),
]

CATALOGUE: dict[str, Channel] = {c.name: c for c in _FIXED}


@lru_cache(maxsize=4096)
def find(name: str) -> Channel | None:
    """The channel of that name, from the catalogue or a family; None where there is none."""
    if name in CATALOGUE:
        return CATALOGUE[name]
    for pattern, unit, low, high, text in _FAMILIES:
        if re.fullmatch(pattern, name):
            return Channel(name, unit or unit_of(name), low, high, text or _words(name))
    return None


def _words(name: str) -> str:
    """cell_03_voltage_v: "cell 3 voltage"."""
    words = name.removeprefix("other_").split("_")[:-1]
    parts = [str(int(part)) if part.isdecimal() else part for part in words]
    return " ".join(parts).replace("temp", "temperature")


def unit_of(name: str) -> str:
    """The unit that a channel's name ends in, or "count" where it ends in none."""
    for suffix in sorted(SUFFIX_UNIT, key=len, reverse=True):
        if name.endswith(suffix):
            return SUFFIX_UNIT[suffix]
    return "count"


def cell_voltage(number: int) -> str:
    """Name of a cell's voltage channel; cells count from 1 at the negative end."""
    return f"cell_{number:02d}_voltage_v"


def block_voltage(number: int) -> str:
    """Name of a block's voltage channel; blocks count from 1 at the negative end."""
    return f"block_{number}_voltage_v"


def probe_temp(name: str) -> str:
    """Name of a temperature probe's channel."""
    return f"probe_{name}_temp_c"
