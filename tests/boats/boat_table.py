"""What the invented skipper knows of an invented boat: the content of its boat.toml."""

from typing import Any

from replay.boatsim.boat import SimBoat
from replay.boatsim.instruments.sensors import PROBES
from replay.boatsim.physics.place import Place

PARTNER = {"battery_positive": "battery_negative", "battery_negative": "battery_positive"}


def boat_table(boat: SimBoat, place: Place) -> dict[str, Any]:
    """Tables and keys as in boat.toml, without sources. Rounded as a skipper would write them."""
    hull, drive = boat.hull, boat.drive
    cells = len(boat.cells.capacity_ah)
    long_keel = hull.keel_chord_m > 0.3 * hull.waterline_m
    return {
        "name": boat.name,
        "hull": {
            "kind": "long_keel" if long_keel else "fin_keel",
            "waterline_m": round(hull.waterline_m, 2),
            "beam_waterline_m": round(hull.beam_m, 2),
            "draught_m": round(hull.draught_m, 2),
            "body_draught_m": round(hull.body_draught_m, 2),
            "displacement_kg": round(hull.mass_kg, -1),
        },
        "pack": {
            "chemistry": "lfp",
            "cells_in_series": cells,
            "rated_capacity_ah": boat.rated_ah,
            "cell_cutoff_v": boat.cutoff_v,
            "cell_full_v": 3.6,
        },
        "motor": {
            "rated_power_w": drive.rated_power_w,
            "gear_ratio": drive.gear,
            "propeller_diameter_m": round(drive.diameter_m, 3),
            "propeller_pitch_m": round(drive.pitch_m, 3),
            "propeller_blades": drive.blades,
            "cutback_v": boat.cutback_v,
        },
        "cable": [_cable(boat, k) for k in range(len(boat.runs))],
        "hotel": {"power_w": round(boat.hotel_w + boat.pilot_w + 0.36 * boat.fridge_w, -1)},
        "solar": {"peak_w": boat.solar_peak_w},
        "home": {
            "name": "berth (invented)",
            "latitude_deg": place.latitude_deg,
            "longitude_deg": place.longitude_deg,
        },
        "reserve": {"soc_frac": boat.reserve_frac},
    }


def _cable(boat: SimBoat, k: int) -> dict[str, Any]:
    run = boat.runs[k]
    row: dict[str, Any] = {
        "name": run.name,
        "size_mm2": run.size_mm2,
        "length_m": round(run.length_m, 2),
        "insulation_rating_c": 105,
        "in_engine_space": True,
        "probe": PROBES[k],
        "probe_at": "contactor" if run.name == "contactor" else "lug",
        "current_channel": "controller_current_a",
    }
    if run.name in PARTNER:
        row["partner"] = PARTNER[run.name]
    return row
