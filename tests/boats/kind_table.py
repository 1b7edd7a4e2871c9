"""What the owner of a boat of a kind wrote into boat.toml, from the label and the drawing."""

from typing import Any

import numpy as np

from replay.boatsim.physics.place import Place
from tests.boats.boat_table import boat_table
from tests.boats.kind_boat import LEAD, KindBoat
from tests.boats.kinds import KITS
from tests.boats.lead_pack import CELLS


def kind_table(of: KindBoat, place: Place) -> dict[str, Any]:
    """Tables and keys as in boat.toml; mass off by some 6 %, the load by 20 %."""
    rng = np.random.default_rng([of.number, 41])
    boat, lead = of.boat, of.kind.cells in LEAD
    table = boat_table(boat, place)
    hull, count = table["hull"], len(boat.cells.capacity_ah)
    hull["displacement_kg"] = round(boat.hull.mass_kg * float(rng.normal(1, 0.06)), -1)
    if of.kind.hull == "launch":
        hull["kind"] = "motor_launch"
    table["pack"] = {
        "chemistry": of.kind.cells,
        "cells_in_series": count * CELLS if lead else count,
        "rated_capacity_ah": boat.rated_ah,
        "cell_cutoff_v": boat.cutoff_v / CELLS if lead else boat.cutoff_v,
    }
    if lead:
        table["pack"]["blocks_in_series"] = count
    elif rng.random() < 0.5:
        table["pack"]["cell_full_v"] = round(of.shore.volts / count, 2)
    if not any(name.startswith("probe_") for name in KITS[of.kind.kit]):
        for cable in table["cable"]:
            for key in ("probe", "probe_at", "current_channel", "partner"):
                cable.pop(key, None)
    table["hotel"] = {"power_w": round(_load_w(of) * float(rng.normal(1, 0.2)), -1)}
    if rng.random() < 0.4:
        for key in ("propeller_diameter_m", "propeller_pitch_m", "propeller_blades"):
            table["motor"].pop(key)
    return table


def _load_w(of: KindBoat) -> float:
    b = of.boat
    return b.hotel_w + b.pilot_w + 0.36 * b.fridge_w + 12.0
