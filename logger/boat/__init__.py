"""The boat file: its model, reading it, its errors, and a starter."""

from logger.boat.boat import (
    Boat,
    Cable,
    Home,
    Hotel,
    Hull,
    Motor,
    Pack,
    Part,
    Reserve,
    Solar,
    SourceSpec,
    Tell,
)
from logger.boat.load import from_table, load, parse

__all__ = [
    "Boat",
    "Cable",
    "Home",
    "Hotel",
    "Hull",
    "Motor",
    "Pack",
    "Part",
    "Reserve",
    "Solar",
    "SourceSpec",
    "Tell",
    "from_table",
    "load",
    "parse",
]
