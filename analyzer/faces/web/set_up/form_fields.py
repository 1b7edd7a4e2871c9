"""What a form about the boat file is made of."""

import re
from dataclasses import dataclass
from typing import Any

from analyzer.faces.web import waypoints
from logger.units import KN

NEW = "new"  # stands for the number of a part that is to be added


@dataclass(frozen=True)
class Field:
    """One key as a form field. choices: empty where anything may be written."""

    name: str  # in the form: "hull.waterline_m", "cable.0.length_m"
    label: str
    unit: str  # in words; "" where there is none
    help: str
    value: str
    choices: tuple[str, ...]
    wanted: bool  # the boat file must have it
    number: bool
    long: bool = False  # several lines


@dataclass(frozen=True)
class Section:
    """Fields that belong together."""

    title: str
    fields: tuple[Field, ...]
    remove: str = ""  # the form's field that takes it out
    remove_text: str = ""


SIDES = {"latitude_deg": "NS", "longitude_deg": "EW"}
SAILOR = {"latitude_deg": "degrees and minutes", "longitude_deg": "degrees and minutes"}


def sailors_unit(key: str) -> str:
    """The unit in which a form shows a key that the boat file keeps in another; else empty."""
    return "knots" if key.endswith("_mps") else SAILOR.get(key, "")


def sailors_value(key: str, value: Any) -> str:
    """A value as the form shows it, in the unit that sailors use."""
    if not isinstance(value, int | float) or isinstance(value, bool):
        return shown(value)
    if key.endswith("_mps"):
        return f"{value / KN:.4g}"
    return waypoints.angle(value, SIDES[key]) if key in SIDES else shown(value)


def inside(key: str, written: str) -> str:
    """What was written in a sailor's unit, as the boat file wants it; else as it was written."""
    if key in SIDES:
        degrees = waypoints.read_angle(written, SIDES[key])
        return written if degrees is None else f"{degrees:.6f}"
    if key.endswith("_mps") and re.fullmatch(r"[+-]?\d{1,12}([.,]\d{1,12})?", written):
        return f"{float(written.replace(',', '.')) * KN:.6g}"
    return written


def shown(value: Any) -> str:
    """A value as the form shows it."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    return f"{value:.12g}" if isinstance(value, float) else str(value)


def valued(field: Field, written: str) -> bool | int | float | str:
    """What was written as TOML's kind; text where it fits none, for the file's own sentences."""
    if field.choices == ("true", "false"):
        return written == "true" if written in field.choices else written
    if field.number and re.fullmatch(r"[+-]?\d{1,12}", written):
        return int(written)
    if field.number and re.fullmatch(r"[+-]?\d{1,12}[.,]\d{1,12}", written):
        return float(written.replace(",", "."))
    return written
