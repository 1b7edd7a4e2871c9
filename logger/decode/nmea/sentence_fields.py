"""The fields of NMEA 0183 sentences by kind. Field orders: reference values 4.1."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from logger.decode.unit_names import channel_name
from logger.units import KM_H, KN, RPM, TO_INSIDE, to_inside


@dataclass(frozen=True, slots=True)
class Reading:
    """A channel, its value (None: empty field) and the step at which it is kept."""

    channel: str
    value: float | None
    step: float


FINE = 1e-4  # decimals kept of a field in its own unit, assumed
MINUTE_STEP = 1e-7 / 60  # degrees per ten-millionth of an angular minute, 0.2 mm: assumed


def number(text: str) -> float | None:
    """A field as a number; None where it is empty.

    Raises:
        ValueError: Neither empty nor a finite number.
    """
    if not text:
        return None
    value = float(text)
    if not -1e12 < value < 1e12:
        raise ValueError(text)
    return value


def _at(data: list[str], place: int) -> str:
    return data[place] if place < len(data) else ""


def _scaled(channel: str, text: str, unit: str, step: float = FINE) -> Reading:
    value = number(text)
    inside = None if value is None else to_inside(value, unit)
    return Reading(channel, inside, step * TO_INSIDE[unit][1])


def _angle(channel: str, text: str) -> Reading:
    return _scaled(channel, text, "deg")


def _signed(channel: str, text: str, side: str, negative: str) -> Reading:
    """An angle with its side (E, W, N, S) in the next field."""
    value = number(text)
    if value is not None and not side:
        value = None
    return Reading(channel, -value if value is not None and side == negative else value, FINE)


def _degrees(text: str) -> float | None:
    """dddmm.mmmm in degrees."""
    value = number(text)
    if value is None:
        return None
    whole = text.partition(".")[0]
    minutes = float(text[len(whole) - 2 :])
    if not 0 <= minutes < 60:
        raise ValueError(text)
    return int(whole[:-2] or "0") + minutes / 60


def _place(data: list[str], first: int) -> list[Reading]:
    latitude, longitude = _degrees(data[first]), _degrees(data[first + 2])
    north, east = data[first + 1], data[first + 3]
    if latitude is not None and north == "S":
        latitude = -latitude
    if longitude is not None and east == "W":
        longitude = -longitude
    known = north in ("N", "S") and east in ("E", "W")
    return [
        Reading("latitude_deg", latitude if known else None, MINUTE_STEP),
        Reading("longitude_deg", longitude if known else None, MINUTE_STEP),
    ]


def _rmc(data: list[str]) -> list[Reading] | None:
    if data[1] != "A":
        return None
    return [
        *_place(data, 2),
        _scaled("speed_ground_mps", data[6], "kn"),
        _angle("course_ground_deg", data[7]),
        _signed("variation_deg", _at(data, 9), _at(data, 10), "W"),
    ]


def _gga(data: list[str]) -> list[Reading] | None:
    if data[5] in ("", "0"):
        return None
    return [*_place(data, 1), _scaled("altitude_m", data[8], "m")]


def _gll(data: list[str]) -> list[Reading] | None:
    if _at(data, 5) not in ("A", "") or _at(data, 6) == "N":
        return None
    return _place(data, 0)


def _vtg(data: list[str]) -> list[Reading] | None:
    if _at(data, 8) == "N":
        return None
    knots, kmh = number(_at(data, 4)), number(_at(data, 6))
    speed = knots * KN if knots is not None else None if kmh is None else kmh * KM_H
    return [
        _angle("course_ground_deg", data[0]),
        _angle("other_course_ground_magnetic_deg", _at(data, 2)),
        Reading("speed_ground_mps", speed, FINE * KN if knots is not None else FINE * KM_H),
    ]


def _vhw(data: list[str]) -> list[Reading]:
    return [
        _angle("heading_true_deg", data[0]),
        _angle("heading_magnetic_deg", data[2]),
        _scaled("speed_water_mps", data[4], "kn"),
    ]


def _hdt(data: list[str]) -> list[Reading]:
    return [_angle("heading_true_deg", data[0])]


def _hdm(data: list[str]) -> list[Reading]:
    return [_angle("heading_magnetic_deg", data[0])]


def _hdg(data: list[str]) -> list[Reading]:
    sensor, deviation = number(data[0]), _signed("", _at(data, 1), _at(data, 2), "W").value
    magnetic = None if sensor is None else round((sensor + (deviation or 0.0)) % 360, 6)
    return [
        Reading("heading_magnetic_deg", magnetic, FINE),
        _signed("variation_deg", _at(data, 3), _at(data, 4), "W"),
    ]


def _mtw(data: list[str]) -> list[Reading]:
    unit = {"C": "degC", "F": "degF"}[_at(data, 1) or "C"]
    return [_scaled("water_temp_c", data[0], unit)]


def _ths(data: list[str]) -> list[Reading] | None:
    """Heading and the state of its sensor: V is void."""
    return None if _at(data, 1) == "V" else [_angle("heading_true_deg", data[0])]


def _mta(data: list[str]) -> list[Reading]:
    return [_scaled("other_air_temp_c", data[0], "degC")]


def _mda(data: list[str]) -> list[Reading]:
    """Weather in one sentence: pressure, air, water, humidity, dew point, true wind."""
    return [
        _scaled("other_air_pressure_pa", _at(data, 2), "bar"),
        _scaled("other_air_temp_c", _at(data, 4), "degC"),
        _scaled("water_temp_c", _at(data, 6), "degC"),
        _angle("wind_direction_true_deg", _at(data, 12)),
        _scaled("wind_speed_true_mps", _at(data, 16), "kn"),
    ]


def _dpt(data: list[str]) -> list[Reading]:
    return [
        _scaled("depth_m", data[0], "m"),
        _scaled("other_depth_offset_m", _at(data, 1), "m"),
    ]


def _dbt(data: list[str]) -> list[Reading]:
    if _at(data, 2):
        return [_scaled("depth_m", data[2], "m")]
    return [_scaled("depth_m", data[0], "ft")]


_WIND_UNIT = {"N": "kn", "M": "m/s", "K": "km/h", "S": "mph"}


def _mwv(data: list[str]) -> list[Reading] | None:
    if data[4] != "A":
        return None
    unit = _WIND_UNIT[data[3]] if data[2] else "kn"
    if data[1] == "R":
        names = "wind_angle_apparent_deg", "wind_speed_apparent_mps"
    else:
        names = "other_wind_angle_true_deg", "wind_speed_true_mps"
    return [_angle(names[0], data[0]), _scaled(names[1], data[2], unit)]


def _mwd(data: list[str]) -> list[Reading]:
    return [
        _angle("wind_direction_true_deg", data[0]),
        _scaled("wind_speed_true_mps", _at(data, 4), "kn"),
    ]


def _vwr(data: list[str]) -> list[Reading]:
    angle = _signed("wind_angle_apparent_deg", data[0], data[1], "L")
    return [angle, _scaled("wind_speed_apparent_mps", data[2], "kn")]


def _rpm(data: list[str]) -> list[Reading] | None:
    if _at(data, 4) != "A":
        return None
    what = {"S": "shaft", "E": "motor"}[data[0]]
    which = int(data[1] or "0")
    if not 0 <= which <= 99:
        raise ValueError(data[1])
    name = f"{what}_speed_rps" if which in (0, 1) else f"other_{what}_{which}_speed_rps"
    value = number(data[2])
    rps = None if value is None else value * RPM
    return [Reading(name, rps, FINE * RPM)]


def _vlw(data: list[str]) -> list[Reading]:
    """Distances through the water; newer devices add those over the ground (NMEA 0183, 3.01)."""
    names = ["other_log_total_m", "other_log_trip_m"]
    if len(data) > 4:
        names += ["other_log_ground_total_m", "other_log_ground_trip_m"]
    return [_scaled(name, _at(data, 2 * place), "nmi") for place, name in enumerate(names)]


# Readers of a sentence's fields; None where the device marks them void.
KINDS: dict[str, Callable[[list[str]], list[Reading] | None]] = {
    "RMC": _rmc,
    "GGA": _gga,
    "GLL": _gll,
    "VTG": _vtg,
    "VHW": _vhw,
    "HDT": _hdt,
    "HDM": _hdm,
    "HDG": _hdg,
    "MTW": _mtw,
    "DPT": _dpt,
    "DBT": _dbt,
    "MWV": _mwv,
    "MWD": _mwd,
    "VWR": _vwr,
    "RPM": _rpm,
    "VLW": _vlw,
    "THS": _ths,
    "MTA": _mta,
    "MDA": _mda,
}

# XDR's type and unit letters -> unit of `units.TO_INSIDE`.
_XDR_UNITS = {
    "CC": "degC",
    "CF": "degF",
    "CK": "K",
    "UV": "V",
    "IA": "A",
    "AD": "deg",
    "AR": "rad",
    "PB": "bar",
    "PP": "Pa",
    "DM": "m",
    "HP": "%",
    "TR": "rpm",
}
_XDR_FINE = 1e-6  # decimals kept of a transducer's value in its own unit, assumed


def xdr(data: list[str], transducers: Mapping[str, str]) -> list[Reading]:
    """The groups of type, value, unit and id of an XDR sentence.

    Args:
        data: The sentence's fields.
        transducers: Transducer id -> channel; others become `other_<id>_...`.
    """
    found = []
    for start in range(0, len(data) - 3, 4):
        kind, text, letter, name = (part.strip() for part in data[start : start + 4])
        unit = _XDR_UNITS.get(kind + letter)
        channel = transducers.get(name) or channel_name("xdr", name or kind, unit=unit)
        found.append(_scaled(channel, text, unit or "count", _XDR_FINE))
    return found
