"""A boat file of round numbers, for tests of hull, range and stream."""

from logger.boat import Boat


def boat(**changes) -> Boat:
    """A boat of 8.2 m waterline; `changes` are to its hull."""
    numbers = {
        "waterline_m": 8.2,
        "beam_waterline_m": 2.6,
        "draught_m": 1.4,
        "displacement_kg": 5200.0,
    } | changes
    return Boat(
        name="invented",
        hull=numbers,
        pack={"chemistry": "lfp", "cells_in_series": 16, "rated_capacity_ah": 200.0},
        motor={"rated_power_w": 8000.0},
    )
