"""The boat that most tests of answers, flags and trips are about. Invented."""

from typing import Any

from logger.boat import Boat, Cable, Hull, Motor, Pack

PROBED = Cable(name="positive", size_mm2=50, length_m=2, probe="positive")


def motor_boat(**parts: Any) -> Boat:
    """Seven metres, 16 cells of LFP with 200 Ah, 6 kW; parts replace these or come on top."""
    plain: dict[str, Any] = {
        "hull": Hull(waterline_m=7, beam_waterline_m=2.3, draught_m=1.2, displacement_kg=3000),
        "pack": Pack(chemistry="lfp", cells_in_series=16, rated_capacity_ah=200),
        "motor": Motor(rated_power_w=6000),
    }
    return Boat(name="invented", **(plain | parts))
