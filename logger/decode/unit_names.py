"""How devices' files spell their units, as keys of `logger.units.TO_INSIDE`."""

import re

from logger.channels import SUFFIX_UNIT
from logger.units import TO_INSIDE

# Spellings met in DBC, EDS and CSV files; common practice, no source.
_SPELLINGS = {
    "volt": "V",
    "volts": "V",
    "amp": "A",
    "amps": "A",
    "ampere": "A",
    "watt": "W",
    "watts": "W",
    "degk": "K",
    "kelvin": "K",
    "deg c": "degC",
    "degc": "degC",
    "celsius": "degC",
    "*c": "degC",
    "ºc": "degC",
    "deg.c": "degC",
    "degrees c": "degC",
    "deg f": "degF",
    "degf": "degF",
    "*f": "degF",
    "°f": "degF",
    "kph": "km/h",
    "kmh": "km/h",
    "knots": "kn",
    "kt": "kn",
    "kts": "kn",
    "1/min": "rpm",
    "r/min": "rpm",
    "rev/min": "rpm",
    "1/s": "rps",
    "percent": "%",
    "pct": "%",
    "°": "deg",
    "degrees": "deg",
    "degree": "deg",
    "ohms": "ohm",
    "Ω": "ohm",
    "mΩ": "mohm",
    "sec": "s",
    "seconds": "s",
    "hr": "h",
    "hours": "h",
    "minutes": "min",
    "metre": "m",
    "meter": "m",
    "n.m": "Nm",
    "n·m": "Nm",
    "m/sec": "m/s",
}

# Unit used inside -> the end of a channel's name.
SUFFIX = {unit: suffix for suffix, unit in SUFFIX_UNIT.items() if suffix != "_code"}


def known(spelling: str | None) -> str | None:
    """The key of `TO_INSIDE` for a unit as some file spells it; None where it is not known."""
    text = (spelling or "").strip()
    if text in TO_INSIDE:
        return text
    by_case = {key.lower(): key for key in TO_INSIDE if key.lower() not in ("mw", "k", "c")}
    return _SPELLINGS.get(text) or _SPELLINGS.get(text.lower()) or by_case.get(text.lower())


def inside(unit: str) -> tuple[str, float, float]:
    """Unit used inside, factor and offset for a known unit; a unit with no factor counts."""
    return TO_INSIDE.get(unit, ("count", 1.0, 0.0))


def channel_name(*parts: str, unit: str | None) -> str:
    """A name of the family `other_...` for something that has no channel of its own.

    Args:
        parts: The device's own words; other characters than letters and digits become `_`.
        unit: A key of `TO_INSIDE`, or None.
    """
    inside_unit = inside(unit or "count")[0]
    suffix = SUFFIX.get(inside_unit, "_count")
    words = "_".join(re.sub(r"[^a-z0-9]+", "_", part.lower()).strip("_") for part in parts)
    stem = re.sub(r"_+", "_", words)[:100]
    return f"other_{stem}" if f"other_{stem}".endswith(suffix) else f"other_{stem}{suffix}"
