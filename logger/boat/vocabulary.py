"""Words for the boat file's errors: units by the end of a key, synonyms, likely slips."""

import datetime
import difflib
import re
from collections.abc import Callable

from logger.units import CMIL_MM2, TO_INSIDE, to_inside

# End of a key -> unit of `logger.units`. The ones the boat file wants come first.
WANTED = {
    "m": ("m", "metres"),
    "m2": ("m2", "square metres"),
    "mm2": ("mm2", "square millimetres"),
    "kg": ("kg", "kilograms"),
    "v": ("V", "volts"),
    "a": ("A", "amperes"),
    "ah": ("Ah", "ampere-hours"),
    "w": ("W", "watts"),
    "c": ("degC", "°C"),
    "ohm": ("ohm", "ohms"),
    "mps": ("m/s", "metres a second"),
    "deg": ("deg", "degrees"),
    "frac": ("frac", "a fraction of 1"),
    "s": ("s", "seconds"),
}
OTHER = {
    **dict.fromkeys(("ft", "feet", "foot"), "ft"),
    **dict.fromkeys(("in", "inch", "inches"), "in"),
    **dict.fromkeys(("metre", "metres", "meter", "meters"), "m"),
    **dict.fromkeys(("lb", "lbs", "pound", "pounds"), "lb"),
    **dict.fromkeys(("t", "ton", "tons", "tonne", "tonnes"), "t"),
    **dict.fromkeys(("kn", "kt", "kts", "knot", "knots"), "kn"),
    **dict.fromkeys(("percent", "pct"), "%"),
    **dict.fromkeys(("degc", "celsius"), "degC"),
    **dict.fromkeys(("f", "degf", "fahrenheit"), "degF"),
    **dict.fromkeys(("volt", "volts"), "V"),
    **dict.fromkeys(("amp", "amps", "ampere", "amperes"), "A"),
    **dict.fromkeys(("watt", "watts"), "W"),
    **dict.fromkeys(("sec", "seconds"), "s"),
    "mm": "mm",
    "cm": "cm",
    "km": "km",
    "nmi": "nmi",
    "kw": "kW",
    "hp": "hp",
    "ps": "PS",
    "wh": "Wh",
    "kwh": "kWh",
    "mah": "mAh",
    "mv": "mV",
    "ma": "mA",
    "mohm": "mohm",
    "milliohm": "mohm",
    "k": "K",
    "kmh": "km/h",
    "mph": "mph",
    "rad": "rad",
    "min": "min",
    "h": "h",
    "cmil": "cmil",
}
UNIT_OF_END = {end: unit for end, (unit, _) in WANTED.items()} | OTHER
LENGTHS = {"mm2": ("mm2", 1.0), "cmil": ("mm2", CMIL_MM2)}  # areas that `logger.units` has not

# What people call it -> what the boat file calls it, without the unit.
SYNONYMS = {
    "battery": "pack",
    "bank": "pack",
    "engine": "motor",
    "drive": "motor",
    "vessel": "hull",
    "boat": "hull",
    "house": "hotel",
    "panels": "solar",
    "pv": "solar",
    "harbour": "home",
    "wire": "cable",
    "wires": "cable",
    "input": "source",
    "database": "log_path",
    "lwl": "waterline",
    "length": "waterline",
    "length_waterline": "waterline",
    "waterline_length": "waterline",
    "bwl": "beam_waterline",
    "beam": "beam_waterline",
    "draft": "draught",
    "depth": "draught",
    "weight": "displacement",
    "mass": "displacement",
    "capacity": "rated_capacity",
    "energy": "rated_capacity",
    "type": "kind",
    "cells": "cells_in_series",
    "blocks": "blocks_in_series",
    "batteries": "blocks_in_series",
    "voltage": "nominal_voltage",
    "cutoff": "cell_cutoff",
    "power": "rated_power",
    "gear": "gear_ratio",
    "reduction": "gear_ratio",
    "diameter": "propeller_diameter",
    "pitch": "propeller_pitch",
    "blades": "propeller_blades",
    "lat": "latitude",
    "lon": "longitude",
    "lng": "longitude",
    "soc": "soc",
    "fuse": "fuse",
    "awg": "size_awg",
    "gauge": "size_awg",
    "area": "size",
    "section": "size",
    "speed": "cruising_speed",
}
CHOICES = {
    "lifepo4": "lfp",
    "lifepo": "lfp",
    "life": "lfp",
    "li-ion": "nmc",
    "lithium": "lfp",
    "glass mat": "agm",
    "flooded": "lead_acid",
    "lead": "lead_acid",
    "monohull": "fin_keel",
    "multihull": "catamaran",
    "motorboat": "motor_launch",
}
# Units people slip into, by the unit wanted, likeliest first.
SLIPS = {
    "kg": ("t",),
    "W": ("kW",),
    "frac": ("%",),
    "ohm": ("mohm",),
    "m": ("cm", "mm", "ft"),
    "Ah": ("mAh",),
    "V": ("mV",),
    "m/s": ("kn",),
}


def split_unit(key: str) -> tuple[str, str | None]:
    """A key's stem and the unit its end names: ("waterline", "ft"); None where it names none."""
    stem, _, end = key.rpartition("_")
    unit = UNIT_OF_END.get(end.lower())
    return (stem, unit) if stem and unit else (key, None)


def noun(key: str) -> str:
    """The unit a right key is in, in words; "" where it has none."""
    end = key.rpartition("_")[2]
    return WANTED[end][1] if "_" in key and end in WANTED else ""


def converted(wrong: str, right: str, value: object) -> str:
    """ "; 24 ft is 7.315 m": a value under a key of another unit, in the right one; or ""."""
    had, wanted = split_unit(wrong)[1], split_unit(right)[1]
    if had is None or wanted is None or had == wanted or not _is_number(value):
        return ""
    return _conversion(float(value), had, wanted)  # type: ignore[arg-type]


def looks_like(key: str, value: object, fits: Callable[[object], bool]) -> str:
    """What a value that does not fit may have been meant for, as the end of a sentence; or ""."""
    wanted = split_unit(key)[1]
    if isinstance(value, str):
        return _number_in(value, wanted, fits)
    if not _is_number(value) or wanted is None:
        return ""
    number = float(value)  # type: ignore[arg-type]
    for unit in SLIPS.get(wanted, ()):
        inside = _inside(number, unit)
        if inside and inside[0] == wanted and fits(inside[1]):
            return f"{_conversion(number, unit, wanted)}, if that was meant"
    return ""


def _number_in(text: str, wanted: str | None, fits: Callable[[object], bool]) -> str:
    found = re.fullmatch(r"\s*(-?\d{1,9}(?:[.,]\d{1,9})?)\s*([A-Za-z°%/]*)\s*", text)
    if found is None:
        return ""
    number = float(found[1].replace(",", "."))
    had = UNIT_OF_END.get(found[2].lower().strip("°"), found[2])
    if wanted and had and had != wanted:
        return _conversion(number, had, wanted)
    return f"; write {number:.10g}, without quotes" if fits(number) else ""


def _conversion(number: float, had: str, wanted: str) -> str:
    inside = _inside(number, had)
    if inside is None or inside[0] != wanted:
        return ""
    shown = "" if wanted == "frac" else f" {wanted}".replace("degC", "°C")
    return f"; {number:.10g} {had} is {inside[1]:.4g}{shown}".replace("degF", "°F")


def _inside(number: float, unit: str) -> tuple[str, float] | None:
    if unit in LENGTHS:
        return LENGTHS[unit][0], number * LENGTHS[unit][1]
    if unit not in TO_INSIDE:
        return None
    return TO_INSIDE[unit][0], to_inside(number, unit)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e15


def nearest_choice(value: object, choices: list[str]) -> str:
    """'; did you mean "lfp"?' for a word that is none of the choices; or ""."""
    if not isinstance(value, str):
        return ""
    word = value.lower().strip()
    known = CHOICES.get(word, word.replace(" ", "_").replace("-", "_"))
    near = [known] if known in choices else difflib.get_close_matches(known, choices, 1, 0.6)
    return f'; did you mean "{near[0]}"?' if near else ""


def shown(value: object) -> str:
    """A value as the user wrote it, or what kind of thing it is."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{short(value)}"'
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, int):
        return str(value) if abs(value) < 1e15 else "a huge number"
    if isinstance(value, datetime.date | datetime.time):
        return f"the date or time {value}"
    kinds = {dict: "a table", list: "a list", tuple: "a list", type(None): "nothing"}
    return kinds.get(type(value), "something else")


def short(text: str, most: int = 60) -> str:
    """Text on one line and not too long for a sentence."""
    line = " ".join(text.split())
    line = "".join(c if c.isprintable() else "?" for c in line)
    return line if len(line) <= most else line[: most - 3] + "..."
